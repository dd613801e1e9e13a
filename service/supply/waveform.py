"""A closed cycle read out: the rail at any phase, its extremes and its mean, the secondary's current.

Between nodes the reservoir is a cubic through values and slopes; so the corner where conduction begins is not cut.
Refuses to know how the cycle was found.
"""

import numpy as np
from numpy.typing import NDArray

from service.supply.circuit import Circuit
from service.supply.conduction import Cycle
from service.supply.stepping import steps_of

Array = NDArray[np.float64]

_BETWEEN = np.linspace(0.0, 1.0, 17)[:, np.newaxis]


def rail_between(circuit: Circuit, cycle: Cycle, phase_rad: Array) -> Array:
    """The rail (N, P) at phases (N, P) [V]."""
    after_s = (np.mod(phase_rad.T - cycle.begin_rad, 2.0 * np.pi)) / circuit.radians_per_s
    conducting = after_s < cycle.conduction_s
    steps = steps_of(cycle.current_a.shape[0] - 1)
    place = np.minimum(after_s / cycle.conduction_s, 1.0)
    node = np.minimum(np.searchsorted(steps.shares, place, side="right") - 1, len(steps.lengths) - 1)
    share = (place - steps.shares[node]) / steps.lengths[node]
    net_left, net_right = (np.take_along_axis(cycle.net_a, node + k, axis=0) for k in (0, 1))
    left, right = (np.take_along_axis(cycle.capacitor_v, node + k, axis=0) for k in (0, 1))
    scale = cycle.conduction_s / circuit.farad * steps.lengths[node]
    rising = _cubic(left, right, scale * net_left, scale * net_right, share)
    rising += circuit.esr_ohm * (net_left + share * (net_right - net_left))

    count = cycle.discharge_v.shape[0] - 1
    step_s = cycle.discharge_s / count
    place = np.clip((after_s - cycle.conduction_s) / step_s, 0.0, count)
    node = np.minimum(place.astype(np.intp), count - 1)
    left, right = (np.take_along_axis(cycle.discharge_v, node + k, axis=0) for k in (0, 1))
    slopes = [np.take_along_axis(cycle.discharge_slope, node + k, axis=0) * step_s for k in (0, 1)]
    falling = _cubic(left, right, slopes[0], slopes[1], place - node)
    return np.ascontiguousarray(np.where(conducting, rising, falling).T)


def extremes(circuit: Circuit, cycle: Cycle) -> tuple[Array, Array]:
    """Highest and lowest rail of the cycle, each (N,) [V]; the lowest lies just after conduction has begun."""
    rail = cycle.capacitor_v + circuit.esr_ohm * cycle.net_a
    shares = steps_of(rail.shape[0] - 1).shares
    width_rad = cycle.conduction_s * circuit.radians_per_s
    found = []
    for sign in (1.0, -1.0):
        node = np.clip(np.argmax(sign * rail, axis=0), 1, len(shares) - 2)
        between = shares[node - 1] + (shares[node + 1] - shares[node - 1]) * _BETWEEN
        near = rail_between(circuit, cycle, (cycle.begin_rad + between * width_rad).T)
        found.append(sign * peak_of(sign * near))
    return found[0], found[1]


def peak_of(values: Array) -> Array:
    """Highest of equally spaced values (N, P), by a parabola through it and its neighbours."""
    at = np.clip(np.argmax(values, axis=1), 1, values.shape[1] - 2)[:, np.newaxis]
    left, mid, right = (np.take_along_axis(values, at + k, axis=1)[:, 0] for k in (-1, 0, 1))
    bend = left - 2.0 * mid + right
    lift = np.where(bend < 0.0, -((left - right) ** 2) / (8.0 * np.where(bend < 0.0, bend, -1.0)), 0.0)
    best = np.maximum(np.where(np.abs(left - right) <= -2.0 * bend, mid + lift, mid), np.max(values, axis=1))
    return np.asarray(best, dtype=np.float64)


