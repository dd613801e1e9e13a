"""The live supply: mains with what happens to them, the circuit, and how far it has been stepped.

Between what is worth stepping it rests, and is taken up again settled. Knows no packs and no presses beyond the contact.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf

import numpy as np

from adapters.simulated import batch, senses
from adapters.simulated.circuit import STEP_S, Bools, Circuit, Floats, State
from adapters.simulated.contacts import Span
from adapters.simulated.installation import Installation
from adapters.simulated.mains import Mains
from adapters.simulated.senses import SAMPLE_STEPS

STEPS_AT_ONCE = 300
"""So that a first pulse never waits for the rail of the moments before it."""

SKIPPED_S = 20.0
"""A rail that lies this far behind (the machine slept) is not caught up step by step."""

EVENTS_QUICKENED = 12.0
"""Who watches a live house waits minutes for a dip, not hours."""


@dataclass
class LiveRail:
    """`stepped_s`: up to where the rail is known [POSIX s]."""

    house: Installation
    stepped_s: float
    seed: int
    mains_on: bool = True
    event: tuple[float, float, float] = (inf, inf, 1.0)  # (start, end, level) of the next or present dip or swell
    circuit: Circuit = field(init=False)

    def __post_init__(self) -> None:
        self.circuit = Circuit(self.house.parts)
        self._mains = Mains(self.house.parts.mains_hz, self.seed, self.house.mains_level)
        self._rng = np.random.default_rng([self.seed, int(self.stepped_s)])
        self._state = State.at(self._rest(self.stepped_s), True)
        self._state.running = self._state.reservoir_v > 0.0

    @property
    def running(self) -> Bools:
        """Whether the chime runs, (1,)."""
        return self._state.running

    def mains_at(self, at_s: float) -> tuple[float, float, float]:
        """(level, cycles, hertz)."""
        now = np.array([at_s])
        start, end, factor = self.event
        level = float(self._mains.level(now)[0]) * (factor if start <= at_s < end else 1.0)
        return level, float(self._mains.cycles(now)[0]), float(self._mains.hertz(now)[0])

    def step(self, now_s: float, closed: Sequence[Span], reflex: senses.Reflex) -> Floats:
        """Move on towards now; the rail at 2 kHz since the last call [V]."""
        if now_s - self.stepped_s > SKIPPED_S:
            self.stepped_s = now_s - 1.0
        steps = min(int((now_s - self.stepped_s) / STEP_S), STEPS_AT_ONCE) // SAMPLE_STEPS * SAMPLE_STEPS
        level, cycles, hertz = self.mains_at(self.stepped_s)
        into = ((np.arange(steps) + 0.5) * STEP_S)[:, None]
        at_s = self.stepped_s + into
        source = self.circuit.source_v(cycles + into * hertz) * level * self.mains_on
        contact = np.zeros((steps, 1), bool)
        for a, b in closed:
            contact |= (at_s >= a) & (at_s < b)
        before = self._state.running.copy()
        stepped = self.circuit.step(self._state, source, contact, reflex.demand_a(at_s))
        self.stepped_s += steps * STEP_S
        reflex.powered(self.stepped_s, before, self._state.running)
        return stepped[SAMPLE_STEPS - 1 :: SAMPLE_STEPS, 0]

    def take_up(self, at_s: float) -> None:
        """Go on from about this moment, after a rest; at once, where it has not rested."""
        begin_s = float(self._mains.crossing_before(np.array([at_s]))[0])
        if begin_s <= self.stepped_s:
            return
        self.stepped_s = begin_s
        if self.running[0] or not self.circuit.stands:
            rest = self._rest(begin_s)
            self._state.reservoir_v, self._state.rail_v = rest, rest

    def unsettled(self, since_s: float) -> bool:
        """Whether the supply is still on its way: the chime lives on its reservoir, or is starting."""
        running = bool(self.running[0])
        if self.mains_on and self.circuit.stands:
            return not running and self.stepped_s < since_s + 5.0
        return running or bool(self._state.risen_s[0] > 0.0)

    def window(self, at_s: float) -> tuple[float, float, float]:
        """(mean, lowest, highest) of the minute that ends now, as the chime converts it [V]."""
        _, mean_v, min_v, max_v = next(
            batch.windows(self.house, self.circuit, self._mains, np.array([at_s]), self._rng)
        )
        return mean_v, min_v, max_v

    def plan_event(self, at_s: float) -> None:
        """The next dip or swell, where the house has such; from `at_s` on or, once one is over, some minutes later."""
        events = self.house.events
        if events is None or at_s < self.event[1] < inf:
            return
        if self.event[1] < inf:
            at_s += float(self._rng.exponential(events.every_s / EVENTS_QUICKENED))
        cycles = int(self._rng.integers(events.shortest_cycles, events.longest_cycles + 1))
        self.event = (at_s, at_s + cycles / self.house.parts.mains_hz, events.level)

    def _rest(self, at_s: float) -> Floats:
        return self.circuit.settled_v(self._mains.level(np.array([at_s])), self.house.idle_a)
