"""Pulses at one door that the chime has not told yet: when they must be told, and as what.

The first pulse of a press is told at once, the others in chunks; a contact that stays closed is told in numbers.
Knows no clock, pack numbers or network.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import inf
from statistics import median
from typing import NamedTuple

from adapters.simulated import packing
from adapters.simulated.packing import Record
from adapters.simulated.senses import JOIN_S

CHUNK_S = 0.5
"""While a button is held, its pulses are told this often."""

LONG_HOLD_S = 10.0
SUMMARY_S = 60.0
"""Held for longer than `LONG_HOLD_S`, they are told as a summary this often."""


class Held(NamedTuple):
    """Many pulses in numbers: first rise, last fall, how many, the largest gap between two, the median width."""

    first_s: float
    last_s: float
    number: int
    longest_gap_s: float
    width_s: float

    @classmethod
    def of(cls, pulses: Sequence[tuple[float, float]]) -> "Held":
        gaps = [b[0] - a[1] for a, b in pairwise(pulses)]
        widths = median(fall - rise for rise, fall in pulses)
        return cls(pulses[0][0], pulses[-1][1], len(pulses), max(gaps, default=0.0), widths)

    def records(self, door: str, ago_s: float | None) -> list[Record]:
        return [
            packing.value(f"{door}.span", "s", round(self.last_s - self.first_s, 4), ago_s),
            packing.value(f"{door}.pulses", "count", self.number, ago_s),
            packing.value(f"{door}.gap", "s", round(self.longest_gap_s, 4), ago_s),
            packing.value(f"{door}.width", "s", round(self.width_s, 4), ago_s),
        ]


@dataclass(slots=True)
class Untold:
    """Times in any one scale [s]."""

    pulses: list[tuple[float, float]] = field(default_factory=list)
    begun_s: float = -inf
    last_s: float = -inf
    told_s: float = -inf

    def hear(self, rise_s: float, fall_s: float) -> bool:
        """One whole pulse more; whether it is time to tell."""
        if rise_s - self.last_s > JOIN_S:
            self.begun_s, self.told_s = rise_s, -inf
        self.pulses.append((rise_s, fall_s))
        self.last_s = fall_s
        return fall_s >= self.told_s + (SUMMARY_S if self._long_held else CHUNK_S)

    @property
    def over_s(self) -> float:
        """When the press counts as over; inf: nothing is left to tell."""
        return self.last_s + JOIN_S if self.pulses else inf

    def take(self, at_s: float) -> tuple[list[tuple[float, float]], bool]:
        """The pulses, now told, and whether as a summary."""
        pulses, long_held = self.pulses, self._long_held
        self.pulses, self.told_s = [], at_s
        return pulses, long_held

    @property
    def _long_held(self) -> bool:
        return self.told_s - self.begun_s > LONG_HOLD_S
