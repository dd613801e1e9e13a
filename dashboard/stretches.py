"""A line of time that leaves out long silences: where a moment stands on it. Draws nothing."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

SILENCE_S = 60.0
"""Moments further apart than this are of two stretches."""

GAP, LEAST = 0.03, 0.06
"""Of the line's width: between two stretches, and the least that a stretch gets."""

STEPS_S = (
    0.1,
    0.2,
    0.5,
    1.0,
    2.0,
    5.0,
    10.0,
    20.0,
    60.0,
    120.0,
    300.0,
    600.0,
    1800.0,
    3600.0,
    7200.0,
    14_400.0,
    21_600.0,
)
TICKS = 8


@dataclass(frozen=True)
class Stretch:
    """From `start_s` to `end_s`, standing from `left` to `right` of the line (0 to 1)."""

    start_s: float
    end_s: float
    left: float
    right: float

    def place(self, moment_s: float) -> float:
        share = (moment_s - self.start_s) / (self.end_s - self.start_s)
        return self.left + min(max(share, 0.0), 1.0) * (self.right - self.left)


@dataclass(frozen=True)
class Line:
    stretches: Sequence[Stretch]

    def place(self, moment_s: float) -> float | None:
        """None in a silence."""
        return next((one.place(moment_s) for one in self.stretches if one.start_s <= moment_s <= one.end_s), None)

    def spans(self, start_s: float, end_s: float) -> list[tuple[float, float]]:
        """The parts of the line between two moments."""
        return [
            (one.place(start_s), one.place(end_s))
            for one in self.stretches
            if start_s < one.end_s and end_s > one.start_s
        ]


def line_of(moments_s: Iterable[float], silence_s: float = SILENCE_S, most: int = 8) -> Line:
    """Of many stretches the newest `most`.

    >>> [(one.start_s, one.end_s) for one in line_of([0.0, 5.0, 10.0, 5000.0, 5010.0]).stretches]
    [(0.0, 10.0), (5000.0, 5010.0)]
    """
    ends: list[list[float]] = []
    for moment_s in sorted(moments_s):
        if ends and moment_s - ends[-1][1] <= silence_s:
            ends[-1][1] = moment_s
        else:
            ends.append([moment_s, moment_s])
    ends = ends[-most:]
    lengths = [max(end - start, 1e-3) for start, end in ends]
    room = 1.0 - GAP * (len(ends) - 1)
    shares = [max(length / sum(lengths), LEAST) for length in lengths]
    placed, left = [], 0.0
    for (start, _), length, share in zip(ends, lengths, shares, strict=True):
        right = left + room * share / sum(shares)
        placed.append(Stretch(start, start + length, left, right))
        left = right + GAP
    return Line(placed)


def step_s(length_s: float) -> float:
    """Between ticks, so that there are few.

    >>> step_s(9.0), step_s(86400.0)
    (2.0, 14400.0)
    """
    return next((step for step in STEPS_S if length_s / step <= TICKS), STEPS_S[-1])
