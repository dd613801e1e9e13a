"""One mains cycle of a half-wave rectifier, stepped from the moment the diodes begin to conduct.

Conduction: implicit steps (second-order backward differences for the leakage inductance, the trapezium for the
reservoir), each solved by a formula for diode and resistor in series; so it is stable for any inductance, none included.
Discharge: one straight line for a constant load, else steps that are exact for every load that is linear in the rail.
Refuses to know whether the cycle closes: `rectifier.py` sees to that.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.supply.diodes import Diode, wright_omega
from service.supply.load import Load
from service.supply.mains import Mains

Array = NDArray[np.float64]

_DISCHARGE_STEPS = 10
_SMALLEST_LOAD_A = 1e-5  # only for the level at which conduction is said to begin


@dataclass(frozen=True, slots=True)
class Path:
    """The diodes in series as one: ln of a product of currents is a sum. Exact for one diode or equal ones.

    Two different ones are off only where the current is near the larger saturation current: microamperes.
    """

    scaled_v: Array  # sum of N·Vt
    saturation_a: Array  # the smaller one: what flows backwards
    log_saturation: Array  # mean of ln Is, weighted by N·Vt
    series_ohm: Array

    @staticmethod
    def of(diodes: "list[Diode]", shape: tuple[int, ...]) -> "Path":
        scaled = [np.broadcast_to(np.asarray(d.emission) * d.thermal_v, shape).astype(np.float64) for d in diodes]
        saturation = [np.broadcast_to(np.asarray(d.saturation_a), shape).astype(np.float64) for d in diodes]
        series = [np.broadcast_to(np.asarray(d.series_ohm), shape).astype(np.float64) for d in diodes]
        total = sum(scaled[1:], scaled[0])
        logs = [v * np.log(a) for v, a in zip(scaled, saturation, strict=True)]
        smallest = saturation[0] if len(diodes) == 1 else np.minimum(saturation[0], saturation[1])
        return Path(total, smallest, sum(logs[1:], logs[0]) / total, sum(series[1:], series[0]))

    def drop_v(self, current_a: Array) -> Array:
        junction = self.scaled_v * (np.log(current_a + self.saturation_a) - self.log_saturation)
        return np.asarray(junction + self.series_ohm * current_a, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Circuit:
    """Everything of one installation that a cycle needs; arrays (N,)."""

    mains: Mains
    radians_per_s: Array
    ohm: Array  # source, joints and wires
    henry: Array
    farad: Array
    esr_ohm: Array
    shift_v: Array
    path: Path
    load: Load

    def begin_a(self) -> Array:
        """Current at which conduction is said to begin and end: a thousandth of what the load asks [A]."""
        asked = np.abs(self.load.regulated_a) + np.abs(self.load.extra_a)
        asked = asked + np.abs(self.load.siemens) * self.mains.rms_v
        return np.asarray(1e-3 * np.maximum(asked, _SMALLEST_LOAD_A), dtype=np.float64)

    def threshold_v(self) -> Array:
        """Source voltage above the rail at which conduction begins [V]."""
        begin = self.begin_a()
        return np.asarray(self.path.drop_v(begin) + self.shift_v + self.ohm * begin, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Cycle:
    """A cycle from begin to begin. Nodes run along the first axis: conduction (M + 1, N), discharge (D + 1, N)."""

    begin_rad: Array
    conduction_s: Array  # length of the stretch stepped as conduction
    discharge_s: Array
    current_a: Array  # conduction nodes: secondary
    net_a: Array  # conduction nodes: into the reservoir
    capacitor_v: Array  # conduction nodes: behind the ESR
    discharge_v: Array  # discharge nodes: the rail
    discharge_slope: Array  # discharge nodes [V/s]
    end_share: Array  # where in the stretch the current has ended; above 1: it has not
    memory: Array  # how much of a change of the rail at begin is left a cycle later
    next_rail_v: Array  # rail when the next conduction should begin


def step_cycle(circuit: Circuit, begin_rad: Array, rail_v: Array, width_rad: Array, steps: int) -> Cycle:
    """One cycle from a rail at begin. All (N,); `width_rad` should hold the conduction and little more."""
    mains, load, path = circuit.mains, circuit.load, circuit.path
    begin_a = circuit.begin_a()
    step_s = width_rad / circuit.radians_per_s / steps
    fractions = (np.arange(steps + 1) / steps)[:, np.newaxis]
    drive = mains.voltage(begin_rad + fractions * width_rad) - circuit.shift_v

    constant = load.is_constant_above(rail_v - _most_it_can_fall(circuit, rail_v))
    draw, slope = load.current(rail_v)
    half_step = step_s / (2.0 * circuit.farad)
    reach = half_step + circuit.esr_ohm  # volts of rail per ampere into the reservoir at a step's end
    with_coil = bool(np.any(circuit.henry != 0.0))
    coil = circuit.henry / step_s

    def resist(reach_now: Array) -> tuple[Array, Array]:
        ohm = 1.5 * coil + circuit.ohm + path.series_ohm + reach_now
        return ohm, ohm / path.scaled_v

    count = rail_v.shape[0]
    current = np.empty((steps + 1, count))
    net = np.empty_like(current)
    capacitor = np.empty_like(current)
    depth = np.empty_like(current)  # argument of the diode's formula: falls through a level where conduction ends
    draws = np.empty_like(current)
    slopes = np.empty_like(current)

    current[0], draws[0], slopes[0] = begin_a, draw, slope
    net[0] = begin_a - draw
    capacitor[0] = rail_v - circuit.esr_ohm * net[0]
    ohm, per_volt = resist(reach)
    saturated = path.saturation_a
    log_scale = np.log(per_volt) + path.log_saturation
    # w = (i + Is)·K/a solves w + ln w = (drive − …)/a + K·Is/a + ln(K·Is_mean/a)
    depth[0] = (path.drop_v(begin_a) - path.series_ohm * begin_a) / path.scaled_v + log_scale + begin_a * per_volt
    before = begin_a
    for k in range(steps):
        settled = capacitor[k] + half_step * net[k]
        if constant:
            free = settled - reach * draw
        else:
            rail = capacitor[k] + circuit.esr_ohm * net[k]
            draw, slope = load.current(rail)
            reduced = reach / (1.0 + slope * reach)
            base = draw + slope * (settled - rail)
            ohm, per_volt = resist(reduced)
            log_scale = np.log(per_volt) + path.log_saturation
            free = settled - reduced * base
        push = drive[k + 1] - free
        if with_coil:
            push = push + coil * (2.0 * current[k] - 0.5 * before)
            before = current[k]
        argument = (push + ohm * saturated) / path.scaled_v + log_scale
        now = wright_omega(argument) / per_volt - saturated
        depth[k + 1] = argument
        current[k + 1] = now
        net[k + 1] = now - draw if constant else (now - base) / (1.0 + slope * reach)
        capacitor[k + 1] = settled + half_step * net[k + 1]
        draws[k + 1], slopes[k + 1] = draw, slope

    live = 1.0 / (circuit.ohm + path.series_ohm + circuit.esr_ohm + path.scaled_v / (current[1:] + saturated))
    forget = step_s / circuit.farad * np.sum(live + slopes[1:], axis=0)

    conduction_s = width_rad / circuit.radians_per_s
    discharge_s = (2.0 * np.pi - width_rad) / circuit.radians_per_s
    start_v = _rail_without_current(circuit, capacitor[-1])
    discharge_v, discharge_slope, forgotten = _discharge(circuit, start_v, discharge_s)
    level = (path.drop_v(begin_a) - path.series_ohm * begin_a) / path.scaled_v + log_scale + begin_a * per_volt
    return Cycle(
        begin_rad,
        conduction_s,
        discharge_s,
        current,
        net,
        capacitor,
        discharge_v,
        discharge_slope,
        _last_fall(depth, level),
        np.exp(-np.clip(forget + forgotten, -0.5, 50.0)),
        discharge_v[-1] + circuit.esr_ohm * begin_a,
    )


def _most_it_can_fall(circuit: Circuit, rail_v: Array) -> Array:
    """A bound of the fall in one cycle while the load is what it is at `rail_v` [V]."""
    draw, _ = circuit.load.current(rail_v)
    return np.asarray((2.0 * np.pi / circuit.radians_per_s / circuit.farad + circuit.esr_ohm) * draw, dtype=np.float64)


def _rail_without_current(circuit: Circuit, capacitor_v: Array) -> Array:
    """The rail when only the reservoir feeds the load: its voltage less what the ESR drops."""
    rail = capacitor_v
    for _ in range(3):
        draw, slope = circuit.load.current(rail)
        rail = rail - (rail + circuit.esr_ohm * draw - capacitor_v) / (1.0 + circuit.esr_ohm * slope)
    return rail


def _discharge(circuit: Circuit, start_v: Array, length_s: Array) -> tuple[Array, Array, Array]:
    """Rail nodes, their slopes [V/s], and the exponent by which a change of the start has faded."""
    load, leak = circuit.load, circuit.path.saturation_a
    draw, _ = load.current(start_v)
    end_v = start_v - (draw + leak) * length_s / circuit.farad
    if load.is_constant_above(end_v):
        slope = -(draw + leak) / circuit.farad
        after_s = np.linspace(0.0, 1.0, _DISCHARGE_STEPS + 1)[:, np.newaxis] * length_s
        return start_v + slope * after_s, np.broadcast_to(slope, after_s.shape), np.zeros_like(start_v)
    step_s = length_s / _DISCHARGE_STEPS
    rails = np.empty((_DISCHARGE_STEPS + 1, start_v.shape[0]))
    slopes = np.empty_like(rails)
    rails[0] = start_v
    faded = np.zeros_like(start_v)
    for k in range(_DISCHARGE_STEPS + 1):
        draw, conductance = load.current(rails[k])
        loop = circuit.farad * (1.0 + circuit.esr_ohm * conductance)
        slopes[k] = -(draw + leak) / loop
        if k < _DISCHARGE_STEPS:
            exponent = np.clip(step_s * conductance / loop, -2.0, 50.0)
            small = np.abs(exponent) < 1e-7
            safe = np.where(small, 1.0, exponent)
            share = np.where(small, 1.0 - 0.5 * exponent, -np.expm1(-safe) / safe)
            rails[k + 1] = rails[k] + step_s * slopes[k] * share
            faded += exponent
    return rails, slopes, faded


def _last_fall(depth: Array, level: Array) -> Array:
    """Share of the stretch at which `depth` last falls through `level`; beyond 1 by the last slope where it has not."""
    steps = depth.shape[0] - 1
    above = depth > level
    last = steps - np.argmax(above[::-1], axis=0)  # last node still above
    last = np.where(np.any(above, axis=0), last, 0)
    last = np.clip(last, 0, steps - 1)
    left = np.take_along_axis(depth, last[np.newaxis], axis=0)[0]
    right = np.take_along_axis(depth, last[np.newaxis] + 1, axis=0)[0]
    fall = np.maximum(left - right, 1e-9)
    return np.asarray((last + np.clip((left - level) / fall, 0.0, 0.3 * steps)) / steps, dtype=np.float64)