def peak_current(cycle: Cycle) -> Array:
    """Highest secondary current (N,) [A], by a parabola through the highest node and its neighbours."""
    steps = steps_of(cycle.current_a.shape[0] - 1)
    at = np.clip(np.argmax(cycle.current_a, axis=0), 1, len(steps.lengths) - 1)
    left, mid, right = (np.take_along_axis(cycle.current_a, at[np.newaxis] + k, axis=0)[0] for k in (-1, 0, 1))
    before, after = steps.lengths[at - 1], steps.lengths[at]
    rise, fall = (mid - left) / before, (right - mid) / after
    bend = (fall - rise) / (before + after)  # half the second derivative
    slope = rise + bend * before
    lift = np.where(bend < 0.0, -(slope**2) / (4.0 * np.where(bend < 0.0, bend, -1.0)), 0.0)
    return np.asarray(mid + np.minimum(lift, 0.5 * np.abs(mid)), dtype=np.float64)


def mean_rail(circuit: Circuit, cycle: Cycle) -> Array:
    """Mean of the rail over the cycle (N,) [V]: the integral of the cubics."""
    steps = steps_of(cycle.current_a.shape[0] - 1)
    between = 0.5 * (cycle.capacitor_v[:-1] + cycle.capacitor_v[1:])
    area = cycle.conduction_s * (steps.lengths @ between + circuit.esr_ohm * (steps.weights @ cycle.net_a))
    area += cycle.conduction_s**2 / 12.0 / circuit.farad * (steps.lengths**2 @ (cycle.net_a[:-1] - cycle.net_a[1:]))
    step_s = cycle.discharge_s / (cycle.discharge_v.shape[0] - 1)
    area += step_s * (np.sum(cycle.discharge_v, axis=0) - 0.5 * (cycle.discharge_v[0] + cycle.discharge_v[-1]))
    area += step_s**2 / 12.0 * (cycle.discharge_slope[0] - cycle.discharge_slope[-1])
    return np.asarray(area / (cycle.conduction_s + cycle.discharge_s), dtype=np.float64)


def rms_current(cycle: Cycle) -> Array:
    """Root mean square of the secondary's current over the cycle (N,) [A]."""
    weights = steps_of(cycle.current_a.shape[0] - 1).weights
    square = cycle.conduction_s * (weights @ cycle.current_a**2)
    return np.asarray(np.sqrt(square / (cycle.conduction_s + cycle.discharge_s)), dtype=np.float64)


def mean_current(circuit: Circuit, cycle: Cycle) -> Array:
    """Mean of the current drawn from the rail (N,) [A]; in a closed cycle the mean of the secondary's too."""
    weights = steps_of(cycle.current_a.shape[0] - 1).weights
    drawn = cycle.conduction_s * (weights @ (cycle.current_a - cycle.net_a))
    step_s = cycle.discharge_s / (cycle.discharge_v.shape[0] - 1)
    draw = circuit.load.current(cycle.discharge_v)[0]
    drawn = drawn + step_s * (np.sum(draw, axis=0) - 0.5 * (draw[0] + draw[-1]))
    return np.asarray(drawn / (cycle.conduction_s + cycle.discharge_s), dtype=np.float64)


def angle_above(circuit: Circuit, cycle: Cycle, share_of_peak: float) -> Array:
    """Angle over which the secondary's current is above a share of its peak (N,) [rad]."""
    current = cycle.current_a
    level = share_of_peak * np.max(current, axis=0)
    left, right = current[:-1] - level, current[1:] - level
    crosses = left * right < 0.0
    crossing = np.maximum(left, right) / np.where(crosses, np.abs(right - left), 1.0)
    part = np.where(crosses, crossing, (left >= 0.0) & (right >= 0.0))
    lengths = steps_of(current.shape[0] - 1).lengths
    return np.asarray(cycle.conduction_s * circuit.radians_per_s * (lengths @ part), dtype=np.float64)


def _cubic(left: Array, right: Array, left_slope: Array, right_slope: Array, share: Array) -> Array:
    """Cubic through two values with two slopes per step."""
    rise = right - left
    bend = left_slope + right_slope - 2.0 * rise
    return np.asarray(
        left + share * (left_slope + share * (rise - left_slope + (share - 1.0) * bend)), dtype=np.float64
    )
