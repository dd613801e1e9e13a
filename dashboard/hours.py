"""At which hours and on which days somebody rings: a house's patterns as a drawn week, sentences and tables. Knows no HTTP."""

from collections.abc import Sequence
from datetime import date, datetime
from functools import cache
from zoneinfo import ZoneInfo

from dashboard import caller_contexts, contexts, words
from dashboard.house import House
from dashboard.week import MOST, Cell, Rate, Week, draw_across, draw_down
from service import callers
from service.callers import Stretch
from service.ports import Reader
from service.presses import patterns
from service.presses.patterns import LocalHour, Patterns, StandsOut, WallClock

WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
NAMED = 4
"""More hours that stand out are not listed; the drawing has them all."""


def wall_clock(zone: ZoneInfo) -> WallClock:
    """The clock on the wall of a house in that zone. It remembers, for every quarter of an hour is asked for twice."""

    @cache
    def of_day(ordinal: int) -> tuple[int, str, str]:
        day = date.fromordinal(ordinal)
        year, week, weekday = day.isocalendar()
        return weekday - 1, day.isoformat(), f"{year}-W{week:02d}"

    @cache
    def place(at_s: float) -> LocalHour:
        local = datetime.fromtimestamp(at_s, zone)
        weekday, day, week = of_day(local.toordinal())
        return LocalHour(weekday, local.hour, day, week)

    return place


