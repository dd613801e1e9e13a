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
Whole = NDArray[np.intp]

_BETWEEN = np.linspace(0.0, 1.0, 17)[:, np.newaxis]
_TURN = 2.0 * np.pi


def rail_between(circuit: Circuit, cycle: Cycle, phase_rad: Array) -> Array:
    """The rail (N, P) at phases (N, P) [V]."""
    after_rad = phase_rad - cycle.begin_rad[:, np.newaxis]
    after_rad -= _TURN * np.floor(after_rad / _TURN)
    width_rad = (cycle.conduction_s * circuit.radians_per_s)[:, np.newaxis]
    conducting = after_rad < width_rad
    rail = _falling(cycle, (after_rad - width_rad) / circuit.radians_per_s[:, np.newaxis])
    rows = np.nonzero(conducting)[0]
    steps = steps_of(cycle.current_a.shape[0] - 1)
    place = after_rad[conducting] / width_rad[rows, 0]
    node = np.minimum(np.searchsorted(steps.shares, place, side="right") - 1, len(steps.lengths) - 1)
    rail[conducting] = _rising(circuit, cycle, rows, node, (place - steps.shares[node]) / steps.lengths[node])
    return rail


def _rising(circuit: Circuit, cycle: Cycle, rows: Whole, node: Whole, share: Array) -> Array:
    """The rail in conduction: of these rows, after these nodes, at a share of the step."""
    lengths = steps_of(cycle.current_a.shape[0] - 1).lengths
    net_left, net_right = cycle.net_a[node, rows], cycle.net_a[node + 1, rows]
    scale = (cycle.conduction_s / circuit.farad)[rows] * lengths[node]
    left, right = cycle.capacitor_v[node, rows], cycle.capacitor_v[node + 1, rows]
    capacitor = _cubic(left, right, scale * net_left, scale * net_right, share)
    return np.asarray(capacitor + circuit.esr_ohm[rows] * (net_left + share * (net_right - net_left)), dtype=np.float64)


def _falling(cycle: Cycle, after_s: Array) -> Array:
    """The rail (N, P) at times (N, P) after the conduction [s]; before it, anything."""
    first, last = cycle.discharge_slope[0], cycle.discharge_slope[-1]
    if (first == last).all():  # a straight line
        return np.asarray(cycle.discharge_v[0][:, np.newaxis] + first[:, np.newaxis] * after_s, dtype=np.float64)
    count = cycle.discharge_v.shape[0] - 1
    step_s = (cycle.discharge_s / count)[:, np.newaxis]
    place = np.clip(after_s / step_s, 0.0, count)
    node = np.minimum(place.astype(np.intp), count - 1)
    rows = np.arange(len(first))[:, np.newaxis]
    left, right = cycle.discharge_v[node, rows], cycle.discharge_v[node + 1, rows]
    slopes = cycle.discharge_slope[node, rows] * step_s, cycle.discharge_slope[node + 1, rows] * step_s
    return _cubic(left, right, *slopes, place - node)


def extremes(circuit: Circuit, cycle: Cycle) -> tuple[Array, Array]:
    """Highest and lowest rail of the cycle, each (N,) [V]; the lowest lies just after conduction has begun."""
    rail = cycle.capacitor_v + circuit.esr_ohm * cycle.net_a
    steps = steps_of(rail.shape[0] - 1)
    rows = np.tile(np.arange(rail.shape[1]), len(_BETWEEN))
    found = []
    for sign in (1.0, -1.0):
        node = np.clip(np.argmax(sign * rail, axis=0), 1, len(steps.lengths) - 1)
        before, here, after = (steps.shares[node + k] for k in (-1, 0, 1))
        place = before + (after - before) * _BETWEEN
        left = np.where(place < here, node - 1, node)
        near = _rising(circuit, cycle, rows, left.ravel(), ((place - steps.shares[left]) / steps.lengths[left]).ravel())
        found.append(sign * peak_of(sign * near.reshape(place.shape).T))
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
    peak = np.max(cycle.current_a, axis=0)
    over = np.log(
        np.maximum(cycle.current_a / peak, 1e-9) / share_of_peak
    )  # so small a current grows and ends exponentially
    left, right = over[:-1], over[1:]
    crosses = left * right < 0.0
    crossing = np.maximum(left, right) / np.where(crosses, np.abs(right - left), 1.0)
    part = np.where(crosses, crossing, (left >= 0.0) & (right >= 0.0))
    lengths = steps_of(over.shape[0] - 1).lengths
    return np.asarray(cycle.conduction_s * circuit.radians_per_s * (lengths @ part), dtype=np.float64)


def _cubic(left: Array, right: Array, left_slope: Array, right_slope: Array, share: Array) -> Array:
    """Cubic through two values with two slopes per step."""
    rise = right - left
    bend = left_slope + right_slope - 2.0 * rise
    return np.asarray(
        left + share * (left_slope + share * (rise - left_slope + (share - 1.0) * bend)), dtype=np.float64
    )
