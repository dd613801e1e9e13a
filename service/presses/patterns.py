"""Patterns of a house over weeks: at which hours and on which days somebody rings, and when most likely nobody will.

A rate is visits per hour *watched*: blind time counts neither for nor against an hour, and a visit that began in blind time is
left out, so that seeing less does not look like fewer callers. A night with a change of the clock has 23 or 25 hours of watching.
Knows no zone and no calendar: the caller gives the clock on the wall as a function.
"""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.presses.away import joined
from service.presses.poisson import chance_of, interval

Floats = NDArray[np.float64]

CELL_S = 900.0
"""Local hours begin at a quarter of an hour of UTC in every zone in use today."""

ENOUGH_S = 28 * 86_400.0
ENOUGH_VISITS = 30
"""Before four weeks watched and thirty visits nothing is said to stand out: an hour of a weekday would have come four times."""

CHANCE = 0.05
"""Of the hours said to stand out, so many at most do so by chance (Benjamini and Hochberg 1995, from memory)."""

QUIET_SHARE = 0.5
"""An hour of the day is quiet where even the upper end of its interval lies below half the mean of the house."""

DAYS, HOURS = 7, 24


class LocalHour(NamedTuple):
    """The clock on the wall. Monday is 0; `day` and `week` are as in ISO 8601: `2026-10-25`, `2026-W43`."""

    weekday: int
    hour: int
    day: str
    week: str


WallClock = Callable[[float], LocalHour]


class Rate(NamedTuple):
    """Visits in the hours watched, and visits per hour with their 90 % interval; None where nothing was watched."""

    visits: int
    watched_h: float
    per_hour: float | None
    low: float | None
    high: float | None


class Count(NamedTuple):
    """Visits of a day or a week: how long it was, within the stretch looked at, and how long of it was watched. [h]"""

    label: str
    visits: int
    hours: float
    watched_h: float


class StandsOut(NamedTuple):
    """An hour of the week (both given), an hour of every day (`weekday` None) or a weekday (`hour` None), and its rate."""

    weekday: int | None
    hour: int | None
    rate: Rate
    times: float  # of the mean of the house


class Window(NamedTuple):
    """A run of hours on a weekday, with visits to be expected in it and the upper end of their 90 % interval."""

    weekday: int
    hour: int
    hours: int
    expected: float
    at_most: float


@dataclass(frozen=True, slots=True)
class Patterns:
    """`table[weekday][hour]`; `too_little` says why nothing is said to stand out, and is None where there is enough."""

    mean: Rate
    table: tuple[tuple[Rate, ...], ...]
    by_hour: tuple[Rate, ...]
    by_weekday: tuple[Rate, ...]
    days: tuple[Count, ...]
    weeks: tuple[Count, ...]
    standing_out: tuple[StandsOut, ...]
    quiet_hours: tuple[int, ...]  # hours of the day
    too_little: str | None


