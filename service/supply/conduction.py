"""One mains cycle of a half-wave rectifier, stepped from the moment the diodes begin to conduct.

Conduction: implicit multistep rules of third order (backward differences for the leakage inductance, Adams and Moulton's for
the reservoir), each step solved by a formula for diode and resistor in series; so no inductance is as good as some.
Discharge: one straight line for a constant load, else steps that are exact for every load that is linear in the rail.
Refuses to know whether the cycle closes: `rectifier.py` sees to that.
"""

from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.supply.diodes import Diode, wright_omega
from service.supply.load import Load
from service.supply.mains import Mains
from service.supply.stepping import Steps

Array = NDArray[np.float64]

_DISCHARGE_STEPS, _PARTS_BELOW = 10, 4  # nodes, and steps between them where a load may fall off
_MOST_NEGATIVE = -0.5  # share of a step, or of the ESR's drop, by which a load may push itself on
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

    def growth_per_s(self, begin_rad: Array, draw_a: Array) -> Array:
        """Rate at which the current grows, exponentially, as conduction begins: set by source, discharge and diodes [1/s]."""
        begin = self.begin_a()
        closing_v_per_s = (
            self.radians_per_s * np.maximum(self.mains.slope(begin_rad), 0.0) + np.maximum(draw_a, 0.0) / self.farad
        )
        scaled_v = self.path.scaled_v + begin * (self.ohm + self.path.series_ohm + self.esr_ohm)
        rate = closing_v_per_s / scaled_v
        return np.asarray(closing_v_per_s / (scaled_v + begin * self.henry * rate), dtype=np.float64)

    def threshold_v(self, growth_per_s: Array | float = 0.0) -> Array:
        """Source voltage above the rail at which conduction begins [V]."""
        begin = self.begin_a()
        drop_v = self.path.drop_v(begin) + self.shift_v + self.ohm * begin
        return np.asarray(drop_v + self.henry * begin * growth_per_s, dtype=np.float64)


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


def step_cycle(circuit: Circuit, begin_rad: Array, rail_v: Array, width_rad: Array, steps: Steps) -> Cycle:
    """One cycle from a rail at begin. All (N,); `width_rad` should hold the conduction and little more."""
    mains, path, load = circuit.mains, circuit.path, circuit.load
    begin_a = circuit.begin_a()
    stretch_s = width_rad / circuit.radians_per_s
    per_farad = stretch_s / circuit.farad
    draw, _ = load.current(rail_v)
    drive = mains.voltage(begin_rad + steps.shares[:, np.newaxis] * width_rad) - circuit.shift_v

    growth = circuit.growth_per_s(begin_rad, draw)
    shrink = np.exp(-growth * stretch_s * steps.lengths[0])
    nodes = _Nodes.empty(len(steps.shares), rail_v.shape[0])
    nodes.current[0] = begin_a
    nodes.net[0] = begin_a - draw
    nodes.capacitor[0] = rail_v - circuit.esr_ohm * nodes.net[0]
    ohm_per_volt = None
    rules = _Rules.of(circuit, steps, stretch_s, per_farad, load.siemens)
    if load.is_constant_above(rail_v):
        nodes.slope[:] = 0.0
        ohm_per_volt = _conduct_constant(circuit, steps, rules, drive, draw, shrink, nodes)
        if not load.is_constant_above(np.min(nodes.capacitor + circuit.esr_ohm * nodes.net, axis=0)):
            ohm_per_volt = None
    if ohm_per_volt is None:
        steepest = np.where(load.never_below(rail_v), load.siemens, load.steepest)
        rules = _Rules.of(circuit, steps, stretch_s, per_farad, steepest)
        ohm_per_volt = _conduct(circuit, steps, rules, drive, draw, shrink, nodes)

    begin_scaled = begin_a * ohm_per_volt
    level = begin_scaled + np.log(begin_scaled)
    nodes.depth[0] = level
    live = 1.0 / (rules.ohm_alone + circuit.esr_ohm + path.scaled_v / (nodes.current[1:] + path.saturation_a))
    forget = per_farad * np.sum(steps.lengths[:, np.newaxis] * (live + nodes.slope[1:]), axis=0)
    discharge_s = 2.0 * np.pi / circuit.radians_per_s - stretch_s
    start_v = _rail_without_current(circuit, nodes.capacitor[-1])
    discharge_v, discharge_slope, forgotten = _discharge(circuit, start_v, discharge_s)
    return Cycle(
        begin_rad,
        stretch_s,
        discharge_s,
        nodes.current,
        nodes.net,
        nodes.capacitor,
        discharge_v,
        discharge_slope,
        _end_with_coil(nodes.current, steps) if rules.with_coil else _last_fall(nodes.depth, level, steps),
        np.exp(-np.clip(forget + forgotten, -0.5, 50.0)),
        discharge_v[-1] + begin_a * (circuit.esr_ohm + 1.0 / (circuit.farad * np.maximum(growth, 1.0))),
    )


