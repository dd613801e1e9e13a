"""The answer on top of the Doorstep, and what qualifies it, in sentences: who rang, and what the record cannot know of that time."""

from math import ceil

from dashboard import blind_words, words
from dashboard.house import House
from dashboard.words import other_time
from service import model
from service.callers import Stretch, WhileAway

GAPS_NAMED = 2
"""More gaps than these are counted, not named."""


def qualified(visits: int, doubtful: int, unseen: int) -> list[str]:
    """What else may have been a caller."""
    said = []
    if doubtful:
        more = "more " if visits else ""
        said.append(words.counted(doubtful, f"{more}press is doubtful", f"{more}presses are doubtful"))
    if unseen:
        said.append(f"{words.times(unseen)} the chime sounded with no press seen")
    return [", and ".join(said)] if said else []


def since_look(house: House, fact: WhileAway, looked_s: float | None) -> tuple[str, str]:
    """Headline and lead: since this person last looked, or of today where they never did."""
    visits = len(fact.visits)
    headline = f"{words.counted(visits, 'visit')} {'today' if looked_s is None else 'since you last looked'}"
    said = qualified(visits, _doubtful(fact), len(signs(fact)))
    begun_s = max(fact.start_s, house.first_heard_s if house.first_heard_s is not None else house.now_s, house.start_s)
    spells = [
        (max(spell.start_s, begun_s), spell.end_s if spell.end_s is not None else house.now_s)
        for spell in house.blind
        if (spell.end_s if spell.end_s is not None else house.now_s) > begun_s
    ]
    blind_s = house.unwatched(begun_s, house.now_s, blind_only=True)
    if len(spells) == 1 and not house.store_trouble and words.local(spells[0][0], house.zone).date() == house.today:
        when = words.span(*spells[0], house.zone)
        said.append(f"from {when} nothing could be recorded, so a caller then would have left no mark")
    elif blind_s >= 1.0:
        said.append(f"for {words.duration(blind_s)} nothing could be recorded")
    silent = house.silent()
    if silent:
        last_s = min(chime.last_heard_s for chime in silent)
        who = "The chime" if len(house.chimes) == 1 else f"The {silent[0].chime} chime"
        said.append(
            f"{who} was last heard from {words.moment(last_s, house.now_s, house.zone)}, "
            f"{words.duration(house.now_s - last_s)} ago. What it saw since then may yet arrive, or may be lost"
        )
    elif blind_s < 1.0 and not house.store_trouble:
        said.append("no blind time")
    return words.sentence(headline), " ".join(words.sentence(part) for part in said)


def while_away(house: House, fact: WhileAway) -> tuple[str, str]:
    """One sentence, and what qualifies it: of an absence, or of a stretch that was asked for."""
    when = "while you were away" if fact.chosen == "by calendar" else "in that time"
    said = [_stretch(house, fact)]
    said += qualified(len(fact.visits), _doubtful(fact), len(signs(fact)))
    reasons = blind_words.reasons(house, fact.blind.spells, max(fact.start_s, fact.blind.first_s), fact.end_s)
    if reasons:
        blind_s = sum(end_s - start_s for start_s, end_s in fact.blind.gaps_s)
        share = words.one_in(fact.blind.share(fact.start_s, fact.end_s) or 0.0)
        why = words.listed([reason for _, reason in reasons])
        said.append(f"for {words.duration(blind_s)}, {share}, nothing could be recorded, because {why}")
    return summary(house, fact, when), " ".join(words.sentence(part) for part in said)


def summary(house: House, fact: WhileAway, when: str) -> str:
    """In one sentence, as `Three visits while you were away; the record is complete but for 14.02 to 14.31.`"""
    nobody = "nobody rang" if fact.complete else "nobody is known to have rung"
    who = words.counted(len(fact.visits), "visit") if fact.visits else nobody
    return words.sentence("; ".join((f"{who} {when}".strip(), _record(house, fact))))


def _record(house: House, fact: WhileAway) -> str:
    gaps, share, zone = fact.blind.gaps_s, fact.blind.share(fact.start_s, fact.end_s), house.zone
    since = words.moment(fact.blind.first_s, fact.now_s, zone)
    if share is None:
        return f"the record begins only {since}"
    begins = f", and begins only {since}" if fact.begins_late else ""
    if share >= 1.0 - 1e-9:
        return f"nothing could be recorded in all that time{begins}"
    state = "has no gap" if signs(fact) or fact.begins_late else "is complete"
    if not gaps:
        return f"the record {state}{begins}"
    if len(gaps) > GAPS_NAMED:
        total_s = sum(end_s - start_s for start_s, end_s in gaps)
        named = f"{words.duration(total_s)} in {words.counted(len(gaps), 'stretch', 'stretches')}"
    else:
        named = words.listed([_gap(house, fact, gap) for gap in gaps])
    return f"the record {state} but for {named}{begins}"


def _gap(house: House, fact: WhileAway, gap: Stretch) -> str:
    start_s, end_s = (
        gap[0],
        gap[1] if gap[1] >= fact.now_s else 60.0 * ceil(gap[1] / 60.0),
    )  # what is told covers it all
    begun = words.moment(start_s, fact.now_s, house.zone).removeprefix("at ")
    if end_s >= fact.now_s:
        return f"the time since {begun}"
    if gap[1] - start_s < 60.0:
        return f"{words.duration(gap[1] - start_s)} at {begun}"
    same = words.local(start_s, house.zone).date() == words.local(end_s, house.zone).date()
    if same and begun == words.clock(start_s, house.zone):
        return f"{begun} to {words.clock(end_s, house.zone)}"
    if same:
        day = begun.removeprefix(words.clock(start_s, house.zone))
        return f"{words.span(start_s, end_s, house.zone)}{day}"
    return f"{begun} to {other_time(end_s, start_s, house.zone)}"


def _stretch(house: House, fact: WhileAway) -> str:
    """Which stretch is meant, with what says so."""
    whose = ", by your calendar" if fact.chosen == "by calendar" else ""
    midnights = {words.local(moment_s, house.zone).strftime("%H.%M.%S") for moment_s in (fact.start_s, fact.end_s)}
    if midnights == {"00.00.00"}:
        return f"{words.days(fact.start_s, fact.end_s, fact.now_s, house.zone)}{whose}"
    begun = words.moment(fact.start_s, fact.now_s, house.zone).removeprefix("at ")
    if fact.end_s >= fact.now_s:
        return f"from {begun} until now{whose}"
    ended = words.moment(fact.end_s, fact.now_s, house.zone).removeprefix("at ")
    same = words.local(fact.start_s, house.zone).date() == words.local(fact.end_s, house.zone).date()
    if same:
        begun = words.clock(fact.start_s, house.zone)
    return f"from {begun} to {ended}{whose}"


def signs(fact: WhileAway) -> list[model.Unseen]:
    """Unseen presses, but for those that only say that packs are missing: the blind time says as well."""
    return [one for one in fact.unseen if not set(one.why) <= {"packs missing", "records dropped"}]


def _doubtful(fact: WhileAway) -> int:
    return sum(press.doubtful for visit in (*fact.visits, *fact.doubtful) for press in visit.presses)
