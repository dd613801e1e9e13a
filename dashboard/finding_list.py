"""Open findings of a chime, told to a person: how likely, why, what to check on the spot, and the caution. Knows no HTTP."""

from collections.abc import Mapping, Sequence
from math import floor

from dashboard import contexts, departures, plane, plane_words, quantities, supply_contexts, words
from dashboard.house import House
from dashboard.language import marked, resaid, say
from dashboard.supply_points import PastDays
from service import model, outlooks
from service.finding_ports import Examination, QuantityPoint
from service.findings.advice import ADVICE, Advice, Check
from service.findings.life import Held, State
from service.findings.standing_room import ABOUT, Seen
from service.findings.standing_room import seen as seen_in_plane
from service.findings.testimony import SURVEY_S
from service.findings.verdict import EvidenceLine, Finding, Measured
from service.ports import Reader

WHO = {
    "householder": marked("without a tool"),
    "installer": marked("for an installer"),
    "electrician": marked("for a licensed electrician"),
}
LENGTH, LONGEST = 4, 240
"""Of the line that draws an effort, for each minute and at the most [CSS px]."""

NEVER = marked(
    "Whether that is enough for the chime has not been examined yet: it takes a survey of its rail, or "
    "presses with their pulses."
)


def make(house: House, chime: model.Chime, reader: Reader, past: PastDays) -> supply_contexts.FindingList:
    found = reader.findings(house.site.site, chime.chime)
    examinations = reader.examinations(house.site.site, chime.chime)
    examination = examinations[0] if examinations else None
    latest = reader.latest_quantities(house.site.site, chime.chime) if found else ()
    now, then = _now_and_then(reader, house.site.site, chime.chime, latest)
    about = any(line.quantity in ABOUT for one in found for line in one.finding.evidence)
    newest_s = max((one.at_s for one in latest), default=0.0)
    seen = _seen(house, chime, reader, past, now, then, newest_s) if about else None
    return supply_contexts.FindingList(
        findings=[_finding(house, one, now, then, seen) for one in found],
        verdict=_verdict(house, found, examination),
        missing=[words.sentence(resaid(one)) for one in examination.missing] if examination else [],
        compared=_compared(house, chime, reader) if examination else "",
        chime=chime.chime,
        trouble=_trouble(house, examination),
    )


def likely(likelihood: float) -> str:
    """
    >>> [likely(p) for p in (0.999, 0.93, 0.85, 0.71, 0.5, 0.3, 0.02)]  # doctest: +NORMALIZE_WHITESPACE
    ['Almost certain, 99 in a hundred', 'Very likely, about nine in ten', 'Very likely, about nine in ten', 'Likely, about seven in ten',
     'As likely as not, about five in ten', 'Possible, about three in ten', 'Possible, about one in ten']
    """
    if likelihood >= 0.95:
        return say("Almost certain, {value} in a hundred", value=min(99, round(100 * likelihood)))
    tenths = max(1, floor(10 * likelihood + 0.5))
    said = (
        say("Very likely")
        if tenths >= 9
        else say("Likely")
        if tenths >= 6
        else say("As likely as not")
        if tenths == 5
        else say("Possible")
    )
    return say("{said}, about {number} in ten", said=said, number=words.number(tenths))


def _verdict(house: House, found: Sequence[Held], examination: Examination | None) -> str:
    """One sentence that qualifies the answer."""
    if examination is None:
        return say(NEVER)
    when = words.moment(examination.examined_s, house.now_s, house.zone)
    if found:
        return say(
            "{findings} open, examined {when}.",
            findings=words.sentence(words.counted(len(found), "finding")).rstrip("."),
            when=when,
        )
    return say(
        "No finding is open; examined {when}{value}.",
        when=when,
        value=say(", as far as it could be judged") if examination.missing else "",
    )


def _compared(house: House, chime: model.Chime, reader: Reader) -> str:
    """One sentence: the commissioning record and the fit-out sheet that count, or what their absence costs."""
    place = (house.site.site, chime.chime)
    parts = [
        say("the commissioning record of {day}", day=_day(house, one.end_s))
        for one in reader.commissionings(*place)[:1]
    ]
    parts += [say("the fit-out sheet of {day}", day=_day(house, one.kept_s)) for one in reader.fitouts(*place, limit=1)]
    if not parts:
        return say(
            "There is no commissioning record and no fit-out sheet to compare with: what has changed, or was "
            "built in, cannot be told, only what cannot be right in any house."
        )
    return say("What was measured is compared with {listed}.", listed=words.listed(parts))


def _trouble(house: House, examination: Examination | None) -> str:
    if examination is None or examination.trouble is None:
        return ""
    when = words.moment(examination.examined_s, house.now_s, house.zone)
    return say(
        "The examination {when} failed ({trouble}). What stands here is as it was before.",
        when=when,
        trouble=resaid(examination.trouble),
    )


def measured(reader: Reader, site: str, chime: str) -> tuple[dict[str, Measured], dict[str, Measured]]:
    """What the newest survey measured, and the one that the commissioning record counts from."""
    return _now_and_then(reader, site, chime, reader.latest_quantities(site, chime))


