"""At which hours and on which days somebody rings: a house's patterns as a drawn week, sentences and tables. Knows no HTTP."""

from collections.abc import Sequence
from datetime import date, datetime
from functools import cache
from zoneinfo import ZoneInfo

from dashboard import caller_contexts, contexts, words
from dashboard.house import House
from dashboard.language import figure, marked, resaid, say
from dashboard.week import MOST, Cell, Rate, Week, draw_across, draw_down
from service import callers
from service.callers import Stretch
from service.ports import Reader
from service.presses import patterns
from service.presses.patterns import LocalHour, Patterns, StandsOut, WallClock

ON_DAYS = (
    marked("Mondays"),
    marked("Tuesdays"),
    marked("Wednesdays"),
    marked("Thursdays"),
    marked("Fridays"),
    marked("Saturdays"),
    marked("Sundays"),
)
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
        names=[say(name) for name in words.DAYS],
        key=say("One stroke for each visit")
        if each == 1
        else say("One stroke for up to {visits} in an hour", visits=words.counted(each, "visit")),
        standing=[words.sentence(told(one)) for one in _strongest(found.standing_out)[:NAMED]],
        table=_table(found),
        by_hour=_by_hour(found),
    )


def _week(found: Patterns, stretch: Stretch, clock: WallClock, each: int) -> Week:
    whole = [[0.0] * 24 for _ in words.DAYS]
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
        words.counted(rate.visits, "visit")
        + (say(", {times} times the mean", times=figure(times[day], ".1f")) if day in times else "")
        for day, rate in enumerate(found.by_weekday)
    ]
    rates = [
        None if one.per_hour is None else Rate(one.per_hour, one.low or 0.0, one.high or 0.0) for one in found.by_hour
    ]
    return Week(
        [say(name) for name in words.SHORT_DAYS],
        cells,
        remarks,
        rates,
        found.mean.per_hour or 0.0,
        _straight(found.quiet_hours),
    )


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
    runs = [
        say("from {first} to {last}", first=words.hour(first), last=words.hour(after))
        for first, after in around_midnight(hours)
    ]
    return words.sentence(say("{listed} most likely nobody rings", listed=words.listed(runs))) if runs else ""


def told(one: StandsOut) -> str:
    days = say("every day") if one.weekday is None else say(ON_DAYS[one.weekday])
    hours = (
        ""
        if one.hour is None
        else say(" from {first} to {last}", first=words.hour(one.hour), last=words.hour(one.hour + 1))
    )
    return say(
        "{days}{hours}, {times} times the mean of the house",
        days=days,
        hours=hours,
        times=figure(one.times, ".1f"),
    )


def _strongest(found: Sequence[StandsOut]) -> list[StandsOut]:
    """Those of more callers than the mean, the surest first; those of fewer are told as quiet hours."""
    return sorted((one for one in found if one.times > 1.0), key=lambda one: -(one.rate.low or 0.0))


def _headline(found: Patterns) -> str:
    if found.too_little:
        return say("It is too early to say when callers come.")
    strongest = _strongest(found.standing_out)
    if not strongest:
        return say("No hour of the week stands out.")
    best = strongest[0]
    day = say(" on {days}", days=say(ON_DAYS[best.weekday])) if best.weekday is not None else ""
    hour = (
        say(" from {first} to {last}", first=words.hour(best.hour), last=words.hour(best.hour + 1))
        if best.hour is not None
        else ""
    )
    return say("Callers come most often{day}{hour}.", day=day, hour=hour)


def _lead(found: Patterns, stretch: Stretch) -> str:
    whole_s = stretch[1] - stretch[0]
    blind_s = max(0.0, whole_s - found.mean.watched_h * 3600.0)
    days = round(whole_s / 86_400)
    span = words.counted(days, "day") if days < 14 else words.counted(days // 7, "week")
    said = (
        [words.sentence(say("not enough yet: {too_little}", too_little=resaid(found.too_little)))]
        if found.too_little
        else []
    )
    said += [quiet(found.quiet_hours)] if found.quiet_hours else []
    said.append(words.sentence(say("{visits} in {span}", visits=words.counted(found.mean.visits, "visit"), span=span)))
    if blind_s >= 60.0:
        said.append(
            say(
                "For {duration} of them nothing could be recorded; that counts neither for an hour nor against it.",
                duration=words.duration(blind_s),
            )
        )
    return " ".join(said)


def _table(found: Patterns) -> contexts.Table:
    heads = (say("Hour"), *(say(name) for name in words.SHORT_DAYS), say("All"))
    rows = []
    for hour in range(24):
        cells = [found.table[day][hour] for day in range(7)] + [found.by_hour[hour]]
        told_ = ["–" if rate.per_hour is None else str(rate.visits) for rate in cells]
        rows.append(contexts.Row((f"{hour:02d}", *told_)))
    return contexts.Table(say("Visits in each hour of the week"), heads, rows)


def _by_hour(found: Patterns) -> contexts.Table:
    rows = []
    for hour, rate in enumerate(found.by_hour):
        figures = (
            ("–", "–")
            if rate.per_hour is None
            else (
                figure(rate.per_hour, ".2f"),
                words.to(figure(rate.low or 0.0, ".2f"), figure(rate.high or 0.0, ".2f")),
            )
        )
        watched = f"{rate.watched_h:.0f}{words.THIN}h"
        rows.append(contexts.Row((f"{hour:02d}", str(rate.visits), watched, *figures)))
    heads = (say("Hour"), say("Visits"), say("Watched"), say("In an hour"), say("Nine times in ten"))
    return contexts.Table(say("Visits in an hour watched, all days"), heads, rows)
