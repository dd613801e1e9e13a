"""The reservoir alone with its load: the stretch of a cycle in which no diode conducts.

One straight line for a constant load, else steps that are exact for every load linear in the rail. Refuses to know the source.
"""

import numpy as np
from numpy.typing import NDArray

from service.supply.circuit import Circuit, rows_of
from service.supply.load import Law

Array = NDArray[np.float64]

_STEPS, _PARTS_BELOW = 10, 3  # nodes, and steps between them where a load may fall off
_SHARES = np.linspace(0.0, 1.0, _STEPS + 1)[:, np.newaxis]
_CUMULATIVE = np.array(
    # integrals from 0 to each node of the polynomial through all of them
    np.vander(_SHARES[:, 0], _STEPS + 2, increasing=True)[:, 1:] / np.arange(1, _STEPS + 2)
) @ np.linalg.inv(np.vander(_SHARES[:, 0], _STEPS + 1, increasing=True))
_POWER = 2.2
"""Twice, and some more for what the ESR adds."""

MOST_NEGATIVE = -0.5
"""Share of a step, or of the ESR's drop, by which a constant power may push its own current on."""


def rail_without_current(circuit: Circuit, capacitor_v: Array) -> Array:
    """The rail when only the reservoir feeds the load: its voltage less what the ESR drops."""
    lower_v = capacitor_v - circuit.esr_ohm * circuit.load.current(capacitor_v)[0]
    if circuit.load.is_constant_above(lower_v):
        return lower_v
    rail_v = lower_v
    law = circuit.load.in_regulation() if circuit.load.never_below(0.99 * lower_v).all() else circuit.load.law()
    for _ in range(3):
        draw, slope = law(rail_v)
        give = np.maximum(1.0 + circuit.esr_ohm * slope, 1.0 + MOST_NEGATIVE)
        rail_v = rail_v - (rail_v + circuit.esr_ohm * draw - capacitor_v) / give
    return rail_v


def discharge(circuit: Circuit, start_v: Array, length_s: Array) -> tuple[Array, Array, Array]:
    """Rail nodes, their slopes [V/s], and the exponent by which a change of the start has faded."""
    load, leak = circuit.load, circuit.path.saturation_a
    draw, _ = load.current(start_v)
    slope = -(draw + leak) / circuit.farad
    end_v = start_v + slope * length_s
    if load.is_constant_above(end_v):
        after_s = _SHARES * length_s
        return start_v + slope * after_s, np.broadcast_to(slope, after_s.shape), np.zeros_like(start_v)
    # No load grows faster as the rail falls than one of constant power, under which the rail's square falls in a straight line
    square = start_v * (start_v + _POWER * slope * length_s)
    stays = load.never_below(start_v) & (square >= load.regular_v**2)
    if stays.all():
        return _in_regulation(circuit, start_v, length_s)
    if not stays.any():
        return _falling_off(circuit, start_v, length_s)
    rails, slopes = np.empty((_STEPS + 1, len(start_v))), np.empty((_STEPS + 1, len(start_v)))
    faded = np.empty_like(start_v)
    for rows, way in ((stays, _in_regulation), (~stays, _falling_off)):
        rails[:, rows], slopes[:, rows], faded[rows] = way(rows_of(circuit, rows), start_v[rows], length_s[rows])
    return rails, slopes, faded


def _in_regulation(circuit: Circuit, start_v: Array, length_s: Array) -> tuple[Array, Array, Array]:
    """Where the load is smooth: by formula."""
    after_s = _SHARES * length_s
    if circuit.load.regulator == "linear":
        return _exponential(circuit, start_v, after_s)
    return _by_power(circuit, start_v, after_s)


def _exponential(circuit: Circuit, start_v: Array, after_s: Array) -> tuple[Array, Array, Array]:
    """A constant current and a resistor."""
    load = circuit.load
    loop = circuit.farad * (1.0 + circuit.esr_ohm * load.siemens)
    exponent = np.maximum(after_s * load.siemens / loop, 1e-12)
    slope = (load.in_regulation()(start_v)[0] + circuit.path.saturation_a) / -loop
    return start_v - slope * after_s * (np.expm1(-exponent) / exponent), slope * np.exp(-exponent), exponent[-1]


