"""The installer's report: one page for the customer, the pages behind it for the trade. Makes and fills; knows no HTTP.

The same whether the record is the service's own or one that a recording was taken into.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import cache
from math import inf

from jinja2 import Environment
from markupsafe import Markup

from dashboard import blind_words, finding_list, outlook_lines, quantities, report_contexts, supply_contexts, words
from dashboard.contexts import Row, Table
from dashboard.filling import environment, filled
from dashboard.house import House, midnight_s
from dashboard.lanes import at_the, door_name
from dashboard.language import marked, resaid, say
from dashboard.report_month import draw_month
from dashboard.report_rail import draw_rail
from dashboard.supply_points import MONTH_STEP_S, PastDays
from service import model, outlooks
from service.findings.advice import ADVICE, CAUTIONS
from service.findings.outlook import NAMES, Limit, Outlook, limits_of
from service.ports import Reader
from service.supply.assumptions import basis_of

DAYS = 31
LISTED = 30
BEYOND = ("esr_ohm", "shortest_sure_press_s", "mains_hz")
"""Measured too, and told with the others on the pages for the trade."""

TOOLS = (
    ("meter", marked("a multimeter")),
    ("oscilloscope", marked("an oscilloscope with a ×10 probe")),
    ("capacitor", marked("a reservoir capacitor of at least the fitted capacitance and voltage")),
    ("diode", marked("diodes for the buttons, 1 A and 400 V or more")),
    ("transformer", marked("a bell transformer of the right voltage")),
    ("contact", marked("contact cleaner")),
    ("button", marked("a push button")),
    ("optocoupler", marked("an optocoupler of the fitted kind")),
    ("wire", marked("bell wire and joints")),
    ("ladder", marked("a ladder")),
)
"""Words of the advice, and what they ask for (chosen)."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How the report stands: alone, with its sheet and typeface in it, or as a page of the service that links to them."""

    style: str = ""
    links: Sequence[str] = ()
    back: str = ""
    paper: str = ""


def page(reader: Reader, house: House, standing: Standing, past: PastDays | None = None) -> str:
    """The whole page. `house` must cover the last `DAYS` days; `past` keeps what is asked of years."""
    return filled(_templates(), "report.html", make(reader, house, standing, past or PastDays(reader)))


@cache
def _templates() -> Environment:
    """Compiled once."""
    return environment()


def make(reader: Reader, house: House, standing: Standing, past: PastDays) -> report_contexts.Report:
    start_s = midnight_s(house.today - timedelta(days=DAYS - 1), house.zone)
    begun_s = max(start_s, house.first_heard_s or start_s)
    chimes = [_chime(reader, house, chime, start_s, past) for chime in house.chimes]
    findings = [one for chime in chimes for one in chime.findings]
    blind_s = house.unwatched(begun_s, house.now_s, blind_only=True)
    first, last = words.local(begun_s, house.zone).date(), house.today
    visits = [visit for visit in house.visits if visit.start_s >= start_s and not visit.doubtful]
    return report_contexts.Report(
        style=Markup(standing.style),  # noqa: S704 - our own files
        links=standing.links,
        back=standing.back,
        paper=standing.paper,
        house=house.site.name,
        span=say(
            "{day_and_month} to {day_and_month2} {year}. Written at {clock} on {day_and_month3}.",
            day_and_month=words.day_and_month(first),
            day_and_month2=words.day_and_month(last),
            year=last.year,
            clock=words.clock(house.now_s, house.zone),
            day_and_month3=words.day_and_month(last),
        ),
        in_short=_in_short(house, visits, blind_s, begun_s, chimes),
        month=draw_month(house, DAYS),
        month_told=say("{sides} Hatched: nothing could be recorded.", sides=_sides(house)),
        totals=(str(len(visits)), words.duration(blind_s) if blind_s >= 1.0 else say("none")),
        chimes=chimes,
        statistics=_statistics(house, start_s),
        blind=_blind(house, begun_s),
        unseen=_unseen(house, begun_s),
        bring=_bring(findings),
        cautions=[resaid(one).replace("'", "’") for one in CAUTIONS],
        zone=house.site.time_zone,
    )


