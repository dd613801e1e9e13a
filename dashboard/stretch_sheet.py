"""Any stretch of a chime's supply, from ten years to one cycle of the mains: the rail, what surveys measured, what happened.

Judges nothing. Drawn from some three hundred points whatever its length. Makes contexts; knows no HTTP.
"""

from collections.abc import Sequence
from datetime import date

from dashboard import chart_data, quantities, rail_chart, stretch_asked, stretch_contexts, words
from dashboard.contexts import Row, Table
from dashboard.doorstep import head
from dashboard.house import House
from dashboard.language import say
from dashboard.predicted_cycle import cycles_of
from dashboard.stretch_asked import DAY_S, HOUR_S, LEAST_S, Asked
from dashboard.supply_points import dips_of
from dashboard.trend_chart import Reading, Trend, draw_trend
from service import model, outlooks
from service.findings.outlook import limits_of
from service.findings.testimony import SURVEY_S
from service.ports import Reader
from service.supply.assumptions import basis_of

POINTS = 300
MOST_MARKS = 400
"""Presses or soundings beyond are not drawn one by one."""

MARKED_S = 100 * DAY_S
"""In longer stretches presses are not drawn at all [s]."""

SURVEYS = 24
TRENDS = ("reservoir_f", "source_ohm", "ripple_v", "headroom_v", "open_circuit_v", "sound_a")
SCALES = {"reservoir_f": (1e6, "µF"), "sound_a": (1e3, "mA")}
ROWS = 12


def make(reader: Reader, house: House, chime: model.Chime, asked: Asked) -> stretch_contexts.StretchSheet:
    """`house` is needed for its zone, its clock and its name alone."""
    site, name = house.site.site, chime.chime
    start_s, end_s = asked.start_s, max(min(asked.end_s, house.now_s + 1.0), asked.start_s + LEAST_S)
    points = reader.supply(site, name, start_s, end_s, step_of(end_s - start_s))
    ticks = stretch_asked.ticks(house, asked)
    scale, panel = rail_chart.scale_of(points), _panel(reader, house, chime, start_s, end_s, points, ticks)
    bursts = reader.bursts(site, name, start_s, end_s, limit=4 * SURVEYS)
    return stretch_contexts.StretchSheet(
        head=head(house, say("Supply"), "supply"),
        span=_span(house, asked),
        chime=name,
        zone=house.zone.key,
        headline=_headline(points),
        lead=_lead(reader, site, name, start_s, end_s, len(points)),
        lengths=stretch_asked.lengths(house, asked),
        steps=stretch_asked.steps(house, asked),
        start=asked.first.isoformat(),
        end=asked.last.isoformat(),
        rail=rail_chart.draw_panel(panel, scale, 1.0) if points else None,
        rail_figures=chart_data.of_rail(panel, scale) if points else None,
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
    for step in (10.0, 30.0, 60.0, 300.0, 600.0, 1800.0, HOUR_S, 3 * HOUR_S, 6 * HOUR_S, 12 * HOUR_S):
        if step >= wanted:
            return step
    return max(round(wanted / DAY_S), 1) * DAY_S


def _span(house: House, asked: Asked) -> list[str]:
    if asked.whole:
        return [say("{day} to", day=_day(asked.first)), _day(asked.last)] if asked.days > 1 else [_day(asked.first)]
    ends = (asked.first, asked.start_s), (asked.last, asked.end_s)
    first, last = (f"{_day(day)}, {words.clock(moment_s, house.zone)}" for day, moment_s in ends)
    if asked.days == 1:
        return [
            _day(asked.first),
            words.to(words.clock(asked.start_s, house.zone), words.clock(asked.end_s, house.zone)),
        ]
    return [say("{day} to", day=first), last]


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
        until_now=end_s >= house.now_s,
        dips=dips_of(reader, site, name, start_s, end_s),
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
        found.append(
            stretch_contexts.Trend(
                f"{quantities.name_of(quantity)}, {unit}", draw_trend(trend), chart_data.of_trend(trend, unit), told
            )
        )
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
            f"{asked.query}&burst={moment_s:.3f}",
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