def patterns(
    visits_s: Iterable[float],
    blind: Iterable[tuple[float, float]],
    start_s: float,
    end_s: float,
    wall_clock: WallClock,
) -> Patterns:
    """Visits (their beginnings) and blind stretches (in any order, they may overlap) of the stretch from `start_s` to `end_s`."""
    spells = joined((max(begin, start_s), min(end, end_s)) for begin, end in blind)
    begun = [moment for moment in visits_s if start_s <= moment < end_s and not _inside(moment, spells)]
    last = [end_s] if end_s > start_s else []
    edges = np.array([start_s, *np.arange(start_s // CELL_S + 1.0, end_s / CELL_S) * CELL_S, *last])
    lengths = np.diff(edges) / 3600.0
    watched = lengths - np.diff(_blind_before(edges, spells)) / 3600.0
    hours, seen = np.zeros((DAYS, HOURS)), np.zeros((DAYS, HOURS), int)
    by_day: dict[str, list[float]] = defaultdict(lambda: [0, 0.0, 0.0])
    by_week: dict[str, list[float]] = defaultdict(lambda: [0, 0.0, 0.0])
    for at_s, length, watched_h in zip(edges[:-1].tolist(), lengths.tolist(), watched.tolist(), strict=True):
        place = wall_clock(at_s)
        hours[place.weekday, place.hour] += watched_h
        for count in (by_day[place.day], by_week[place.week]):
            count[1] += length
            count[2] += watched_h
    for moment in begun:
        place = wall_clock(moment)
        seen[place.weekday, place.hour] += 1
        by_day[place.day][0] += 1
        by_week[place.week][0] += 1
    table = tuple(
        tuple(_rate(int(n), float(h)) for n, h in zip(*row, strict=True)) for row in zip(seen, hours, strict=True)
    )
    by_hour = tuple(_rate(int(n), float(h)) for n, h in zip(seen.sum(0), hours.sum(0), strict=True))
    by_weekday = tuple(_rate(int(n), float(h)) for n, h in zip(seen.sum(1), hours.sum(1), strict=True))
    mean = _rate(int(seen.sum()), float(hours.sum()))
    too_little = _too_little(mean)
    return Patterns(
        mean,
        table,
        by_hour,
        by_weekday,
        tuple(Count(label, int(n), h, w) for label, (n, h, w) in by_day.items()),
        tuple(Count(label, int(n), h, w) for label, (n, h, w) in by_week.items()),
        () if too_little else tuple(_standing_out(mean, table, by_hour, by_weekday)),
        () if too_little else _quiet(mean, by_hour),
        too_little,
    )


def calmest(found: Patterns, hours: int, among: Collection[int] = range(HOURS), most: int = 5) -> list[Window]:
    """Where work on the supply disturbs the fewest callers: windows of so many whole hours, all of them `among` the hours given.

    The lowest upper end first; windows alike are told apart by the rate of their hours over all days. Empty where there is too
    little to say.
    """
    if found.too_little:
        return []
    ranked: list[tuple[float, float, Window]] = []
    for weekday, row in enumerate(found.table):
        for hour in range(HOURS - hours + 1):
            cells = row[hour : hour + hours]
            if any(cell.watched_h <= 0.0 for cell in cells) or any(h not in among for h in range(hour, hour + hours)):
                continue
            whole = _rate(sum(cell.visits for cell in cells), sum(cell.watched_h for cell in cells))
            usual = sum(one.per_hour or 0.0 for one in found.by_hour[hour : hour + hours])
            window = Window(weekday, hour, hours, (whole.per_hour or 0.0) * hours, (whole.high or 0.0) * hours)
            ranked.append((window.at_most, usual, window))
    return [window for *_, window in sorted(ranked)[:most]]


def _rate(visits: int, watched_h: float) -> Rate:
    if watched_h <= 1e-9:
        return Rate(visits, 0.0, None, None, None)
    low, high = interval(visits)
    return Rate(visits, watched_h, visits / watched_h, low / watched_h, high / watched_h)


def _too_little(mean: Rate) -> str | None:
    if mean.watched_h * 3600.0 < ENOUGH_S:
        return (
            f"{mean.watched_h / 24:.0f} days watched; {ENOUGH_S / 86_400:.0f} are needed to say which hours stand out."
        )
    if mean.visits < ENOUGH_VISITS:
        return f"{mean.visits} visits; {ENOUGH_VISITS} are needed to say which hours stand out."
    return None


def _standing_out(
    mean: Rate, table: Sequence[Sequence[Rate]], by_hour: Sequence[Rate], by_weekday: Sequence[Rate]
) -> list[StandsOut]:
    """Against the mean of the house, among hours of the week, hours of the day and weekdays each by itself."""
    cells = [((day, hour), rate) for day, row in enumerate(table) for hour, rate in enumerate(row)]
    families: list[list[tuple[tuple[int | None, int | None], Rate]]] = [
        [*cells],
        [((None, hour), rate) for hour, rate in enumerate(by_hour)],
        [((day, None), rate) for day, rate in enumerate(by_weekday)],
    ]
    average, found = mean.per_hour or 0.0, []
    for family in families:
        judged = sorted(
            (chance_of(rate.visits, average * rate.watched_h), place, rate)
            for place, rate in family
            if rate.watched_h > 0
        )
        within = [n for n, (chance, *_) in enumerate(judged, 1) if chance <= CHANCE * n / len(judged)]
        out = [(place, rate) for _, place, rate in judged[: max(within, default=0)]]
        found += [StandsOut(*place, rate, (rate.per_hour or 0.0) / average) for place, rate in out]
    return found


def _quiet(mean: Rate, by_hour: Sequence[Rate]) -> tuple[int, ...]:
    limit = QUIET_SHARE * (mean.per_hour or 0.0)
    return tuple(hour for hour, rate in enumerate(by_hour) if rate.high is not None and rate.high < limit)


def _inside(moment: float, spells: Sequence[tuple[float, float]]) -> bool:
    place = bisect_right(spells, (moment, float("inf"))) - 1
    return place >= 0 and moment < spells[place][1]


def _blind_before(moments: Floats, spells: Sequence[tuple[float, float]]) -> Floats:
    """Blind seconds before each moment."""
    total = np.zeros(len(moments))
    for begin, end in spells:
        total += np.clip(moments, begin, end) - begin
    return total
