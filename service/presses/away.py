"""When the household is away, by its own calendar: stretches of time, joined and asked. Knows no calendar format and no clock."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Away:
    """One absence, from `start_s` until just before `end_s`. `uid` is the calendar's own; a recurring event shares it."""

    uid: str
    summary: str
    start_s: float
    end_s: float


def joined(stretches: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    """Stretches in any order, overlapping or not, to those they cover, in order and apart. Empty ones vanish.

    >>> joined([(5.0, 6.0), (0.0, 2.0), (1.0, 3.0), (3.0, 4.0), (9.0, 9.0)])
    [(0.0, 4.0), (5.0, 6.0)]
    """
    found: list[tuple[float, float]] = []
    for start_s, end_s in sorted(stretches):
        if end_s <= start_s:
            continue
        if found and start_s <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], end_s))
        else:
            found.append((start_s, end_s))
    return found


def stretches(aways: Iterable[Away], from_s: float, until_s: float) -> list[tuple[float, float]]:
    """When somebody said to be away, within a period: in order and apart."""
    return joined((max(one.start_s, from_s), min(one.end_s, until_s)) for one in aways)


def is_away(aways: Iterable[Away], at_s: float) -> bool:
    return any(one.start_s <= at_s < one.end_s for one in aways)


def while_away(aways: Sequence[Away], moments_s: Iterable[float]) -> list[float]:
    """Of these moments, such as the beginnings of visits, those within an absence, in the order given."""
    return [moment for moment in moments_s if is_away(aways, moment)]
