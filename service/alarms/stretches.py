"""Stretches of time: joined where they touch, counted over a sliding window. Knows no rule and no fact."""

from collections.abc import Iterable, Sequence
from itertools import pairwise
from math import inf
from typing import NamedTuple

RESOLUTION_S = 1e-3
"""Sums of POSIX times are good to some microseconds; less than this is nothing."""


class Stretch(NamedTuple):
    """`end_s` is infinite while it lasts; `why` is of its beginning."""

    start_s: float
    end_s: float
    why: str = ""


def joined(stretches: Iterable[Stretch]) -> list[Stretch]:
    """In order, those that overlap or touch made one.

    >>> joined([Stretch(5.0, 9.0), Stretch(0.0, 5.0), Stretch(20.0, 20.0)])
    [Stretch(start_s=0.0, end_s=9.0, why=''), Stretch(start_s=20.0, end_s=20.0, why='')]
    """
    result: list[Stretch] = []
    for one in sorted(stretches):
        if result and one.start_s <= result[-1].end_s:
            result[-1] = result[-1]._replace(end_s=max(result[-1].end_s, one.end_s))
        else:
            result.append(one)
    return result


def too_many(starts_s: Sequence[float], more_than: int, within_s: float) -> list[Stretch]:
    """While more than so many of these moments, in order, lie within the last `within_s`.

    >>> too_many([0.0, 10.0, 20.0], more_than=2, within_s=60.0)
    [Stretch(start_s=20.0, end_s=60.0, why='3 visits within 60 s')]
    """
    why = f"{more_than + 1} visits within {within_s:g} s"
    return [
        Stretch(last_s, first_s + within_s, why)
        for first_s, last_s in zip(starts_s, starts_s[more_than:], strict=False)
        if last_s < first_s + within_s
    ]


def blind_for_longer(unseen: Iterable[Stretch], most_s: float, within_s: float) -> list[Stretch]:
    """While these stretches together make up more than `most_s` of the last `within_s`.

    Their sum over a sliding window is made of straight lines, so the moments at which it passes `most_s` are exact.

    >>> blind_for_longer([Stretch(0.0, 40.0), Stretch(50.0, 80.0)], most_s=60.0, within_s=100.0)
    [Stretch(start_s=70.0, end_s=110.0, why='60 s unseen within 100 s')]
    """
    turns = list[tuple[float, int]]()
    for start_s, end_s, _ in joined(unseen):
        turns += [(start_s, 1), (start_s + within_s, -1)]
        turns += [(end_s, -1), (end_s + within_s, 1)] if end_s < inf else []
    result, since_s = [], None
    total = 0.0
    slope = 0
    why = f"{most_s:g} s unseen within {within_s:g} s" if most_s else "no press can be seen"
    for (at_s, turn), (next_s, _) in pairwise([*sorted(turns), (inf, 0)]):
        slope += turn
        after = total if slope == 0 else total + slope * (next_s - at_s)
        if since_s is None and after > most_s + RESOLUTION_S:
            since_s = at_s + max(most_s - total, 0.0) / slope
        elif since_s is not None and after <= most_s + RESOLUTION_S:
            result.append(Stretch(since_s, min(at_s + max(total - most_s, 0.0) / -slope, next_s), why))
            since_s = None
        total = max(after, 0.0)
    return result if since_s is None else [*result, Stretch(since_s, inf, why)]
