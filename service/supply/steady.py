"""What is told of a closed cycle: extremes, means and currents, and the rail at any phase.

Refuses to know how the cycle was found.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.supply.circuit import Circuit, rows_of
from service.supply.closing import Closed
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
_PHASE_RAD = np.asarray(np.arange(PHASES) * (2.0 * np.pi / PHASES), dtype=np.float64)
_BEHIND_RAD = np.linspace(np.pi, 2.0 * np.pi, 41)  # where the diodes block most


@dataclass(frozen=True)
class SteadyState:
    """The closed cycle of N installations; arrays (N,) unless said, each read out when it is first asked for.

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

    circuit: Circuit
    found: Closed

    @property
    def cycle(self) -> Cycle:
        return self.found.cycle

    @property
    def closed(self) -> NDArray[np.bool_]:
        return self.found.closes

    @property
    def phase_rad(self) -> Array:
        return _PHASE_RAD

    @cached_property
    def _extremes(self) -> tuple[Array, Array]:
        highest, lowest = extremes(self.circuit, self.cycle)
        return np.maximum(highest, 0.0), np.maximum(lowest, 0.0)

    @property
    def rail_max_v(self) -> Array:
        return self._extremes[0]

    @property
    def rail_min_v(self) -> Array:
        return self._extremes[1]

    @cached_property
    def rail_mean_v(self) -> Array:
        return np.clip(mean_rail(self.circuit, self.cycle), self.rail_min_v, self.rail_max_v)

    @property
    def ripple_v(self) -> Array:
        return np.asarray(self.rail_max_v - self.rail_min_v, dtype=np.float64)

    @cached_property
    def conduction_rad(self) -> Array:
        return angle_above(self.circuit, self.cycle, 0.01)

    @cached_property
    def peak_a(self) -> Array:
        return peak_current(self.cycle)

    @cached_property
    def rms_a(self) -> Array:
        return rms_current(self.cycle)

    @cached_property
    def reverse_v(self) -> Array:
        behind_v = self.rail_at(_BEHIND_RAD)
        behind_v -= self.circuit.mains.voltage(np.broadcast_to(_BEHIND_RAD, behind_v.shape).T).T
        return peak_of(behind_v)

    @cached_property
    def load_mean_a(self) -> Array:
        return mean_current(self.circuit, self.cycle)

    @cached_property
    def carried(self) -> NDArray[np.bool_]:
        return np.asarray(self.closed & (self.rail_min_v >= self.circuit.load.dropout_v), dtype=np.bool_)

    @cached_property
    def rail_v(self) -> Array:
        return self.rail_at(_PHASE_RAD)

    def rows(self, index: NDArray[np.intp]) -> "SteadyState":
        """These rows, as often and in the order they are named."""
        return SteadyState(rows_of(self.circuit, index), self.found.rows(index))

    def rail_at(self, phase_rad: ArrayLike) -> Array:
        """The rail at any phases [V]: (P,) the same for all, or (N, P) for each; any real number of turns. Gives (N, P)."""
        phases = np.asarray(phase_rad, dtype=np.float64)
        rail_v = rail_between(self.circuit, self.cycle, np.broadcast_to(phases, (len(self.closed), phases.shape[-1])))
        if self.closed.all():
            return rail_v
        # kept between its extremes: the sketch of a supply that does not stand
        lowest_v, highest_v = self.rail_min_v - 1e-3, self.rail_max_v + 1e-3
        return np.clip(rail_v, lowest_v[:, np.newaxis], highest_v[:, np.newaxis])


def beside(parts: list[Closed], order: NDArray[np.intp]) -> Closed:
    """Blocks beside each other again, in this order."""
    cycle = joined([part.cycle for part in parts])
    return Closed(cycle, np.concatenate([part.closes for part in parts])).rows(order)