@dataclass(frozen=True, slots=True)
class _Nodes:
    """Room for what is kept of each node, (M + 1, N)."""

    current: Array
    net: Array
    capacitor: Array
    depth: Array  # argument of the diode's formula: falls through a level where conduction ends
    slope: Array  # of the load

    @staticmethod
    def empty(nodes: int, count: int) -> "_Nodes":
        return _Nodes(*(np.empty((nodes, count)) for _ in range(5)))


@dataclass(frozen=True, slots=True)
class _Rules:
    """The multistep rules in volts per ampere of this circuit."""

    ohm_alone: Array  # (N,) source and diodes
    ahead: Array  # (M, N) by which the net current at the new, the last, the one before moves the reservoir
    here: Array
    behind: Array
    coil: Array  # (N,) henries over the stretch
    with_coil: bool

    @staticmethod
    def of(circuit: Circuit, steps: Steps, stretch_s: Array, per_farad: Array, steepest: Array) -> "_Rules":
        ohm_alone = circuit.ohm + circuit.path.series_ohm
        # Adams and Moulton's two-step rule, weakened to the trapezium where steps are long for R·C (it is stable to 6)
        ratio = per_farad * np.max(steps.lengths) * (1.0 / (ohm_alone + circuit.esr_ohm + 1e-3) + steepest)
        weight = per_farad / (1.0 + (0.25 * ratio) ** 4)
        half = 0.5 * steps.lengths[:, np.newaxis] * (per_farad - weight)
        ahead, here, behind = (steps.adams[:, k : k + 1] * weight for k in range(3))
        return _Rules(
            ohm_alone, ahead + half, here + half, behind, circuit.henry / stretch_s, bool(np.any(circuit.henry != 0.0))
        )


def _conduct_constant(
    circuit: Circuit, steps: Steps, rules: _Rules, drive: Array, draw: Array, shrink: Array, nodes: _Nodes
) -> Array:
    """Fills the nodes for a load that stays as it is. Gives the scale K/a of the last step [1/A].

    At each step K·i + a·ln((i + Is)/Is) = b, and w = (i + Is)·K/a solves w + ln w = (b + K·Is)/a + ln(Is·K/a).
    """
    path = circuit.path
    per_a = 1.0 / path.scaled_v
    reach = rules.ahead + circuit.esr_ohm
    ohm = rules.ohm_alone + reach
    if rules.with_coil:
        ohm = ohm + steps.backward[:, :1] * rules.coil
    per_volt = ohm * per_a
    ready = (drive[1:] + reach * draw + ohm * path.saturation_a) * per_a + np.log(per_volt) + path.log_saturation
    coil = rules.coil * per_a
    shift = path.saturation_a + draw
    net, last_net = nodes.net[0], shrink * nodes.current[0] - draw  # before the begin the load is alone
    before, earlier = shrink * nodes.current[0], shrink**2 * nodes.current[0]
    scaled = np.multiply(
        nodes.capacitor[0], per_a, out=nodes.capacitor[0]
    )  # the reservoir in units of a, until the end
    rows = zip(
        ready,
        1.0 / per_volt,
        rules.here * per_a,
        rules.behind * per_a,
        rules.ahead * per_a,
        steps.backward,
        nodes.depth[1:],
        nodes.net[1:],
        nodes.capacitor[1:],
        strict=True,
    )
    for push, ampere, here, behind, ahead, backward, depth, new_net, new_scaled in rows:
        settled = here * net
        settled += scaled
        settled += behind * last_net
        np.subtract(push, settled, depth)
        if rules.with_coil:
            here_a = net + draw
            history = before * backward[2]
            history += backward[1] * here_a
            history += backward[3] * earlier
            history *= coil
            depth -= history
            earlier, before = before, here_a
        np.multiply(wright_omega(depth), ampere, new_net)
        new_net -= shift
        np.multiply(ahead, new_net, new_scaled)
        new_scaled += settled
        net, last_net, scaled = new_net, net, new_scaled
    np.add(nodes.net[1:], draw, out=nodes.current[1:])
    np.multiply(nodes.capacitor, path.scaled_v, out=nodes.capacitor)
    return np.asarray(per_volt[-1], dtype=np.float64)


