"""Presses that the detector did not see, or the record did not get: signs that somebody probably pressed. Knows no store.

Signs that lie together are one entry with several reasons. What a recorded press explains is no sign. Times are POSIX seconds.
"""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import NamedTuple

from service.model import UnseenWhy
from service.presses.visits import ANSWER_S

TOGETHER_S = 3.0
"""Signs no further apart are of one press [s]."""

AFTER_PRESS_S = 1.0
"""The rail sinks back slowly after a press; a rise this soon after one belongs to it [s]."""

SOUNDS_S = 10.0
"""What a press starts may sound so long, and it is the sound that pulls a weak supply down (common practice, no source) [s]."""

RISE_V = (0.25, 2.0)
"""A press lifts the cycle maximum by the drop of the button diode, 0.3 to 1.2 V; what lifts it further is the mains [V]."""

LONGEST_RISE_S = 20.0
"""A longer rise is the mains, or a contact that is stuck and found by other signs [s]."""

RESTARTS_WITHIN_S = 10.0
"""A supply that a press has pulled down is back within this time; a longer one is an outage of the mains [s]."""


class Rise(NamedTuple):
    """The cycle maximum rose, and nothing of the chime's own load explains it."""

    start_s: float
    end_s: float
    rise_v: float


class Restart(NamedTuple):
    """The chime came back after a brown-out: when it was last heard before, and when it started."""

    last_heard_s: float
    start_s: float


class Gap(NamedTuple):
    """Packs or records are missing between two moments."""

    start_s: float
    end_s: float
    packs: int
    records: int


@dataclass(frozen=True, slots=True)
class Signs:
    """What was noticed of one chime in a stretch of time. `presses`: stretches that were recorded, at any of its doors."""

    presses: Sequence[tuple[float, float]] = ()
    rises: Sequence[Rise] = ()
    soundings: Sequence[float] = ()  # starts of soundings that nobody asked for
    restarts: Sequence[Restart] = ()
    gaps: Sequence[Gap] = ()


class Sign(NamedTuple):
    """An entry of the log. `rise_v`, `packs`, `records` as far as they belong to its reasons."""

    start_s: float
    end_s: float
    why: tuple[UnseenWhy, ...]
    rise_v: float | None = None
    packs: int = 0
    records: int = 0


def unseen(signs: Signs) -> list[Sign]:
    """Entries in order of time.

    >>> unseen(Signs([(0.0, 0.4)], [Rise(0.1, 0.4, 0.6), Rise(60.0, 60.3, 0.6)], [0.2, 60.1]))
    [Sign(start_s=60.0, end_s=60.3, why=('rail rose', 'sounded alone'), rise_v=0.6, packs=0, records=0)]
    """
    presses = _Presses(signs.presses)
    found = [
        Sign(rise.start_s, rise.end_s, ("rail rose",), rise.rise_v)
        for rise in signs.rises
        if RISE_V[0] <= rise.rise_v <= RISE_V[1]
        and rise.end_s - rise.start_s <= LONGEST_RISE_S
        and not presses.any_in(rise.start_s - AFTER_PRESS_S, rise.end_s + AFTER_PRESS_S)
    ]
    found += [
        Sign(start_s, start_s, ("sounded alone",))
        for start_s in signs.soundings
        if not presses.any_in(start_s - ANSWER_S, start_s + ANSWER_S)
    ]
    found += [
        Sign(restart.last_heard_s, restart.start_s, ("restarted",))
        for restart in signs.restarts
        if restart.start_s - restart.last_heard_s <= RESTARTS_WITHIN_S
        and not presses.any_in(restart.last_heard_s - SOUNDS_S, restart.start_s + AFTER_PRESS_S)
    ]
    together = _together(sorted(found))
    gaps = (
        Sign(
            gap.start_s, gap.end_s, ("packs missing" if gap.packs else "records dropped",), None, gap.packs, gap.records
        )
        for gap in signs.gaps
    )
    return sorted([*together, *gaps])


class _Presses:
    """Presses by their beginning, and of each the latest end of all up to it: whether any lies in a stretch is found by halving."""

    def __init__(self, presses: Iterable[tuple[float, float]]) -> None:
        ordered = sorted(presses)
        self._starts_s = [first for first, _ in ordered]
        self._ends_s = list(accumulate((last for _, last in ordered), max))

    def any_in(self, start_s: float, end_s: float) -> bool:
        before = bisect_right(self._starts_s, end_s)
        return before > 0 and self._ends_s[before - 1] >= start_s


def _together(found: Iterable[Sign]) -> list[Sign]:
    joined: list[Sign] = []
    for sign in found:
        if joined and sign.start_s - joined[-1].end_s <= TOGETHER_S:
            before = joined[-1]
            rises = [rise for rise in (before.rise_v, sign.rise_v) if rise is not None]
            joined[-1] = Sign(
                before.start_s,
                max(before.end_s, sign.end_s),
                before.why + tuple(why for why in sign.why if why not in before.why),
                max(rises, default=None),
            )
        else:
            joined.append(sign)
    return joined
