"""The reservoir alone with its load: the stretch of a cycle in which no diode conducts.

One straight line for a constant load, else steps that are exact for every load linear in the rail. Refuses to know the source.
"""

import numpy as np
from numpy.typing import NDArray

from service.supply.circuit import Circuit

Array = NDArray[np.float64]

_STEPS, _PARTS_BELOW = 10, 4  # nodes, and steps between them where a load may fall off
MOST_NEGATIVE = -0.5
"""Share of a step, or of the ESR's drop, by which a constant power may push its own current on."""


def rail_without_current(circuit: Circuit, capacitor_v: Array) -> Array:
    """The rail when only the reservoir feeds the load: its voltage less what the ESR drops."""
    rail = capacitor_v
    for turn in range(3):
        draw, slope = circuit.load.current(rail)
        if turn and not slope.any():
            break
        give = np.maximum(1.0 + circuit.esr_ohm * slope, 1.0 + MOST_NEGATIVE)
        rail = rail - (rail + circuit.esr_ohm * draw - capacitor_v) / give
    return rail


def discharge(circuit: Circuit, start_v: Array, length_s: Array) -> tuple[Array, Array, Array]:
    """Rail nodes, their slopes [V/s], and the exponent by which a change of the start has faded."""
    load, leak = circuit.load, circuit.path.saturation_a
    draw, _ = load.current(start_v)
    end_v = start_v - (draw + leak) * length_s / circuit.farad
    if load.is_constant_above(end_v):
        slope = -(draw + leak) / circuit.farad
        after_s = np.linspace(0.0, 1.0, _STEPS + 1)[:, np.newaxis] * length_s
        return start_v + slope * after_s, np.broadcast_to(slope, after_s.shape), np.zeros_like(start_v)
    step_s = length_s / _STEPS
    rails = np.empty((_STEPS + 1, start_v.shape[0]))
    slopes = np.empty_like(rails)
    rails[0] = start_v
    faded = np.zeros_like(start_v)
    stays = load.never_below(start_v - 2.0 * (draw + leak) * length_s / circuit.farad).all()
    parts = 1 if stays else _PARTS_BELOW
    for k in range(_STEPS):
        rail_v = rails[k]
        for part in range(parts):
            rail_v, slope, exponent = _exponential_step(circuit, rail_v, step_s / parts)
            faded += exponent
            if part == 0:
                slopes[k] = slope
        rails[k + 1] = rail_v
    slopes[-1], _ = _falling(circuit, rails[-1])
    # Between nodes the rail is a cubic: where a load falls off within a step, slopes beyond these would make it wild
    # (Fritsch and Carlson's limit, from memory)
    steepest = 3.0 * np.abs(np.diff(rails, axis=0)) / step_s
    slopes[:-1] = np.clip(slopes[:-1], -steepest, steepest)
    slopes[1:] = np.clip(slopes[1:], -steepest, steepest)
    return rails, slopes, faded


def _exponential_step(circuit: Circuit, rail_v: Array, step_s: Array) -> tuple[Array, Array, Array]:
    """The rail a step later, its slope before, and the exponent by which a change of it has faded.

    Third-order exponential Rosenbrock rule (from memory): exact for a load that is linear in the rail, stable for any.
    """
    slope, stiffness = _falling(circuit, rail_v)
    exponent = np.clip(step_s * stiffness, -2.0, 50.0)
    first, third = _exponential_shares(exponent)
    move_v = np.maximum(step_s * first * slope, -np.maximum(rail_v, 0.0))  # loads fall off before the rail does
    there, _ = _falling(circuit, rail_v + move_v)
    bent = there - slope + stiffness * move_v
    after = np.maximum(rail_v + move_v + 2.0 * step_s * third * bent, np.minimum(rail_v, 0.0))
    return after, slope, exponent


def _falling(circuit: Circuit, rail_v: Array) -> tuple[Array, Array]:
    """Slope of a rail that only the reservoir feeds [V/s], and by how much it weakens as the rail falls [1/s]."""
    draw, conductance = circuit.load.current(rail_v)
    loop = circuit.farad * np.maximum(1.0 + circuit.esr_ohm * conductance, 1.0 + MOST_NEGATIVE)
    return -(draw + circuit.path.saturation_a) / loop, conductance / loop


def _exponential_shares(x: Array) -> tuple[Array, Array]:
    """(1 − e^−x)/x, and (e^−x − 1 + x − x²/2)/(−x³)."""
    small = np.abs(x) < 0.1
    safe = np.where(small, 1.0, x)
    first = np.where(small, 1.0 - x / 2.0 + x * x / 6.0 - x**3 / 24.0 + x**4 / 120.0, -np.expm1(-safe) / safe)
    third = np.where(
        small,
        1.0 / 6.0 - x / 24.0 + x * x / 120.0 - x**3 / 720.0,
        (1.0 - safe + 0.5 * safe**2 - np.exp(-safe)) / safe**3,
    )
    return first, third
