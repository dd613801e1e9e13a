"""The chime's lives in the past: from power-up to loss of power, everything it was told by circuit and contacts, and its packs.

Where the button's diode lets the supply stand, one life lasts from power cut to power cut; where it does not, each press
may be a short life. Knows no network.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain
from math import inf
from typing import NamedTuple

import numpy as np

from adapters.simulated import batch, senses
from adapters.simulated.air import Note
from adapters.simulated.batch import Happening, Outcome
from adapters.simulated.chime import Firmware, Life, Sent
from adapters.simulated.circuit import BOOT_S, Circuit
from adapters.simulated.contacts import Span, pulses, threshold_v
from adapters.simulated.installation import Installation
from adapters.simulated.mains import Mains
from adapters.simulated.untold import Held

CHARGED_S = 0.1
"""From the return of the mains to a sufficient rail."""

WINDOWS_AT_ONCE = 1440
REVIEW_S = 0.55
"""After a press and its sound the firmware looks back."""

DRIFT = 23e-6


@dataclass(frozen=True)
class Epoch:
    """The house while nothing about it changes."""

    house: Installation
    circuit: Circuit
    mains: Mains
    from_s: float

    @classmethod
    def of(cls, house: Installation, seed: int, from_s: float = -inf) -> "Epoch":
        return cls(house, Circuit(house.parts), Mains(house.parts.mains_hz, seed, house.mains_level), from_s)

    @cached_property
    def pulses_steadily(self) -> bool:
        """Whether the front detector sees pulses while the supply stands and nobody presses."""
        crest = float(-self.circuit.source_v(np.array([0.75]))[0])
        return self.circuit.stands and threshold_v(self.house.parts, closed=False) < crest * self.house.mains_level

    def held(self, start_s: float, end_s: float) -> Held | None:
        """The pulses of a stretch in which they come without end, told by those of its last cycles."""
        now = np.array([end_s])
        hertz, level = float(self.mains.hertz(now)[0]), float(self.mains.level(now)[0])
        seen = pulses(self.circuit, 0.0, 2.5 / hertz, 0.0, hertz, level, [])
        if len(seen) < 2:
            return None
        (rise, fall), (after, _) = seen[:2]
        return Held(start_s, end_s, round((end_s - start_s) * hertz), after - fall, fall - rise)


class Timeline(NamedTuple):
    """What was to happen between first power-up and end, invented in advance. POSIX seconds."""

    start_s: float
    end_s: float
    cuts: list[Span]
    outages: list[Span]
    fault_s: float


def epoch_at(epochs: Sequence[Epoch], at_s: float) -> Epoch:
    """`epochs` in order of time, the first of them from always."""
    return epochs[bisect_right(epochs, at_s, key=lambda one: one.from_s) - 1]


class Past:
    """`notes` once; afterwards `boot` is the number of the last power-up."""

    def __init__(self, time: Timeline, epochs: Sequence[Epoch], happenings: Sequence[Happening], seed: int) -> None:
        self.boot = 0
        self._time, self._epochs, self._seed = time, epochs, seed
        self._rng = np.random.default_rng([seed, 11])
        self._firmware: Firmware | None = None
        self._held_s = inf  # pulses without end have been told up to here
        self._happenings = happenings

    def notes(self) -> Iterator[Note]:
        """Power-ups, packs and losses of power, in order of time."""
        time = self._time
        outcomes = self._outcomes()
        stands_until = min([one.from_s for one in self._epochs if not one.circuit.stands], default=time.end_s)
        on_s = time.start_s
        for cut_s, back_s in [*time.cuts, (time.end_s, inf)]:
            off_s = min(cut_s, stands_until)
            if on_s < off_s:
                here = [pair for pair in outcomes if on_s <= pair[1].start_s < off_s]
                yield from self._standing(on_s + CHARGED_S + BOOT_S, off_s, here)
                if off_s < time.end_s:
                    yield self._off(off_s + 1.5)
            on_s = back_s
        for happening, outcome in outcomes:
            if outcome.start_s >= stands_until:
                yield from self._tell(happening, outcome)

    def life_after(self, boot: int, seq: int, up_s: float) -> Life | None:
        """How the power-up goes on whose pack was the last that arrived; None: it does not."""
        firmware = self._firmware
        return None if firmware is None or firmware.boot != boot else firmware.life_after(seq, up_s)

    def _at(self, at_s: float) -> Epoch:
        return epoch_at(self._epochs, at_s)

    def _outcomes(self) -> list[tuple[Happening, Outcome]]:
        result: list[tuple[Happening, Outcome]] = []
        for epoch in self._epochs:
            chosen = [h for h in self._happenings if self._at(h.start_s) is epoch]
            for happening in chosen:
                happening.pulsing = epoch.pulses_steadily and happening.start_s > epoch.from_s
            stepped = batch.step_all(epoch.house, epoch.circuit, epoch.mains, chosen)
            result += zip(chosen, stepped, strict=True)
        return result

    def _standing(self, on_s: float, off_s: float, outcomes: list[tuple[Happening, Outcome]]) -> Iterator[Note]:
        """One life on a standing supply: windows of the rail, and the happenings between."""
        yield from self._on(on_s, "power-on")
        ahead, busy_s = chain(outcomes, [None]), -inf
        following = next(ahead)
        self._held_s = on_s
        for at_s, mean_v, min_v, max_v in self._windows(on_s, off_s):
            while following is not None and following[1].start_s < at_s:
                yield from self._tell(*following)
                busy_s, following = following[1].end_s, next(ahead)
            if self._firmware is None or busy_s + 0.1 >= off_s:
                continue
            moment_s = max(at_s, busy_s + 0.05)
            yield from self._hold(moment_s)
            yield self._note(self._firmware.window(moment_s, mean_v, min_v, max_v))
        while following is not None:
            yield from self._tell(*following)
            following = next(ahead)

    def _windows(self, on_s: float, off_s: float) -> Iterator[tuple[float, float, float, float]]:
        every_s = self._at(on_s).house.window_s
        ticks = np.arange(on_s + every_s, off_s, every_s)
        ends_s = [*(one.from_s for one in self._epochs[1:]), inf]
        for first in range(0, len(ticks), WINDOWS_AT_ONCE):
            some = ticks[first : first + WINDOWS_AT_ONCE]
            for epoch, end_s in zip(self._epochs, ends_s, strict=True):
                chosen = some[(some >= epoch.from_s) & (some < end_s)]
                yield from batch.windows(epoch.house, epoch.circuit, epoch.mains, chosen, self._rng)

    def _hold(self, at_s: float) -> Iterator[Note]:
        epoch = self._at(at_s)
        since_s = max(self._held_s, epoch.from_s)
        self._held_s = at_s
        if self._firmware is not None and epoch.pulses_steadily and at_s - since_s > 1.0:
            held = epoch.held(since_s, at_s - 0.01)
            if held is not None:
                yield self._note(self._firmware.hold("front", held, at_s))

    def _tell(self, happening: Happening, outcome: Outcome) -> Iterator[Note]:
        """What the chime makes of one stretch, over as many lives as it has in it."""
        epoch = self._at(outcome.start_s)
        steady = epoch.pulses_steadily and self._held_s > epoch.from_s
        for start_s, end_s in outcome.running:
            if self._firmware is None:
                yield from self._on(start_s, "brown-out" if start_s > outcome.running[0][0] else "power-on")
            firmware = self._firmware
            assert firmware is not None
            firmware.house = epoch.house
            skipped = max(int((start_s - outcome.start_s) * senses.SAMPLE_HZ), 0)
            firmware.begin(outcome.start_s + skipped / senses.SAMPLE_HZ)
            firmware.sample(outcome.rail_v[skipped:])
            heard = [
                pulse
                for pulse in outcome.heard
                if start_s <= pulse[0] < end_s - 0.002 and not (steady and pulse[2] == "front")
            ]
            sounded = [span for span in outcome.sounded if start_s <= span[0] < end_s]
            for sent in _thoughts(firmware, happening, outcome, heard, sounded, end_s):
                yield self._note(sent, happening.commissioning)
            if end_s < outcome.end_s - 0.1 or not epoch.circuit.stands:
                yield self._off(end_s)
        if happening.end_s - happening.start_s > 11.0:
            self._held_s = happening.end_s  # the pulses that never end have begun

    def _on(self, at_s: float, cause: str) -> Iterator[Note]:
        self.boot += 1
        house = self._at(at_s).house
        self._firmware = Firmware(house, self.boot, cause, at_s, drift=DRIFT, seed=self._seed)
        yield Note(at_s, "on")
        yield self._note(self._firmware.hello(at_s + 0.01))

    def _off(self, at_s: float) -> Note:
        self._firmware = None
        return Note(at_s, "off")

    def _note(self, sent: Sent, commissioning: bool = False) -> Note:
        return Note(sent.at_s, "pack", sent.payload, commissioning)


def _thoughts(
    firmware: Firmware,
    happening: Happening,
    outcome: Outcome,
    heard: Sequence[tuple[float, float, str]],
    sounded: Sequence[Span],
    end_s: float,
) -> Iterator[Sent]:
    """The packs of one life within a stretch, in order."""
    events: list[tuple[float, str, tuple[float, str]]] = [(fall, "pulse", (rise, door)) for fall, rise, door in heard]
    for on_s, off_s in sounded:
        events += [(on_s, "sound", (0.0, "")), (off_s, "silence", (on_s, ""))]
    for at_s, what, (other_s, door) in sorted(events):
        if at_s >= end_s:
            break
        yield from firmware.tick(at_s)
        if what == "pulse":
            yield from firmware.hear(door, other_s, at_s)
        else:
            yield firmware.sound(at_s, other_s if what == "silence" else None)
    yield from firmware.tick(end_s)
    at_s = end_s - 0.004
    if happening.plan_s is not None:
        yield from firmware.bursts(at_s, happening.plan_s)
        return
    if heard:
        at_s = max([heard[-1][0], *(off_s for _, off_s in sounded)]) + REVIEW_S
    if at_s < end_s:
        yield from firmware.review(
            at_s, outcome.hertz, sounded, [fall for fall, _, _ in heard][:1] + [f for f, _, _ in heard][-1:]
        )
