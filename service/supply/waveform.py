"""A closed cycle read out: the rail at any phase, its extremes and its mean, the secondary's current.

Between nodes the reservoir is a cubic through values and slopes; so the corner where conduction begins is not cut.
Refuses to know how the cycle was found.
"""

import numpy as np
from numpy.typing import NDArray

from service.supply.conduction import Circuit, Cycle

Array = NDArray[np.float64]


def rail_between(circuit: Circuit, cycle: Cycle, phase_rad: Array) -> Array:
    """The rail (N, P) at phases (N, P) [V]."""
    after_s = (np.mod(phase_rad.T - cycle.begin_rad, 2.0 * np.pi)) / circuit.radians_per_s
    conducting = after_s < cycle.conduction_s
    steps = cycle.current_a.shape[0] - 1
    step_s = cycle.conduction_s / steps
    place = np.clip(after_s / step_s, 0.0, steps)
    node = np.minimum(place.astype(np.intp), steps - 1)
    share = place - node
    net_left, net_right = (np.take_along_axis(cycle.net_a, node + k, axis=0) for k in (0, 1))
    left, right = (np.take_along_axis(cycle.capacitor_v, node + k, axis=0) for k in (0, 1))
    scale = step_s / circuit.farad
    rising = _cubic(left, right, scale * net_left, scale * net_right, share)
    rising += circuit.esr_ohm * (net_left + share * (net_right - net_left))

    steps = cycle.discharge_v.shape[0] - 1
    step_s = cycle.discharge_s / steps
    place = np.clip((after_s - cycle.conduction_s) / step_s, 0.0, steps)
    node = np.minimum(place.astype(np.intp), steps - 1)
    left, right = (np.take_along_axis(cycle.discharge_v, node + k, axis=0) for k in (0, 1))
    slopes = [np.take_along_axis(cycle.discharge_slope, node + k, axis=0) * step_s for k in (0, 1)]
    falling = _cubic(left, right, slopes[0], slopes[1], place - node)
    return np.ascontiguousarray(np.where(conducting, rising, falling).T)


def extremes(circuit: Circuit, cycle: Cycle) -> tuple[Array, Array]:
    """Highest and lowest rail of the cycle, each (N,) [V]."""
    rail = cycle.capacitor_v + circuit.esr_ohm * cycle.net_a
    steps = rail.shape[0] - 1
    step_rad = cycle.conduction_s * circuit.radians_per_s / steps
    around = np.linspace(-1.0, 1.0, 17)
    found = []
    for sign in (1.0, -1.0):
        node = np.clip(np.argmax(sign * rail, axis=0), 1, steps - 1)
        centre = cycle.begin_rad + node * step_rad
        near = sign * rail_between(circuit, cycle, centre[:, np.newaxis] + around * step_rad[:, np.newaxis])
        found.append(sign * peak_of(near))
    return found[0], np.minimum(found[1], cycle.discharge_v[-1])


def peak_of(values: Array) -> Array:
    """Highest of equally spaced values (N, P), by a parabola through it and its neighbours."""
    at = np.clip(np.argmax(values, axis=1), 1, values.shape[1] - 2)[:, np.newaxis]
    left, mid, right = (np.take_along_axis(values, at + k, axis=1)[:, 0] for k in (-1, 0, 1))
    bend = left - 2.0 * mid + right
    lift = np.where(bend < 0.0, -((left - right) ** 2) / (8.0 * np.where(bend < 0.0, bend, -1.0)), 0.0)
    best = np.maximum(np.where(np.abs(left - right) <= -2.0 * bend, mid + lift, mid), np.max(values, axis=1))
    return np.asarray(best, dtype=np.float64)


def mean_rail(circuit: Circuit, cycle: Cycle) -> Array:
    """Mean of the rail over the cycle (N,) [V]: the integral of the cubics."""
    steps = cycle.current_a.shape[0] - 1
    step_s = cycle.conduction_s / steps
    area = step_s * (_trapezium(cycle.capacitor_v) + circuit.esr_ohm * _trapezium(cycle.net_a))
    area += step_s**2 / 12.0 * (cycle.net_a[0] - cycle.net_a[-1]) / circuit.farad
    step_s = cycle.discharge_s / (cycle.discharge_v.shape[0] - 1)
    area += step_s * _trapezium(cycle.discharge_v)
    area += step_s**2 / 12.0 * (cycle.discharge_slope[0] - cycle.discharge_slope[-1])
    return np.asarray(area / (cycle.conduction_s + cycle.discharge_s), dtype=np.float64)


def rms_current(cycle: Cycle) -> Array:
    """Root mean square of the secondary's current over the cycle (N,) [A]."""
    step_s = cycle.conduction_s / (cycle.current_a.shape[0] - 1)
    square = step_s * _trapezium(cycle.current_a**2)
    return np.asarray(np.sqrt(square / (cycle.conduction_s + cycle.discharge_s)), dtype=np.float64)


def mean_current(cycle: Cycle) -> Array:
    """Mean of the secondary's current (N,) [A]: in a closed cycle, what the load draws."""
    step_s = cycle.conduction_s / (cycle.current_a.shape[0] - 1)
    return np.asarray(step_s * _trapezium(cycle.current_a) / (cycle.conduction_s + cycle.discharge_s), dtype=np.float64)


def angle_above(circuit: Circuit, cycle: Cycle, share_of_peak: float) -> Array:
    """Angle over which the secondary's current is above a share of its peak (N,) [rad]."""
    current = cycle.current_a
    level = share_of_peak * np.max(current, axis=0)
    left, right = current[:-1] - level, current[1:] - level
    span = np.where(left * right < 0.0, np.abs(right - left), 1.0)
    crossing = np.maximum(left, right) / span
    part = np.where(left * right < 0.0, crossing, (left >= 0.0) & (right >= 0.0))
    step_rad = cycle.conduction_s * circuit.radians_per_s / (current.shape[0] - 1)
    return np.asarray(step_rad * np.sum(part, axis=0), dtype=np.float64)


def _trapezium(nodes: Array) -> Array:
    return np.asarray(np.sum(nodes, axis=0) - 0.5 * (nodes[0] + nodes[-1]), dtype=np.float64)


def _cubic(left: Array, right: Array, left_slope: Array, right_slope: Array, share: Array) -> Array:
    """Cubic through two values with two slopes per step."""
    rise = right - left
    bend = left_slope + right_slope - 2.0 * rise
    return np.asarray(
        left + share * (left_slope + share * (rise - left_slope + (share - 1.0) * bend)), dtype=np.float64
    )