def _in_short(
    house: House,
    visits: Sequence[model.Visit],
    blind_s: float,
    begun_s: float,
    chimes: Sequence[report_contexts.ChimeReport],
) -> str:
    said = [
        say("The bell was rung on {visits}.", visits=words.counted(len(visits), "visit"))
        if visits
        else say("Nobody rang.")
    ]
    if blind_s >= 1.0:
        said.append(say("For {duration} nothing could be recorded.", duration=words.duration(blind_s)))
    else:
        said.append(say("No blind time."))
    awaited_s = house.unwatched(begun_s, house.now_s) - blind_s
    if awaited_s >= 1.0:
        said.append(say("What was pressed in the last {duration} may yet arrive.", duration=words.duration(awaited_s)))
    said += [words.sentence(one) for one in blind_words.late_doors(house, begun_s, house.now_s)]
    unseen = len(house.unseen(begun_s, house.now_s))
    if unseen:
        said.append(
            words.sentence(
                say("{times} the chime sounded, or the rail rose, with no press seen", times=words.times(unseen))
            )
        )
    for chime in chimes:
        who = say("At the {name}: ", name=chime.name) if chime.name else ""
        if chime.findings:
            first = chime.findings[0]
            said.append(f"{who}{first.title}{f', {first.door}' if first.door else ''}. {first.likelihood}.")
        elif chime.compared:
            said.append(
                say(
                    "{who}Nothing was found wrong{value}.",
                    who=who,
                    value=say(", as far as it could be judged") if chime.missing else "",
                )
            )
        said += [chime.ahead] if chime.ahead else []
    return " ".join(said)


def _chime(
    reader: Reader, house: House, chime: model.Chime, start_s: float, past: PastDays
) -> report_contexts.ChimeReport:
    site, name = house.site.site, chime.chime
    found = finding_list.make(house, chime, reader, past)
    ahead = past.outlooks(site, name, house.now_s)
    points = reader.supply(site, name, start_s, house.now_s + 1.0, MONTH_STEP_S)
    limit_v = _dropout_v(reader, site, name)
    days = [house.today - timedelta(days=n) for n in range(DAYS - 1, -1, -1)]
    ticks = [
        (midnight_s(day, house.zone), words.day_and_month(day) if n % 10 == 0 else "") for n, day in enumerate(days)
    ]
    rail = draw_rail(points, start_s, house.now_s, MONTH_STEP_S, ticks, limit_v)
    return report_contexts.ChimeReport(
        name=say("{name} chime", name=name.replace("-", " ")) if len(house.chimes) > 1 else "",
        supply=_supply(reader, house, chime, ahead),
        bounds=_bounds(reader, house, chime),
        outlook=outlook_lines.lines(ahead, house.now_s, house.zone) if ahead else (),
        ahead=outlook_lines.ahead(ahead, house.now_s, house.zone),
        rail=rail,
        rail_told=say("The rail, V: lowest to highest in each stretch, and mean.")
        + (say(" Toothed: the regulator drops out below.") if limit_v else "")
        if rail
        else say("This chime tells nothing of its rail."),
        findings=found.findings,
        missing=found.missing,
        compared=found.compared,
    )


def _supply(reader: Reader, house: House, chime: model.Chime, ahead: Sequence[Outlook]) -> Table:
    """Quantity, as commissioned, now, limit, in words."""
    site, name = house.site.site, chime.chime
    points = reader.latest_quantities(site, name)
    records = reader.commissionings(site, name)
    now, commissioned = finding_list.measured(reader, site, name)
    sheet = outlooks.sheet_of(reader, site, name)
    basis = basis_of(sheet)
    limits = {one.name: one.limit for one in ahead}
    rows = []
    for quantity in [one for one in NAMES if one in now]:
        measured = now[quantity]
        then = commissioned[quantity].value if quantity in commissioned else None
        limit = limits.get(quantity) or next(iter(limits_of(quantity, then, sheet, basis)), None)
        cells = (
            quantities.name_of(quantity),
            quantities.figure(quantity, then),
            quantities.figure(quantity, measured.value),
            _limit(quantity, limit),
            quantities.compared(measured.value, then).replace(say("as expected"), say("unchanged")),
        )
        rows.append(Row(cells))
    newest_s = max((point.at_s for point in points if point.name in NAMES), default=house.now_s)
    heads = (
        say("Quantity"),
        words.day_and_year(records[0].end_s, house.zone) if records else say("Then"),
        words.day_and_year(newest_s, house.zone),
        say("Limit"),
        say("In words"),
    )
    return Table(say("Supply, with the limits"), heads, rows)


