"""Presses to visits: one caller's presses at one door together. Knows no store; times are POSIX seconds."""

from bisect import bisect_left
from collections.abc import Iterable
from typing import NamedTuple

VISIT_GAP_S = 60.0
"""Someone who presses again within a minute of letting go is taken for the same caller (common practice, no source)."""

ANSWER_S = 3.0
"""A sound that starts within this time of the press's start is its answer (common practice, no source)."""


class Stretch(NamedTuple):
    """A press as visits see it."""

    id: int
    start_s: float
    end_s: float


def group(presses: Iterable[Stretch], gap_s: float = VISIT_GAP_S) -> list[list[Stretch]]:
    """Presses of one door, in any order, to visits in order of time.

    >>> [[p.id for p in visit] for visit in group([Stretch(3, 500, 501), Stretch(1, 0, 1), Stretch(2, 30, 30.4)])]
    [[1, 2], [3]]
    """
    visits: list[list[Stretch]] = []
    end_s = 0.0
    for press in sorted(presses, key=lambda p: (p.start_s, p.id)):
        if visits and press.start_s - end_s <= gap_s:
            visits[-1].append(press)
            end_s = max(end_s, press.end_s)
        else:
            visits.append([press])
            end_s = press.end_s
    return visits


def answered(press_starts_s: Iterable[float], sounding_starts_s: Iterable[float]) -> int:
    """How many of the presses a sound followed within `ANSWER_S`, or was already sounding since less than that."""
    sounds = sorted(sounding_starts_s)

    def followed(press_s: float) -> bool:
        next_one = bisect_left(sounds, press_s - ANSWER_S)
        return next_one < len(sounds) and sounds[next_one] <= press_s + ANSWER_S

    return sum(followed(press_s) for press_s in press_starts_s)