def make(reader: Reader, house: House) -> caller_contexts.Hours:
    """Of the last twelve weeks, as far as the record reaches. Raises Refused where there are too many visits."""
    now_s, clock = house.now_s, wall_clock(house.zone)
    stretch, found = callers.patterns_of(reader, house.site.site, now_s - callers.WEEKS_S, now_s, clock, now_s)
    most = max((rate.visits for row in found.table for rate in row), default=0)
    each = max(1, -(-most // MOST))
    week = _week(found, stretch, clock, each)
    return caller_contexts.Hours(
        headline=_headline(found),
        lead=_lead(found, stretch),
        wide=draw_across(week),
        narrow=draw_down(week),
        names=WEEKDAYS,
        key="One stroke for each visit"
        if each == 1
        else f"One stroke for up to {words.counted(each, 'visit')} in an hour",
        standing=[words.sentence(told(one)) for one in _strongest(found.standing_out)[:NAMED]],
        table=_table(found),
        by_hour=_by_hour(found),
    )


def _week(found: Patterns, stretch: Stretch, clock: WallClock, each: int) -> Week:
    whole = [[0.0] * 24 for _ in WEEKDAYS]
    moment_s = stretch[0]
    while moment_s < stretch[1]:
        after_s = min((moment_s // patterns.CELL_S + 1) * patterns.CELL_S, stretch[1])
        place = clock(moment_s)
        whole[place.weekday][place.hour] += (after_s - moment_s) / 3600.0
        moment_s = after_s
    often = _strongest(found.standing_out)
    heavy = {(one.weekday, one.hour) for one in often}
    cells = [
        [
            Cell(
                -(-rate.visits // each),
                max(0.0, 1.0 - rate.watched_h / hours) if hours else 0.0,
                (weekday, hour) in heavy,
            )
            for hour, (rate, hours) in enumerate(zip(rates, whole[weekday], strict=True))
        ]
        for weekday, rates in enumerate(found.table)
    ]
    times = {one.weekday: one.times for one in often if one.hour is None}
    remarks = [
        words.counted(rate.visits, "visit") + (f", {times[day]:.1f} times the mean" if day in times else "")
        for day, rate in enumerate(found.by_weekday)
    ]
    rates = [
        None if one.per_hour is None else Rate(one.per_hour, one.low or 0.0, one.high or 0.0) for one in found.by_hour
    ]
    return Week(WEEKDAYS, cells, remarks, rates, found.mean.per_hour or 0.0, _straight(found.quiet_hours))


def _straight(hours: Sequence[int]) -> list[tuple[int, int]]:
    """Hours of the day as runs from one to just before another.

    >>> _straight((0, 1, 2, 22, 23))
    [(0, 3), (22, 24)]
    """
    found: list[tuple[int, int]] = []
    for hour in sorted(hours):
        if found and found[-1][1] == hour:
            found[-1] = (found[-1][0], hour + 1)
        else:
            found.append((hour, hour + 1))
    return found


def around_midnight(hours: Sequence[int]) -> list[tuple[int, int]]:
    """The same, with a run before and one after midnight made one.

    >>> around_midnight((0, 1, 2, 13, 22, 23)), around_midnight(range(24))
    ([(13, 14), (22, 3)], [(0, 24)])
    """
    runs = _straight(hours)
    if len(runs) > 1 and runs[0][0] == 0 and runs[-1][1] == 24:
        return [*runs[1:-1], (runs[-1][0], runs[0][1])]
    return runs


def quiet(hours: Sequence[int]) -> str:
    """The usual quiet hours as a sentence; empty where there are none."""
    runs = [f"from {first:02d}.00 to {after:02d}.00" for first, after in around_midnight(hours)]
    return words.sentence(f"{words.listed(runs)} most likely nobody rings") if runs else ""


def told(one: StandsOut) -> str:
    days = "every day" if one.weekday is None else f"{WEEKDAYS[one.weekday]}s"
    hours = "" if one.hour is None else f" from {one.hour:02d}.00 to {one.hour + 1:02d}.00"
    return f"{days}{hours}, {one.times:.1f} times the mean of the house"


def _strongest(found: Sequence[StandsOut]) -> list[StandsOut]:
    """Those of more callers than the mean, the surest first; those of fewer are told as quiet hours."""
    return sorted((one for one in found if one.times > 1.0), key=lambda one: -(one.rate.low or 0.0))


def _headline(found: Patterns) -> str:
    if found.too_little:
        return "It is too early to say when callers come."
    strongest = _strongest(found.standing_out)
    if not strongest:
        return "No hour of the week stands out."
    best = strongest[0]
    day = f" on {WEEKDAYS[best.weekday]}s" if best.weekday is not None else ""
    hour = f" from {best.hour:02d}.00 to {best.hour + 1:02d}.00" if best.hour is not None else ""
    return f"Callers come most often{day}{hour}."


def _lead(found: Patterns, stretch: Stretch) -> str:
    whole_s = stretch[1] - stretch[0]
    blind_s = max(0.0, whole_s - found.mean.watched_h * 3600.0)
    days = round(whole_s / 86_400)
    span = words.counted(days, "day") if days < 14 else words.counted(days // 7, "week")
    said = [words.sentence(f"not enough yet: {found.too_little}")] if found.too_little else []
    said += [quiet(found.quiet_hours)] if found.quiet_hours else []
    said.append(words.sentence(f"{words.counted(found.mean.visits, 'visit')} in {span}"))
    if blind_s >= 60.0:
        said.append(
            f"For {words.duration(blind_s)} of them nothing could be recorded; that counts neither for an hour nor against it."
        )
    return " ".join(said)


def _table(found: Patterns) -> contexts.Table:
    heads = ("Hour", *(name[:3] for name in WEEKDAYS), "All")
    rows = []
    for hour in range(24):
        cells = [found.table[day][hour] for day in range(7)] + [found.by_hour[hour]]
        told_ = ["–" if rate.per_hour is None else str(rate.visits) for rate in cells]
        rows.append(contexts.Row((f"{hour:02d}", *told_)))
    return contexts.Table("Visits in each hour of the week", heads, rows)


def _by_hour(found: Patterns) -> contexts.Table:
    rows = []
    for hour, rate in enumerate(found.by_hour):
        figures = (
            ("–", "–")
            if rate.per_hour is None
            else (f"{rate.per_hour:.2f}", f"{rate.low or 0.0:.2f} to {rate.high or 0.0:.2f}")
        )
        watched = f"{rate.watched_h:.0f}{words.THIN}h"
        rows.append(contexts.Row((f"{hour:02d}", str(rate.visits), watched, *figures)))
    heads = ("Hour", "Visits", "Watched", "In an hour", "Nine times in ten")
    return contexts.Table("Visits in an hour watched, all days", heads, rows)