def _bounds(reader: Reader, house: House, chime: model.Chime) -> Table:
    """What the newest survey measured, each with the interval that holds nine times in ten."""
    now = {point.name: point.measured for point in reader.latest_quantities(house.site.site, chime.chime)}
    rows = [
        Row(
            (
                quantities.name_of(name),
                quantities.figure(name, now[name].value),
                quantities.between(name, now[name].low, now[name].high),
            )
        )
        for name in (*NAMES, *BEYOND)
        if name in now
    ]
    return Table(say("Measured, with its bounds"), (say("Quantity"), say("Measured"), say("Nine times in ten")), rows)


def _limit(quantity: str, limit: Limit | None) -> str:
    return (
        ""
        if limit is None
        else f"{say('at least') if limit.low else say('at most')} {quantities.figure(quantity, limit.value)}"
    )


def _dropout_v(reader: Reader, site: str, chime: str) -> float | None:
    basis = basis_of(outlooks.sheet_of(reader, site, chime))
    return basis.dropout_v if basis else None


def _statistics(house: House, start_s: float) -> Table:
    rows = []
    for door in house.doors:
        visits = [
            v
            for v in house.visits
            if (v.chime, v.door) == (door.chime, door.door) and v.start_s >= start_s and not v.doubtful
        ]
        presses = [p for visit in visits for p in visit.presses if not p.doubtful]
        held = sorted(p.end_s - p.start_s for p in presses if p.end_s is not None)
        hours = [words.local(visit.start_s, house.zone).hour for visit in visits]
        busiest = max(set(hours), key=lambda hour: (hours.count(hour), -hour)) if hours else None
        rows.append(
            Row(
                (
                    door_name(door),
                    str(len(visits)),
                    str(len(presses)),
                    words.duration(held[len(held) // 2]) if held else "–",
                    words.duration(held[-1]) if held else "–",
                    "–" if busiest is None else words.to(words.hour(busiest), words.hour((busiest + 1) % 24)),
                    str(sum(p.drop_outs > 0 or p.bounce for p in presses)),
                )
            )
        )
    heads = (
        say("Door"),
        say("Visits"),
        say("Presses"),
        say("Held, usually"),
        say("Longest"),
        say("Busiest hour"),
        say("Bounced"),
    )
    return Table(say("Presses at each door"), heads, rows)


def _blind(house: House, begun_s: float) -> list[str]:
    told = [blind_words.blind(house, begun_s, house.now_s)]
    spells = [spell for spell in house.blind if (spell.end_s or inf) > begun_s]
    for spell in sorted(spells, key=lambda one: one.start_s, reverse=True)[:LISTED]:
        end_s = spell.end_s if spell.end_s is not None else house.now_s
        told.append(
            words.sentence(
                f"{words.days(max(spell.start_s, begun_s), end_s, house.now_s, house.zone)}: "
                f"{words.duration(end_s - spell.start_s)}, {blind_words.cause(house, spell)}"
            )
        )
    if len(spells) > LISTED:
        told.append(say("The {listed} newest of {spells} are listed.", listed=LISTED, spells=len(spells)))
    return told


def _unseen(house: House, begun_s: float) -> list[str]:
    signs = house.unseen(begun_s, house.now_s)[-LISTED:]
    return [
        words.sentence(
            say(
                "{moment}: {value}, and no press was seen",
                moment=words.moment(one.start_s, house.now_s, house.zone),
                value=say(" and ").join(one.why),
            )
        )
        for one in reversed(signs)
    ]


def _bring(findings: Sequence[supply_contexts.Finding]) -> list[str]:
    """What the checks and remedies of the open findings speak of; a meter in any case."""
    advice = [ADVICE[one.name] for one in findings]
    told = " ".join(f"{one.meaning} {' '.join(check.text for check in one.checks)}" for one in advice).lower()
    found = [say(tool) for word, tool in TOOLS if word in told]
    return list(dict.fromkeys([say("a multimeter"), *found])) if findings else []


def _sides(house: House) -> str:
    doors = [at_the(door_name(door)) for door in house.doors]
    if not doors:
        return ""
    first = words.sentence(say("{doors} above the line", doors=doors[0]))
    return (
        first
        if len(doors) == 1
        else say("{first}, {listed} below.", first=first.rstrip("."), listed=words.listed(doors[1:]))
    )
