"""One mains cycle of a half-wave rectifier, stepped from the moment the diodes begin to conduct.

Conduction: implicit multistep rules of third order (backward differences for the leakage inductance, Adams and Moulton's for
the reservoir), each step solved by a formula for diode and resistor in series; so no inductance is as good as some.
Refuses to know whether the cycle closes: `rectifier.py` sees to that.
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from service.supply.circuit import Circuit
from service.supply.diodes import wright_omega
from service.supply.discharge import MOST_NEGATIVE, discharge, rail_without_current
from service.supply.ending import end_with_coil, last_fall
from service.supply.load import Law
from service.supply.stepping import Steps

Array = NDArray[np.float64]


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
    begin_a = circuit.begin_a
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
    rules, ohm_per_volt = _stretch(circuit, steps, stretch_s, drive, rail_v, draw, shrink, nodes)
    begin_scaled = begin_a * ohm_per_volt
    level = begin_scaled + np.log(begin_scaled)
    nodes.depth[0] = level
    live = 1.0 / (rules.ohm_alone + circuit.esr_ohm + path.scaled_v / (nodes.current[1:] + path.saturation_a))
    forget = per_farad * np.sum(steps.lengths[:, np.newaxis] * (live + nodes.slope[1:]), axis=0)
    discharge_s = 2.0 * np.pi / circuit.radians_per_s - stretch_s
    start_v = rail_without_current(circuit, nodes.capacitor[-1])
    discharge_v, discharge_slope, forgotten = discharge(circuit, start_v, discharge_s)
    return Cycle(
        begin_rad,
        stretch_s,
        discharge_s,
        nodes.current,
        nodes.net,
        nodes.capacitor,
        discharge_v,
        discharge_slope,
        end_with_coil(nodes.current, steps) if rules.with_coil else last_fall(nodes.depth, level, steps),
        np.exp(-np.clip(forget + forgotten, -0.5, 50.0)),
        discharge_v[-1] + begin_a * (circuit.esr_ohm + 1.0 / (circuit.farad * np.maximum(growth, 1.0))),
    )


def _stretch(
    circuit: Circuit,
    steps: Steps,
    stretch_s: Array,
    drive: Array,
    rail_v: Array,
    draw: Array,
    shrink: Array,
    nodes: "_Nodes",
) -> "tuple[Rules, Array]":
    """Fills the nodes the quickest way that the load allows. Gives the rules used and the scale of the last step [1/A]."""
    load = circuit.load
    per_farad = stretch_s / circuit.farad
    if load.never_below(rail_v).all():
        rules = Rules.of(circuit, steps, stretch_s, per_farad, load.siemens)
        if load.is_constant_above(rail_v):
            nodes.slope[:] = 0.0
            scale = _conduct_constant(circuit, steps, rules, drive, draw, shrink, nodes)
        else:
            scale = _conduct(circuit, steps, rules, drive, draw, shrink, nodes, load.in_regulation())
        if load.never_below(np.min(nodes.capacitor + circuit.esr_ohm * nodes.net, axis=0)).all():
            return rules, scale
    steepest = np.where(load.never_below(rail_v), load.siemens, load.steepest)
    rules = Rules.of(circuit, steps, stretch_s, per_farad, steepest)
    return rules, _conduct(circuit, steps, rules, drive, draw, shrink, nodes, load.law())


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
class Rules:
    """The multistep rules in volts per ampere of this circuit."""

    ohm_alone: Array  # (N,) source and diodes
    ahead: Array  # (M, N) by which the net current at the new, the last, the one before moves the reservoir
    here: Array
    behind: Array
    coil: Array  # (N,) henries over the stretch
    with_coil: bool

    @staticmethod
    def of(circuit: Circuit, steps: Steps, stretch_s: Array, per_farad: Array, steepest: Array) -> "Rules":
        ohm_alone = circuit.ohm + circuit.path.series_ohm
        # Adams and Moulton's two-step rule, weakened to the trapezium where steps are long for R·C (it is stable to 6)
        ratio = per_farad * np.max(steps.lengths) * (1.0 / (ohm_alone + circuit.esr_ohm + 1e-3) + steepest)
        weight = per_farad / (1.0 + (0.25 * ratio) ** 4)
        half = 0.5 * steps.lengths[:, np.newaxis] * (per_farad - weight)
        ahead, here, behind = (steps.adams[:, k : k + 1] * weight for k in range(3))
        return Rules(
            ohm_alone, ahead + half, here + half, behind, circuit.henry / stretch_s, bool(np.any(circuit.henry != 0.0))
        )


def _conduct_constant(
    circuit: Circuit, steps: Steps, rules: Rules, drive: Array, draw: Array, shrink: Array, nodes: _Nodes
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
    circuit: Circuit, steps: Steps, rules: Rules, drive: Array, draw: Array, shrink: Array, nodes: _Nodes, law: Law
) -> Array:
    """The same for a load that follows the rail: linear in it over each step."""
    path, esr_ohm = circuit.path, circuit.esr_ohm
    per_a = 1.0 / path.scaled_v
    net, capacitor = nodes.net[0], nodes.capacitor[0]
    last_net, last_a = shrink * nodes.current[0] - draw, nodes.current[0]
    before, earlier = shrink * nodes.current[0], shrink**2 * nodes.current[0]
    reaches = rules.ahead + esr_ohm
    most_negative = MOST_NEGATIVE / reaches  # a constant power's current runs away only so far in a step
    fixed_ohm = rules.ohm_alone + steps.backward[:, :1] * rules.coil
    ready = drive * per_a + path.log_saturation
    per_volt = per_a
    settled, base, give, room = (np.empty_like(net) for _ in range(4))  # in place: here time is spent on many rows
    for k in range(len(steps.lengths)):
        np.multiply(rules.here[k], net, settled)
        settled += capacitor
        settled += np.multiply(rules.behind[k], last_net, room)
        np.multiply(esr_ohm, net, base)
        base += capacitor  # the rail
        draw, slope = law(base)
        slope = np.maximum(slope, most_negative[k], out=nodes.slope[k + 1])
        np.multiply(slope, reaches[k], give)
        give += 1.0
        np.divide(1.0, give, give)
        np.subtract(settled, base, base)
        base *= slope
        base += draw  # what would be drawn without the net current of this step
        per_volt = reaches[k] * give
        argument = np.multiply(per_volt, base, out=nodes.depth[k + 1])
        argument -= settled
        if rules.with_coil:
            _, one, two, three = steps.backward[k]
            argument -= rules.coil * (one * last_a + two * before + three * earlier)
            earlier, before = before, last_a
        argument *= per_a
        argument += ready[k + 1]
        per_volt += fixed_ohm[k]
        per_volt *= per_a
        argument += np.multiply(per_volt, path.saturation_a, room)
        argument += np.log(per_volt, room)
        last_net, last_a = net, np.divide(wright_omega(argument), per_volt, out=nodes.current[k + 1])
        last_a -= path.saturation_a
        net = np.subtract(last_a, base, out=nodes.net[k + 1])
        net *= give
        capacitor = np.multiply(rules.ahead[k], net, out=nodes.capacitor[k + 1])
        capacitor += settled
    return np.asarray(per_volt, dtype=np.float64)


def joined(cycles: list[Cycle]) -> Cycle:
    """Cycles of several groups of installations beside each other."""
    return Cycle(*(np.concatenate([getattr(c, f.name) for c in cycles], axis=-1) for f in fields(Cycle)))
