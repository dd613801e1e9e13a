"""Any stretch of a chime's supply, from ten years to one cycle of the mains: the rail, what surveys measured, what happened.

Judges nothing. Drawn from some three hundred points whatever its length. Makes contexts; knows no HTTP.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from dashboard import quantities, rail_chart, stretch_contexts, words
from dashboard.contexts import Row, Table
from dashboard.doorstep import head
from dashboard.house import House, midnight_s
from dashboard.language import marked, say
from dashboard.predicted_cycle import cycles_of
from dashboard.trend_chart import Reading, Trend, draw_trend
from service import model, outlooks
from service.findings.outlook import limits_of
from service.findings.testimony import SURVEY_S
from service.ports import Reader
from service.supply.assumptions import basis_of

DAY_S, HOUR_S = 86_400.0, 3_600.0
POINTS = 300
LENGTHS = (
    (marked("ten years"), 3653),
    (marked("a year"), 365),
    (marked("a quarter"), 91),
    (marked("a month"), 30),
    (marked("a week"), 7),
    (marked("a day"), 1),
)
MOST_MARKS = 400
"""Presses or soundings beyond are not drawn one by one."""

MARKED_S = 100 * DAY_S
"""In longer stretches presses are not drawn at all [s]."""

SURVEYS = 24
TRENDS = ("reservoir_f", "source_ohm", "ripple_v", "headroom_v", "open_circuit_v", "sound_a")
SCALES = {"reservoir_f": (1e6, "µF"), "sound_a": (1e3, "mA")}
ROWS = 12


@dataclass(frozen=True, slots=True)
class Asked:
    """Days, both included; `burst_s`: a survey that is opened [POSIX s]."""

    first: date
    last: date
    burst_s: float | None = None

    @property
    def days(self) -> int:
        return (self.last - self.first).days + 1


def asked_of(house: House, chime: model.Chime, first: str, last: str, burst_s: float | None) -> Asked:
    """Raises ValueError for what is no day. Without any: since the chime was first heard."""
    end = date.fromisoformat(last) if last else house.today
    begin = date.fromisoformat(first) if first else words.local(chime.first_heard_s, house.zone).date()
    if begin > end:
        begin, end = end, begin
    return Asked(begin, min(end, house.today) if begin <= house.today else end, burst_s)


def make(reader: Reader, house: House, chime: model.Chime, asked: Asked) -> stretch_contexts.StretchSheet:
    """`house` is needed for its zone, its clock and its name alone."""
    site, name, zone = house.site.site, chime.chime, house.zone
    start_s = midnight_s(asked.first, zone)
    end_s = min(midnight_s(asked.last + timedelta(days=1), zone), house.now_s + 1.0)
    end_s = max(end_s, start_s + HOUR_S)
    points = reader.supply(site, name, start_s, end_s, step_of(end_s - start_s))
    scale = rail_chart.scale_of(points)
    ticks = _ticks(asked, house)
    bursts = reader.bursts(site, name, start_s, end_s, limit=4 * SURVEYS)
    return stretch_contexts.StretchSheet(
        head=head(house, say("Supply"), "supply"),
        span=[say("{day} to", day=_day(asked.first)), _day(asked.last)] if asked.days > 1 else [_day(asked.first)],
        chime=name,
        headline=_headline(points),
        lead=_lead(reader, site, name, start_s, end_s, len(points)),
        lengths=[_length(house, asked, text, days) for text, days in LENGTHS],
        steps=_steps(house, asked),
        start=asked.first.isoformat(),
        end=asked.last.isoformat(),
        scale=rail_chart.draw_scale(scale),
        rail=rail_chart.draw_panel(_panel(reader, house, chime, start_s, end_s, points, ticks), scale, 1.0)
        if points
        else None,
        trends=_trends(reader, house, chime, start_s, end_s, ticks),
        surveys=_surveys(house, asked, bursts),
        cycles=cycles_of(reader, house, chime, [one for one in bursts if _opened(one, asked)])
        if asked.burst_s is not None
        else (),
        table=_table(points, house, end_s - start_s),
    )


def step_of(length_s: float) -> float:
    """A round step that leaves some `POINTS` points.

    >>> [step_of(days * DAY_S) for days in (1, 30, 3653)]
    [300.0, 10800.0, 1036800.0]
    """
    wanted = length_s / POINTS
    for step in (60.0, 300.0, 600.0, 1800.0, HOUR_S, 3 * HOUR_S, 6 * HOUR_S, 12 * HOUR_S):
        if step >= wanted:
            return step
    return max(round(wanted / DAY_S), 1) * DAY_S


def _day(day: date) -> str:
    return f"{words.day_and_month(day)} {day.year}"


def _headline(points: Sequence[model.SupplyPoint]) -> str:
    lows = [p.min_v for p in points if p.min_v is not None]
    highs = [p.max_v for p in points if p.max_v is not None]
    if not lows or not highs:
        means = [p.mean_v for p in points if p.mean_v is not None]
        return (
            say(
                "The rail’s mean lay between {measured} and {measured2}.",
                measured=words.measured(min(means), "V"),
                measured2=words.measured(max(means), "V"),
            )
            if means
            else say("Nothing of the supply was recorded in that time.")
        )
    return say(
        "The rail lay between {measured} and {measured2}.",
        measured=words.measured(min(lows), "V"),
        measured2=words.measured(max(highs), "V"),
    )


def _lead(reader: Reader, site: str, chime: str, start_s: float, end_s: float, points: int) -> str:
    boots = len([one for one in reader.boots(site, chime, start_s, end_s) if one.start_s >= start_s])
    started = (
        words.sentence(say("the chime started {times}", times=words.times(boots)))
        if boots
        else say("The chime did not start anew.")
    )
    return say("{started} Drawn from {points} stretches; a gap is a gap in the record.", started=started, points=points)


def _length(house: House, asked: Asked, text: str, days: int) -> stretch_contexts.Way:
    """Another length about the same end."""
    first = max(asked.last - timedelta(days=days - 1), date(1970, 1, 2))
    return stretch_contexts.Way(say(text), f"first={first}&last={asked.last}", asked.days == days)


def _steps(house: House, asked: Asked) -> list[stretch_contexts.Way]:
    by = timedelta(days=max(asked.days // 2, 1))
    ways = [stretch_contexts.Way(say("earlier"), f"first={asked.first - by}&last={asked.last - by}", False)]
    later = asked.last + by
    if later <= house.today:
        ways.append(stretch_contexts.Way(say("later"), f"first={asked.first + by}&last={later}", False))
    if asked.days > 2:
        third = asked.days // 3
        middle = asked.first + timedelta(days=third)
        ways.append(
            stretch_contexts.Way(
                say("the middle third"), f"first={middle}&last={middle + timedelta(days=max(third - 1, 0))}", False
            )
        )
    return ways


def _ticks(asked: Asked, house: House) -> list[tuple[float, str]]:
    """Some four days by name; the hours of a single day."""
    if asked.days == 1:
        start_s = midnight_s(asked.first, house.zone)
        return [(start_s + hour * HOUR_S, f"{hour:02d}") for hour in range(0, 25, 6)]
    every = max(round(asked.days / 3), 1)  # few enough for a phone
    days = [asked.first + timedelta(days=n) for n in range(0, asked.days + 1, every)]
    return [
        (midnight_s(day, house.zone), words.month_short(day) if asked.days > 400 else words.day_short(day))
        for day in days
    ]


def _panel(
    reader: Reader, house: House, chime: model.Chime, start_s: float, end_s: float, points: Sequence[model.SupplyPoint],
    ticks: Sequence[tuple[float, str]],
) -> rail_chart.Panel:  # fmt: skip
    site, name = house.site.site, chime.chime
    presses, more = (
        reader.presses(site, start_s, end_s, chime=name, limit=MOST_MARKS) if end_s - start_s < MARKED_S else ((), "")
    )
    soundings = reader.soundings(site, start_s, end_s, name) if more is None else ()
    spells = reader.blind_spells(site, start_s, end_s, house.now_s)
    least_s = (end_s - start_s) / 1000
    blind = [
        (max(one.start_s, start_s), one.end_s or end_s)
        for one in spells
        if one.chime == name and one.door is None and (one.end_s or end_s) - one.start_s >= least_s
    ]
    return rail_chart.Panel(
        start_s,
        end_s,
        points,
        [(press.start_s, press.doubtful) for press in presses] if more is None else (),
        [one.start_s for one in soundings],
        [one.start_s for one in reader.boots(site, name, start_s, end_s) if one.start_s >= start_s][-MOST_MARKS:],
        blind,
        ticks,
    )


def _trends(
    reader: Reader, house: House, chime: model.Chime, start_s: float, end_s: float, ticks: Sequence[tuple[float, str]]
) -> list[stretch_contexts.Trend]:
    site, name = house.site.site, chime.chime
    records = reader.commissionings(site, name)
    sheet = outlooks.sheet_of(reader, site, name)
    basis = basis_of(sheet)
    found = []
    for quantity in TRENDS:
        measured = reader.quantities(site, name, quantity, start_s, end_s, 20_000, (end_s - start_s) / POINTS)
        if not measured:
            continue
        times, unit = SCALES.get(quantity, (1.0, quantities.figure(quantity, 1.0).partition(words.THIN)[2]))
        then = None
        if records:
            begun = reader.quantities(site, name, quantity, records[0].start_s - SURVEY_S, records[0].end_s + SURVEY_S)
            then = begun[-1].measured.value if begun else None
        limit = next(iter(limits_of(quantity, then, sheet, basis)), None)
        trend = Trend(
            start_s,
            end_s,
            [
                Reading(
                    one.at_s, *(times * value for value in (one.measured.value, one.measured.low, one.measured.high))
                )
                for one in measured
            ],
            None if then is None else times * then,
            None if limit is None else times * limit.value,
            limit is not None and limit.low,
            ticks,
        )
        last = quantities.figure(quantity, measured[-1].measured.value)
        told = say(
            "{readings}; the last {last}.",
            readings=words.sentence(words.counted(len(measured), "reading")).rstrip("."),
            last=last,
        )
        told += say(" As commissioned, {figure}.", figure=quantities.figure(quantity, then)) if then is not None else ""
        told += (
            say(" The limit is {figure}.", figure=quantities.figure(quantity, limit.value)) if limit is not None else ""
        )
        found.append(stretch_contexts.Trend(f"{quantities.name_of(quantity)}, {unit}", draw_trend(trend), told))
    return found


def _surveys(house: House, asked: Asked, bursts: Sequence[model.Burst]) -> list[stretch_contexts.Way]:
    """Each moment at which bursts were taken, newest first."""
    moments: list[float] = []
    for one in bursts:
        if not moments or moments[-1] - one.start_s > SURVEY_S:
            moments.append(one.start_s)
    return [
        stretch_contexts.Way(
            _short(moment_s, house),
            f"first={asked.first}&last={asked.last}&burst={moment_s:.3f}",
            asked.burst_s is not None and abs(moment_s - asked.burst_s) < 0.01,
        )
        for moment_s in moments[:SURVEYS]
    ]


def _short(moment_s: float, house: House) -> str:
    then = words.local(moment_s, house.zone)
    return f"{words.day_short(then)}, {words.clock(moment_s, house.zone)}"


def _opened(burst: model.Burst, asked: Asked) -> bool:
    return asked.burst_s is not None and -SURVEY_S <= burst.start_s - asked.burst_s <= 0.01


def _table(points: Sequence[model.SupplyPoint], house: House, length_s: float) -> Table:
    """The same in figures, in some twelve parts."""
    rows = []
    size = -(-len(points) // ROWS) or 1
    for n in range(0, len(points), size):
        part = points[n : n + size]
        means = [p.mean_v for p in part if p.mean_v is not None]
        lows = [p.min_v for p in part if p.min_v is not None]
        highs = [p.max_v for p in part if p.max_v is not None]
        sounding = [p.low_v for p in part if p.low_v is not None]
        then = words.local(part[0].start_s, house.zone)
        when = words.in_hours(then) if length_s <= DAY_S + HOUR_S else _day(then.date())
        rows.append(
            Row(
                (
                    when,
                    words.measured(sum(means) / len(means) if means else None, "V"),
                    words.measured(min(lows, default=None), "V"),
                    words.measured(max(highs, default=None), "V"),
                    words.measured(min(sounding, default=None), "V"),
                )
            )
        )
    return Table(
        say("The rail in figures"), (say("From"), say("Mean"), say("Lowest"), say("Highest"), say("Sounding")), rows
    )