def _by_power(circuit: Circuit, start_v: Array, after_s: Array) -> tuple[Array, Array, Array]:
    """A constant power and little else.

    Begins with the rail's square, which falls exponentially towards what resistor and power leave; ESR and constant currents come
    in by the charge drawn (a Neumann series of two terms, twice).
    """
    law, farad, esr_ohm = circuit.load.in_regulation(), circuit.farad, circuit.esr_ohm
    leak, lowest_v = circuit.path.saturation_a, 0.5 * circuit.load.regular_v
    draw, conductance = law(start_v)
    slope = (draw + leak) / (-farad * np.maximum(1.0 + esr_ohm * conductance, 1.0 + MOST_NEGATIVE))
    exponent = np.maximum(after_s * (2.0 * circuit.load.siemens / farad), 1e-12)
    square = start_v * (start_v - 2.0 * slope * after_s * (np.expm1(-exponent) / exponent))
    rail_v = np.sqrt(np.maximum(square, lowest_v**2))
    start_c = start_v + esr_ohm * draw
    per_farad = after_s[-1] / farad
    for _ in range(2):
        draw, conductance = law(rail_v)
        off = rail_v + esr_ohm * draw - start_c + per_farad * (_CUMULATIVE @ (draw + leak))
        rail_v = rail_v - (off - per_farad * (_CUMULATIVE @ (conductance * off))) / (1.0 + esr_ohm * conductance)
        rail_v = np.maximum(rail_v, lowest_v)
    draw, conductance = law(rail_v)
    loop = farad * np.maximum(1.0 + esr_ohm * conductance, 1.0 + MOST_NEGATIVE)
    return (
        rail_v,
        (draw + leak) / -loop,
        np.asarray(_CUMULATIVE[-1] @ (conductance / loop) * after_s[-1], dtype=np.float64),
    )


def _falling_off(circuit: Circuit, start_v: Array, length_s: Array) -> tuple[Array, Array, Array]:
    """Exponential steps, several between nodes, where a load may fall off and do so steeply."""
    step_s = length_s / _STEPS
    rails, slopes = np.empty((_STEPS + 1, len(start_v))), np.empty((_STEPS + 1, len(start_v)))
    rails[0] = start_v
    faded = np.zeros_like(start_v)
    falling = _falling(circuit)
    for k in range(_STEPS):
        rail_v = rails[k]
        for part in range(_PARTS_BELOW):
            rail_v, slope, exponent = _exponential_step(falling, rail_v, step_s / _PARTS_BELOW)
            faded += exponent
            if part == 0:
                slopes[k] = slope
        rails[k + 1] = rail_v
    slopes[-1], _ = falling(rails[-1])
    # Between nodes the rail is a cubic: where a load falls off within a step, slopes beyond these would make it wild
    # (Fritsch and Carlson's limit, from memory)
    steepest = 3.0 * np.abs(np.diff(rails, axis=0)) / step_s
    slopes[:-1] = np.clip(slopes[:-1], -steepest, steepest)
    slopes[1:] = np.clip(slopes[1:], -steepest, steepest)
    return rails, slopes, faded


def _exponential_step(falling: Law, rail_v: Array, step_s: Array) -> tuple[Array, Array, Array]:
    """The rail a step later, its slope before, and the exponent by which a change of it has faded.

    Third-order exponential Rosenbrock rule (from memory): exact for a load that is linear in the rail, stable for any.
    """
    slope, stiffness = falling(rail_v)
    exponent = np.clip(step_s * stiffness, -2.0, 50.0)
    first, third = _exponential_shares(exponent)
    move_v = np.maximum(step_s * first * slope, -np.maximum(rail_v, 0.0))  # loads fall off before the rail does
    there, _ = falling(rail_v + move_v)
    bent = there - slope + stiffness * move_v
    after = np.maximum(rail_v + move_v + 2.0 * step_s * third * bent, np.minimum(rail_v, 0.0))
    return after, slope, exponent


def _falling(circuit: Circuit) -> Law:
    """Slope of a rail that only the reservoir feeds [V/s], and by how much it weakens as the rail falls [1/s]."""
    law, farad, esr_ohm, leak = circuit.load.law(), circuit.farad, circuit.esr_ohm, circuit.path.saturation_a

    def falling(rail_v: Array) -> tuple[Array, Array]:
        draw, conductance = law(rail_v)
        loop = farad * np.maximum(1.0 + esr_ohm * conductance, 1.0 + MOST_NEGATIVE)
        return -(draw + leak) / loop, conductance / loop

    return falling


def _exponential_shares(x: Array) -> tuple[Array, Array]:
    """(1 − e^−x)/x, and (e^−x − 1 + x − x²/2)/(−x³)."""
    small = np.abs(x) < 0.1
    square = x * x
    first = 1.0 + x * (-1.0 / 2.0 + x * (1.0 / 6.0 + x * (-1.0 / 24.0))) + square * square / 120.0
    third = 1.0 / 6.0 + x * (-1.0 / 24.0 + x * (1.0 / 120.0 - x / 720.0))
    if small.all():
        return first, third
    safe = np.where(small, 1.0, x)
    first = np.where(small, first, -np.expm1(-safe) / safe)
    third = np.where(small, third, (1.0 - safe + 0.5 * safe * safe - np.exp(-safe)) / (safe * safe * safe))
    return first, third