def _conduct(
    circuit: Circuit, steps: Steps, rules: _Rules, drive: Array, draw: Array, shrink: Array, nodes: _Nodes
) -> Array:
    """The same for a load that follows the rail: linear in it over each step."""
    path = circuit.path
    saturation, per_a = path.saturation_a, 1.0 / path.scaled_v
    current, net, capacitor = nodes.current, nodes.net, nodes.capacitor
    last_net = shrink * current[0] - draw
    before, earlier = shrink * current[0], shrink**2 * current[0]
    per_volt = per_a
    for k in range(len(steps.lengths)):
        settled = capacitor[k] + rules.here[k] * net[k] + rules.behind[k] * last_net
        last_net = net[k]
        rail = capacitor[k] + circuit.esr_ohm * net[k]
        draw, slope = circuit.load.current(rail)
        reach = rules.ahead[k] + circuit.esr_ohm
        slope = np.maximum(slope, _MOST_NEGATIVE / reach)  # a constant power's current runs away only so far in a step
        give = 1.0 / (1.0 + slope * reach)
        base = draw + slope * (settled - rail)
        ohm = rules.ohm_alone + reach * give
        push = drive[k + 1] - settled + reach * give * base
        if rules.with_coil:
            new, one, two, three = steps.backward[k]
            ohm = ohm + new * rules.coil
            push -= rules.coil * (one * current[k] + two * before + three * earlier)
            earlier, before = before, current[k]
        per_volt = ohm * per_a
        argument = (push + ohm * saturation) * per_a + np.log(per_volt) + path.log_saturation
        nodes.depth[k + 1] = argument
        now = wright_omega(argument) / per_volt - saturation
        current[k + 1] = now
        net[k + 1] = (now - base) * give
        capacitor[k + 1] = settled + rules.ahead[k] * net[k + 1]
        nodes.slope[k + 1] = slope
    return np.asarray(per_volt, dtype=np.float64)


def _rail_without_current(circuit: Circuit, capacitor_v: Array) -> Array:
    """The rail when only the reservoir feeds the load: its voltage less what the ESR drops."""
    rail = capacitor_v
    for turn in range(3):
        draw, slope = circuit.load.current(rail)
        if turn and not slope.any():
            break
        give = np.maximum(1.0 + circuit.esr_ohm * slope, 1.0 + _MOST_NEGATIVE)
        rail = rail - (rail + circuit.esr_ohm * draw - capacitor_v) / give
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
    stays = load.never_below(start_v - 2.0 * (draw + leak) * length_s / circuit.farad).all()
    parts = 1 if stays else _PARTS_BELOW
    for k in range(_DISCHARGE_STEPS):
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
    loop = circuit.farad * np.maximum(1.0 + circuit.esr_ohm * conductance, 1.0 + _MOST_NEGATIVE)
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


def _last_fall(depth: Array, level: Array, steps: Steps) -> Array:
    """Share of the stretch at which `depth` last falls through `level`; beyond 1 by the last slope where it has not."""
    count = len(steps.lengths)
    above = depth[1:] > level
    last = count - np.argmax(above[::-1], axis=0)  # last node still above
    last = np.clip(np.where(np.any(above, axis=0), last, 0), 0, count - 1)
    left = np.take_along_axis(depth, last[np.newaxis], axis=0)[0]
    right = np.take_along_axis(depth, last[np.newaxis] + 1, axis=0)[0]
    part = np.maximum(left - level, 0.0) / np.maximum(left - right, 1e-9) * steps.lengths[last]
    return np.asarray(steps.shares[last] + np.minimum(part, 0.3), dtype=np.float64)


def _end_with_coil(current: Array, steps: Steps) -> Array:
    """The same where an inductance ends the current abruptly: the parabola through its last three good nodes, run to zero."""
    count = len(steps.lengths)
    good = current > 0.03 * np.max(current, axis=0)
    last = np.clip(count - np.argmax(good[::-1], axis=0), 2, count)
    third, second, first = (np.take_along_axis(current, last[np.newaxis] - k, axis=0)[0] for k in (2, 1, 0))
    here, before, earlier = steps.shares[last], steps.shares[last - 1], steps.shares[last - 2]
    slope = (first - second) / (here - before)
    bend = (slope - (second - third) / (before - earlier)) / (here - earlier)
    slope = np.minimum(slope + bend * (here - before), -1e-9)  # at the last node
    # 0 = first + slope·x + bend·x², the nearer root, written so that no bend does no harm
    root = np.sqrt(np.maximum(slope * slope - 4.0 * bend * first, 0.25 * slope * slope))
    return np.asarray(here + np.minimum(2.0 * first / (root - slope), 0.3), dtype=np.float64)


def rows_of(whole: Any, rows: Any) -> Any:
    """The same circuit or cycle for some installations only: arrays are cut along their last axis."""
    if isinstance(whole, np.ndarray):
        return whole[..., rows]
    if is_dataclass(whole) and not isinstance(whole, type):
        return replace(whole, **{f.name: rows_of(getattr(whole, f.name), rows) for f in fields(whole)})
    return whole


def joined(cycles: list[Cycle]) -> Cycle:
    """Cycles of several groups of installations beside each other."""
    return Cycle(*(np.concatenate([getattr(c, f.name) for c in cycles], axis=-1) for f in fields(Cycle)))
