"""The conduction path of one moment: how much flows through diodes and ohms at a given voltage.

A i + B ln(1 + i / Is) = u is solved by the Wright omega function; where ohms and the button's diode share the current, by Newton's
steps. Knows no time and no solver of the service.
"""

import math

import numpy as np
from numpy.typing import NDArray

from deploy.calibration.parts import Circuit

Array = NDArray[np.float64]
BYPASS_OHM = 0.3  # below: the button's diode carries nothing; above BESIDE_OHM: it carries all of the forward current
BESIDE_OHM = 300.0


def omega(y: Array) -> Array:
    """w with w + ln w = y, to 1e-6, for y up to 700; below -600 nothing flows anyway.

    >>> w = omega(np.array([-5.0, 1.0, 50.0]))
    >>> np.round(w + np.log(w), 5)
    array([-5.,  1., 50.])
    """
    y = np.maximum(y, -600.0)
    s = np.logaddexp(0.0, y)
    w = s * (1.0 - np.log1p(s) / (2.0 + s))  # a start to 2 %
    z = y - w - np.log(w)  # one step of Fritsch, Shafer and Crowley (from memory): error to the fourth power
    q = 2.0 * (1.0 + w) * (1.0 + w + z * (2.0 / 3.0))
    improved: Array = w * (1.0 + z / (1.0 + w) * (q - z) / (q - 2.0 * z))
    return improved


def path(c: Circuit, closed: bool, series_ohm: float) -> list[float]:
    """With the button open or closed: A [ohm], B [V], ln(A/B) + ln Is + A Is / B, Is; what the detector's current meets: ohms,
    drop; the ohms beside the diode where both carry (0: not so). `series_ohm`: what the step adds to source and diodes."""
    ln_board, board_v, board_ohm = c.board.at(c.board_c)
    ln_across, across_v, across_ohm = c.button_diode.at(c.button_c)
    ohm = 1.0 / (
        1.0 / c.parallel_ohm + (1.0 / c.contact_ohm if closed else 0.0) + (50.0 if c.button == "shorted" else 0.0)
    )
    back_ohm, back_v = ohm, c.parallel_drop_v if ohm > 0.5 * c.parallel_ohm else 0.0
    if c.button == "reversed" and not closed:
        back_ohm, back_v = 1.0, 0.62
    series = c.source_ohm + board_ohm + series_ohm
    has_diode = c.button in ("normal", "stuck")
    if ohm < BYPASS_OHM or not has_diode:
        a, b, ln_is = series + ohm, board_v, ln_board
    else:
        a, b = series + across_ohm, board_v + across_v
        ln_is = (board_v * ln_board + across_v * ln_across) / b
    beside = ohm if has_diode and BYPASS_OHM <= ohm <= BESIDE_OHM else 0.0
    i_s = math.exp(ln_is)
    return [a, b, math.log(a / b) + ln_is + a * i_s / b, i_s, back_ohm, back_v, beside]


def both_carry(paths: Array, board: Array, across: Array, drive: Array, current: Array) -> Array:
    """Current [A] where the diode and ohms across the contact share it. `current`: with the diode alone. Columns: circuits;
    `paths` as path() gives them, `board` and `across` as Diode.at() does.

    Either alone carries less than both, and the sum of drops is concave in the current: from the larger of the two, Newton's
    steps go up to the answer and never past it.
    """
    ln_board, board_v, _ = board
    ln_across, across_v, _ = across
    a, beside = paths[0], paths[6]
    alone = a + beside
    sat_board, sat_across = np.exp(ln_board), np.exp(ln_across)
    ohms_only = omega((drive + alone * sat_board) / board_v + np.log(alone / board_v) + ln_board) * board_v / alone
    i: Array = np.maximum(np.maximum(current, ohms_only - sat_board), 0.0)
    knee = beside * sat_across / across_v
    for _ in range(3):
        w = omega((beside * i) / across_v + knee + np.log(knee))
        over = across_v * (np.log(w) - np.log(knee))
        drops = a * i + board_v * np.log1p(i / sat_board) + over
        i = np.maximum(i - (drops - drive) / (a + board_v / (i + sat_board) + beside / (1.0 + w)), 0.0)
    return i
