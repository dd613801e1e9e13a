"""What is told of a closed cycle: extremes, means and currents, and the rail at any phase.

Refuses to know how the cycle was found.
"""

from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.supply.circuit import Circuit, rows_of
from service.supply.conduction import Cycle, joined
from service.supply.waveform import (
    angle_above,
    extremes,
    mean_current,
    mean_rail,
    peak_current,
    peak_of,
    rail_between,
    rms_current,
)

Array = NDArray[np.float64]

PHASES = 128
_BEHIND_RAD = np.linspace(np.pi, 2.0 * np.pi, 41)  # where the diodes block most
_INNER = ("_cycle", "_circuit", "_read")


@dataclass(frozen=True, slots=True)
class SteadyState:
    """The closed cycle of N installations; arrays (N,) unless said.

    Attributes
    ----------
    rail_max_v, rail_min_v, rail_mean_v, ripple_v : of the rail over a cycle [V]; ripple peak to peak.
    conduction_rad : angle over which the secondary's current is above a hundredth of its peak [rad].
    peak_a, rms_a : secondary current [A].
    reverse_v : highest reverse voltage over the diodes in series: both together, or the board's alone when pressed [V].
    load_mean_a : mean current drawn from the rail, test load included [A].
    carried : the regulator stays in regulation throughout: the rail never falls below `dropout_v`, and a cycle closes.
    phase_rad : (PHASES,) phases after the rising zero crossing of the fundamental [rad].
    rail_v : (N, PHASES) the rail at those phases [V]. Its corner is sharper than they are: for others ask `rail_at`.
    closed : the cycle closes to better than 1 mV. Where it does not (a supply that hiccups) the rest is a bounded sketch.
    """

    rail_max_v: Array
    rail_min_v: Array
    rail_mean_v: Array
    ripple_v: Array
    conduction_rad: Array
    peak_a: Array
    rms_a: Array
    reverse_v: Array
    load_mean_a: Array
    carried: NDArray[np.bool_]
    phase_rad: Array
    closed: NDArray[np.bool_]
    _cycle: Cycle
    _circuit: Circuit
    _read: dict[str, Array] = field(default_factory=dict)

    @property
    def rail_v(self) -> Array:
        """(N, PHASES) the rail at `phase_rad` [V]: read out when it is first asked for."""
        if "rail_v" not in self._read:
            self._read["rail_v"] = self.rail_at(self.phase_rad)
        return self._read["rail_v"]

    def rows(self, index: NDArray[np.intp]) -> "SteadyState":
        """These rows, as often and in the order they are named."""
        own: dict[str, Any] = {
            f.name: getattr(self, f.name)[index] for f in fields(self) if f.name not in ("phase_rad", *_INNER)
        }
        return SteadyState(
            **own, phase_rad=self.phase_rad, _cycle=rows_of(self._cycle, index), _circuit=rows_of(self._circuit, index)
        )

    def rail_at(self, phase_rad: ArrayLike) -> Array:
        """The rail at any phases [V]: (P,) the same for all, or (N, P) for each; any real number of turns. Gives (N, P)."""
        phases = np.asarray(phase_rad, dtype=np.float64)
        rail_v = rail_between(self._circuit, self._cycle, np.broadcast_to(phases, (len(self.closed), phases.shape[-1])))
        return _within(rail_v, self.rail_min_v, self.rail_max_v)


def measure(circuit: Circuit, cycle: Cycle, closed: NDArray[np.bool_]) -> SteadyState:
    highest, lowest = extremes(circuit, cycle)
    lowest, highest = np.maximum(lowest, 0.0), np.maximum(highest, 0.0)
    behind_rad = np.broadcast_to(_BEHIND_RAD, (len(closed), len(_BEHIND_RAD)))
    behind_v = _within(rail_between(circuit, cycle, behind_rad), lowest, highest)
    behind_v -= circuit.mains.voltage(behind_rad.T).T
    return SteadyState(
        highest,
        lowest,
        np.clip(mean_rail(circuit, cycle), lowest, highest),
        highest - lowest,
        angle_above(circuit, cycle, 0.01),
        peak_current(cycle),
        rms_current(cycle),
        peak_of(behind_v),
        mean_current(circuit, cycle),
        closed & (lowest >= circuit.load.dropout_v),
        np.asarray(np.arange(PHASES) * (2.0 * np.pi / PHASES), dtype=np.float64),
        closed,
        cycle,
        circuit,
    )


def _within(rail_v: Array, lowest_v: Array, highest_v: Array) -> Array:
    """Rails (N, P) kept between their extremes: touches only the sketch of a supply that does not stand."""
    return np.clip(rail_v, lowest_v[:, np.newaxis] - 1e-3, highest_v[:, np.newaxis] + 1e-3)


def beside(parts: list[SteadyState], circuit: Circuit, order: NDArray[np.intp]) -> SteadyState:
    """Blocks beside each other again, in this order."""
    own: dict[str, Any] = {
        f.name: np.concatenate([getattr(part, f.name) for part in parts])[order]
        for f in fields(SteadyState)
        if f.name not in ("phase_rad", "_cycle", "_circuit", "_read")
    }
    cycle = rows_of(joined([part._cycle for part in parts]), order)
    return SteadyState(**own, phase_rad=parts[0].phase_rad, _cycle=cycle, _circuit=circuit)