def _now_and_then(
    reader: Reader, site: str, chime: str, latest: Sequence[QuantityPoint]
) -> tuple[dict[str, Measured], dict[str, Measured]]:
    now = {one.name: one.measured for one in latest}
    if not now:
        return {}, {}
    then: dict[str, Measured] = {}
    for record in reader.commissionings(site, chime)[:1]:
        for name in now:
            earlier = reader.quantities(site, chime, name, record.start_s - SURVEY_S, record.end_s + SURVEY_S)
            if earlier:
                then[name] = earlier[-1].measured
    return now, then


def _seen(
    house: House,
    chime: model.Chime,
    reader: Reader,
    past: PastDays,
    now: Mapping[str, Measured],
    then: Mapping[str, Measured],
    newest_s: float,
) -> Seen | None:
    """With some surveys between the commissioning record and the newest."""
    site, name = house.site.site, chime.chime
    start_s = next((one.end_s + SURVEY_S for one in reader.commissionings(site, name)), chime.first_heard_s)
    track = past.track(site, name, start_s, newest_s, house.now_s)
    return seen_in_plane(now, then, track, outlooks.sheet_of(reader, site, name))


def _finding(
    house: House, held: Held, now: Mapping[str, Measured], then: Mapping[str, Measured], seen: Seen | None
) -> supply_contexts.Finding:
    found = held.finding
    return told(
        found,
        held.id,
        door=_door(house, held.chime, found.door),
        since=_day(house, held.raised_s if found.since_s is None else found.since_s),
        standing=say("confirmed") if held.state is State.CONFIRMED else say("found once"),
        now=now,
        then=then,
        seen=seen,
    )


def told(
    found: Finding,
    number: int,
    door: str,
    since: str,
    standing: str,
    now: Mapping[str, Measured],
    then: Mapping[str, Measured],
    seen: Seen | None,
) -> supply_contexts.Finding:
    """A finding with all that is known about it. `door`: its name, empty where it is of none. `now`, `then`: what was measured, and
    `seen` where that lies."""
    advice = ADVICE[found.name]
    if seen and not any(line.quantity in ABOUT for line in found.evidence):
        seen = None
    return supply_contexts.Finding(
        name=found.name,
        number=number,
        title=_set(words.sentence(resaid(advice.title)).rstrip(".")),
        door=door,
        likelihood=likely(found.likelihood),
        since=since,
        standing=standing,
        meaning=_set(resaid(advice.meaning)),
        evidence=_evidence(found.evidence),
        departures=departures.draw(found.evidence, now, then),
        plane=plane.draw(seen) if seen else None,
        plane_told=plane_words.told(seen) if seen else "",
        plane_table=plane_words.table(seen) if seen else None,
        rivals=_rivals(advice, found.also_possible),
        checks=[_check(one) for one in advice.checks],
        caution=_set(resaid(advice.caution)),
    )


def _evidence(lines: Sequence[EvidenceLine]) -> contexts.Table:
    rows = [
        contexts.Row(
            (
                quantities.name_of(line.quantity),
                quantities.figure(line.quantity, line.value),
                quantities.between(line.quantity, line.low, line.high),
                quantities.figure(line.quantity, line.expected),
                quantities.compared(line.value, line.expected),
            )
        )
        for line in lines
    ]
    return contexts.Table(
        say("What the evidence shows"),
        (say("Quantity"), say("Measured"), say("Nine in ten"), say("Expected"), say("In words")),
        rows,
    )


def _rivals(advice: Advice, also_possible: Sequence[str]) -> list[str]:
    """Those that this examination could not exclude first, then what always looks alike."""
    told = sorted(advice.apart, key=lambda one: one.finding not in also_possible)
    named = {one.finding for one in told}
    others = [resaid(ADVICE[name].title) for name in also_possible if name not in named]
    return [
        _set(one) for one in (*others, *(f"{words.sentence(resaid(one.what))} {resaid(one.check)}" for one in told))
    ]


def _check(check: Check) -> supply_contexts.Check:
    effort = words.sentence(f"{words.counted(check.minutes, 'minute')}, {say(WHO[check.who])}").rstrip(".")
    return supply_contexts.Check(effort, min(LONGEST, LENGTH * check.minutes), _set(resaid(check.text)))


def _set(text: str) -> str:
    """With the apostrophe of print."""
    return text.replace("'", "’")


def _door(house: House, chime: str, door: str | None) -> str:
    if door is None:
        return ""
    return next((one.name for one in house.doors if (one.chime, one.door) == (chime, door)), door)


def _day(house: House, time_s: float) -> str:
    """As today, yesterday, 2 September, or 2 September 2025."""
    day = words.local(time_s, house.zone).date()
    days = (house.today - day).days
    if days in (0, 1):
        return say("yesterday") if days else say("today")
    return words.day_and_month(day) + (f" {day.year}" if day.year != house.today.year else "")
