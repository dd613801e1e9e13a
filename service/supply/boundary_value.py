"""The cycle that closes as one system of equations: all its nodes at once, from a cycle that nearly closes.

Newton's method on the multistep rules that `conduction.py` steps through. A fit asks for hundreds of neighbouring cycles, and
this takes a tenth of the calls that stepping takes. Only for loads in regulation; refuses to know how a first cycle is found.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from service.supply.circuit import Circuit
from service.supply.conduction import Cycle, Rules
from service.supply.diodes import wright_omega
from service.supply.discharge import discharge, rail_without_current
from service.supply.ending import end_with_coil, last_fall
from service.supply.stepping import Steps, steps_of

Array = NDArray[np.float64]

_PASSES = 12
_CLOSED_V, _CLOSED_A, _ALMOST = 5e-7, 1e-5, 1e2
_SLOW = 0.1
"""The slopes of an earlier pass serve as long as a pass leaves less than this of what was off."""

_FURTHEST_SHARE = 0.4
_ENDS, _ENDS_NEAR = (0.945, 0.97, 0.994), (0.91, 0.955, 0.992)
"""Of the stretch, where the current should end: from, best, to. In a fit nodes had better stay where they were."""


def solved(circuit: Circuit, near: Cycle, steps: Steps, before: "Equations | None" = None) -> "Equations":
    """From near cycles, row by row; `before`: the equations that they solve, where they are at hand. Not every row need close."""
    inverse = None if before is None else before.inverse
    earliest, best, latest = _ENDS if before is None else _ENDS_NEAR
    unknown, width_rad = _resampled(near, circuit, steps, best)
    begin_rad, off_before = near.begin_rad, np.inf
    for turn in range(_PASSES):
        here = Equations.at(circuit, steps, unknown, begin_rad, width_rad)
        off = here.off
        misfit = off < _ALMOST
        if misfit.any():  # the stretch is cut anew where its end is clear, and lies badly
            misfit &= (here.end_share < earliest) | (here.end_share > latest)
        if turn == _PASSES - 1 or not (misfit | (off > 1.0)).any():
            break
        if inverse is None or off.max() > _SLOW * off_before:
            inverse = here.inverse
        unknown, begin_rad, off_before = here.moved(inverse), here.begin_rad, off.max()
        if misfit.any():
            wider = np.where(misfit, here.end_share / best, 1.0)
            places = steps.shares[:, np.newaxis] * wider
            fades = np.clip(
                (here.end_share - places) / np.maximum(here.end_share - 1.0, 1e-6), 0.0, 1.0
            )  # beyond the last
            draw = here.current - here.net
            net = _interpolated(here.current, places, steps) * fades - _interpolated(draw, places, steps)
            unknown = np.concatenate([unknown[:1], np.where(misfit, net, unknown)[1:]])
            width_rad, inverse = width_rad * wider, None
    return here


def solved_next_to(before: "Equations", index: NDArray[np.intp], circuit: Circuit) -> "Equations":
    """Of circuits a ten-thousandth off, each next to the row that `index` names: one step by the slopes there."""
    unknown, begin_rad, width_rad = before.unknown[:, index], before.begin_rad[index], before.width_rad[index]
    here = Equations.at(circuit, before.steps, unknown, begin_rad, width_rad)
    off = (here.residual - before.residual[:, index]).T[:, :, np.newaxis]  # by this change alone
    unknown = unknown - (before.inverse[index] @ off)[:, :, 0].T
    return Equations.at(circuit, before.steps, unknown, here.begin_rad, width_rad)


def _resampled(near: Cycle, circuit: Circuit, steps: Steps, best: float) -> tuple[Array, Array]:
    """Unknowns (M + 1, N), the rail at begin and then net currents, and the width to begin with."""
    theirs = steps_of(near.net_a.shape[0] - 1)
    width_rad, net = near.conduction_s * circuit.radians_per_s, near.net_a
    if theirs is not steps:
        narrower = np.clip(near.end_share / best, 0.5, 1.5)
        width_rad, net = width_rad * narrower, _interpolated(net, steps.shares[:, np.newaxis] * narrower, theirs)
    return np.concatenate([near.next_rail_v[np.newaxis], net[1:]]), width_rad


def _interpolated(values: Array, shares: Array, steps: Steps) -> Array:
    """Values (M + 1, N) of nodes, between them at shares (P, N)."""
    node = np.clip(np.searchsorted(steps.shares, shares, side="right") - 1, 0, len(steps.lengths) - 1)
    part = np.minimum((shares - steps.shares[node]) / steps.lengths[node], 1.0)
    left, right = np.take_along_axis(values, node, axis=0), np.take_along_axis(values, node + 1, axis=0)
    return np.asarray(left + part * (right - left), dtype=np.float64)


@dataclass(frozen=True)
class Equations:
    """A cycle's nodes (M + 1, N) from trial unknowns, and by how much each misses its rule.

    `unknown` (M + 1, N): the rail at begin [V], then the net currents into the reservoir at the other nodes [A]; `residual` of
    the same shape and units.
    """

    circuit: Circuit
    steps: Steps
    rules: Rules
    unknown: Array
    begin_rad: Array
    width_rad: Array
    net: Array
    capacitor: Array
    rail: Array
    current: Array
    load_slope: Array
    own_ohm: Array  # (M, N) what of the source's, the reservoir's and the coil's share a node's own current meets
    opening: Array  # (M, N) by how much the diodes open with the voltage over them [S]
    depth: Array
    discharge_v: Array
    discharge_slope: Array
    faded: Array
    next_rail_v: Array
    residual: Array

    @staticmethod
    def at(circuit: Circuit, steps: Steps, unknown: Array, begin_rad: Array, width_rad: Array) -> "Equations":
        path, load, esr_ohm = circuit.path, circuit.load, circuit.esr_ohm
        law = load.in_regulation()
        rail_v, begin_a = unknown[0], circuit.begin_a
        draw, _ = law(np.maximum(rail_v, 0.5 * load.full_v))
        growth = circuit.growth_per_s(begin_rad, draw)
        begin_rad = circuit.mains.rises_through(rail_v + circuit.threshold_v(growth), begin_rad)
        stretch_s = width_rad / circuit.radians_per_s
        shrink = np.exp(-growth * stretch_s * steps.lengths[0])
        rules = Rules.of(circuit, steps, stretch_s, stretch_s / circuit.farad, load.siemens)

        net = np.concatenate([[shrink * begin_a - draw, begin_a - draw], unknown[1:]])  # one more before the begin
        moved = rules.ahead * net[2:] + rules.here * net[1:-1] + rules.behind * net[:-2]
        net = net[1:]
        capacitor = np.concatenate([[np.zeros_like(rail_v)], np.cumsum(moved, axis=0)]) + (rail_v - esr_ohm * net[0])
        rail = capacitor + esr_ohm * net
        draw, load_slope = law(np.maximum(rail, 0.5 * load.full_v))
        load_slope = np.broadcast_to(load_slope, rail.shape)
        current = net + draw
        own_ohm = rules.ahead + esr_ohm
        over = circuit.mains.voltage(begin_rad + steps.shares[1:, np.newaxis] * width_rad) - circuit.shift_v - rail[1:]
        if rules.with_coil:
            own_ohm = own_ohm + steps.backward[:, :1] * rules.coil
            longer = np.concatenate([[shrink**2 * begin_a, shrink * begin_a], current])
            over = over - rules.coil * _banded(steps.backward, longer)
        over = over + own_ohm * current[1:]
        ohm = rules.ohm_alone + own_ohm
        per_volt = ohm / path.scaled_v
        depth = (over + ohm * path.saturation_a) / path.scaled_v + np.log(per_volt) + path.log_saturation
        omega = wright_omega(depth)
        start_v = rail_without_current(circuit, capacitor[-1])
        length_s = 2.0 * np.pi / circuit.radians_per_s - stretch_s
        discharge_v, discharge_slope, faded = discharge(circuit, start_v, length_s)
        next_rail_v = discharge_v[-1] + begin_a * (esr_ohm + 1.0 / (circuit.farad * np.maximum(growth, 1.0)))
        residual = np.concatenate([[rail_v - next_rail_v], current[1:] - (omega / per_volt - path.saturation_a)])
        return Equations(
            circuit, steps, rules, unknown, begin_rad, width_rad, net, capacitor, rail, current, load_slope,
            own_ohm, omega / ((1.0 + omega) * ohm), depth, discharge_v, discharge_slope, faded, next_rail_v, residual,
        )  # fmt: skip

    @cached_property
    def off(self) -> Array:
        """(N,) how far the worst equation is off, in what is allowed."""
        allowed = np.max(np.abs(self.residual[1:]), axis=0) / _CLOSED_A
        return np.asarray(np.maximum(np.abs(self.residual[0]) / _CLOSED_V, allowed), dtype=np.float64)

    @cached_property
    def end_share(self) -> Array:
        """As in `Cycle`."""
        if self.rules.with_coil:
            return end_with_coil(self.current, self.steps)
        begin_scaled = self.current[0] * (self.rules.ohm_alone + self.own_ohm[-1]) / self.circuit.path.scaled_v
        level = begin_scaled + np.log(begin_scaled)
        return last_fall(np.concatenate([level[np.newaxis], self.depth]), level, self.steps)

    @cached_property
    def closes(self) -> NDArray[np.bool_]:
        """Where all equations hold, and no node's rail leaves the law of the load in regulation."""
        lowest = np.minimum(np.min(self.rail, axis=0), np.min(self.discharge_v, axis=0))
        return np.asarray((self.off < 1.0) & self.circuit.load.never_below(lowest), dtype=np.bool_)

    def moved(self, inverse: Array) -> Array:
        """The unknowns one step on, no further than the linear view is good for."""
        step = (inverse @ self.residual.T[:, :, np.newaxis])[:, :, 0].T
        size = np.abs(step)
        rail = size[0] / (_FURTHEST_SHARE * self.circuit.mains.amplitude_v)
        net = np.max(size[1:], axis=0) / np.max(np.abs(self.current), axis=0)
        return np.asarray(self.unknown - step / np.maximum(np.maximum(rail, net), 1.0), dtype=np.float64)

    @cached_property
    def inverse(self) -> Array:
        """Of the slopes: the unknowns by the residuals (N, M + 1, M + 1)."""
        return np.asarray(np.linalg.inv(self.slopes()), dtype=np.float64)

    def slopes(self) -> Array:
        """Of the residuals by the unknowns (N, M + 1, M + 1)."""
        circuit, steps, rules, esr_ohm = self.circuit, self.steps, self.rules, self.circuit.esr_ohm
        count, rows = len(steps.lengths), self.rail.shape[1]
        node = np.arange(count)
        moves = np.zeros((rows, count, count + 1))
        moves[:, node, node + 1] = rules.ahead.T
        moves[:, node, node] = rules.here.T
        moves[:, node[1:], node[1:] - 1] = rules.behind[1:].T
        rail = np.cumsum(moves, axis=1)
        begin_slope = self.load_slope[0]
        # the first net current and the one before it are what the load leaves of a current that stays the same
        rail[:, :, 0] = (1.0 + esr_ohm * begin_slope)[:, np.newaxis] - begin_slope[:, np.newaxis] * (
            rail[:, :, 0] + rules.behind[0][:, np.newaxis]
        )
        capacitor_end = rail[:, -1].copy()
        rail[:, node, node + 1] += esr_ohm[:, np.newaxis]
        current = self.load_slope[1:].T[:, :, np.newaxis] * rail
        current[:, node, node + 1] += 1.0
        over = self.own_ohm.T[:, :, np.newaxis] * current
        over -= rail
        if rules.with_coil:
            longer = np.concatenate([np.zeros((rows, 3, count + 1)), current], axis=1)
            for k in range(4):
                weight = rules.coil[:, np.newaxis] * steps.backward[:, k]
                over -= weight[:, :, np.newaxis] * longer[:, 3 - k : 3 - k + count]
        rises = np.maximum(circuit.mains.slope(self.begin_rad), 0.05 * circuit.mains.amplitude_v)
        over[:, :, 0] += (circuit.mains.slope(self.begin_rad + steps.shares[1:, np.newaxis] * self.width_rad) / rises).T
        result = np.empty((rows, count + 1, count + 1))
        result[:, 1:] = current - self.opening.T[:, :, np.newaxis] * over
        left = np.exp(-np.clip(self.faded, -0.5, 50.0)) / (1.0 + esr_ohm * self.load_slope[-1])
        result[:, 0] = -left[:, np.newaxis] * capacitor_end
        result[:, 0, 0] += 1.0
        return result

    @cached_property
    def cycle(self) -> Cycle:
        circuit, steps = self.circuit, self.steps
        stretch_s = self.width_rad / circuit.radians_per_s
        live = 1.0 / (
            self.rules.ohm_alone
            + circuit.esr_ohm
            + circuit.path.scaled_v / (np.maximum(self.current[1:], 0.0) + circuit.path.saturation_a)
        )
        forget = stretch_s / circuit.farad * (steps.lengths @ (live + self.load_slope[1:]))
        return Cycle(
            self.begin_rad,
            stretch_s,
            2.0 * np.pi / circuit.radians_per_s - stretch_s,
            self.current,
            self.net,
            self.capacitor,
            self.discharge_v,
            self.discharge_slope,
            self.end_share,
            np.exp(-np.clip(forget + self.faded, -0.5, 50.0)),
            self.next_rail_v,
        )


def _banded(weights: Array, values: Array) -> Array:
    """Weights (M, 4) of the new, the last and two earlier values: values (M + 3, N) begin two before the first."""
    count = len(weights)
    found = weights[:, :1] * values[3:]
    for k in range(1, 4):
        found = found + weights[:, k : k + 1] * values[3 - k : 3 - k + count]
    return np.asarray(found, dtype=np.float64)
