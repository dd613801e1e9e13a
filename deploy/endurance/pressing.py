"""What a thumb and an old contact give: the detector's pulses of one press, with bounce and drop-outs, in ticks of 100 us.

Presses are made so that no two of a chime, nor the parts of one that is told in two packs, have the same number of pulses and the
same length: so a press is found again in the log whatever time it got there. Knows no clock and no chime.
"""

from dataclasses import dataclass
from random import Random

TICK_S = 1e-4
APART_TICKS = 12
"""Lengths that differ by less could be taken for each other: drift and rounding move one by at most 4."""

SAME_TICKS = 4

Pulse = tuple[int, int]
"""Rise and fall in ticks after the first rise of the press."""

Mark = tuple[int, int]
"""Number of pulses, and ticks from the first rise to the last fall."""


@dataclass(frozen=True, slots=True)
class Shape:
    """One press. `parts`: its pulses as they are told, in one pack or in two."""

    parts: tuple[tuple[Pulse, ...], ...]

    @property
    def pulses(self) -> tuple[Pulse, ...]:
        return tuple(pulse for part in self.parts for pulse in part)

    @property
    def length_s(self) -> float:
        return self.pulses[-1][1] * TICK_S

    @property
    def marks(self) -> list[Mark]:
        """Of the whole, then of each part where there are two."""
        told = [self.pulses, *self.parts] if len(self.parts) > 1 else [self.pulses]
        return [mark_of(pulses) for pulses in told]


def mark_of(pulses: tuple[Pulse, ...]) -> Mark:
    return len(pulses), pulses[-1][1] - pulses[0][0]


class Thumb:
    """Presses at the doors of one chime. `hertz` is its mains."""

    def __init__(self, rng: Random, hertz: float) -> None:
        self._rng, self._period = rng, 1.0 / hertz / TICK_S
        self._used: set[Mark] = set()

    def press(self) -> Shape:
        while True:
            shape = self._shape()
            slots = [(count, ticks // APART_TICKS) for count, ticks in shape.marks]
            near = [(count, slot + step) for count, slot in slots for step in (-1, 0, 1)]
            if self._used.isdisjoint(near) and len(set(slots)) == len(slots):
                self._used.update(slots)
                return shape

    def _shape(self) -> Shape:
        """Holds of 60 ms to 2.5 s; openings of 0.3 to 3 ms where the contact bounces; one or two cycles missing where it drops out:
        gaps of up to 52 ms, around the 42 ms of a published press (adamfk/bouncy-button-data)."""
        rng = self._rng
        long = rng.random() < 0.15
        cycles = round((rng.uniform(0.8, 2.5) if long else rng.uniform(0.06, 0.6)) / TICK_S / self._period) + 2
        missing: set[int] = set()
        if cycles > 6 and rng.random() < 0.3:
            first = rng.randrange(2, cycles - 3)
            missing = set(range(first, first + rng.choice((1, 2))))
        pulses = [self._pulse(cycle) for cycle in range(cycles) if cycle not in missing]
        for at in (0, -1):  # the first contact is made late in a half-cycle, the last broken early
            rise, fall = pulses[at]
            cut = rng.randrange(0, 50)
            pulses[at] = (rise + cut, fall) if at == 0 else (rise, fall - cut)
        if rng.random() < 0.5:
            rise, fall = pulses[0]
            opened = rise + rng.randrange(5, 12)
            closed = opened + rng.randrange(3, min(31, fall - opened - 5))
            pulses[:1] = [(rise, opened), (closed, fall)]
        start = pulses[0][0]
        whole = tuple((rise - start, fall - start) for rise, fall in pulses)
        if not long:
            return Shape((whole,))
        seam = rng.randrange(2, len(whole) // 2)
        return Shape((whole[:seam], whole[seam:]))

    def _pulse(self, cycle: int) -> Pulse:
        """Somewhat less than a half-cycle: the detector needs a few volts."""
        rise = round(cycle * self._period + self._rng.uniform(-2, 2))
        return rise, rise + self._rng.randrange(72, 80)
