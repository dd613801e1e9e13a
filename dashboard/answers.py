"""The answer on top of the Doorstep, and what qualifies it, in sentences: who rang, and what the record cannot know of that time."""

from math import ceil

from dashboard import blind_words, words
from dashboard.house import House
from dashboard.language import say
from dashboard.words import other_time
from service import model
from service.callers import Stretch, WhileAway

GAPS_NAMED = 2
"""More gaps than these are counted, not named."""


def qualified(visits: int, doubtful: int, unseen: int) -> list[str]:
    """What else may have been a caller."""
    said = []
    if doubtful:
        said.append(
            words.counted(doubtful, "more press is doubtful", "more presses are doubtful")
            if visits
            else words.counted(doubtful, "press is doubtful", "presses are doubtful")
        )
    if unseen:
        said.append(say("{times} the chime sounded with no press seen", times=words.times(unseen)))
    return [say(", and ").join(said)] if said else []


def since_look(house: House, fact: WhileAway, looked_s: float | None) -> tuple[str, str]:
    """Headline and lead: since this person last looked, or of today where they never did."""
    visits = len(fact.visits)
    counted = words.counted(visits, "visit")
    headline = (
        say("{visits} today", visits=counted)
        if looked_s is None
        else say("{visits} since you last looked", visits=counted)
    )
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
        said.append(say("from {when} nothing could be recorded, so a caller then would have left no mark", when=when))
    elif blind_s >= 1.0:
        said.append(say("for {duration} nothing could be recorded", duration=words.duration(blind_s)))
    silent = house.silent()
    if silent:
        last_s = min(chime.last_heard_s for chime in silent)
        who = say("The chime") if len(house.chimes) == 1 else say("The {chime} chime", chime=silent[0].chime)
        said.append(
            say(
                "{who} was last heard from {moment}, {duration} ago. What it saw since then may yet arrive, or may "
                "be lost",
                who=who,
                moment=words.moment(last_s, house.now_s, house.zone),
                duration=words.duration(house.now_s - last_s),
            )
        )
    elif blind_s < 1.0 and not house.store_trouble:
        said.append(say("no blind time"))
    return words.sentence(headline), " ".join(words.sentence(part) for part in said)


def while_away(house: House, fact: WhileAway) -> tuple[str, str]:
    """One sentence, and what qualifies it: of an absence, or of a stretch that was asked for."""
    when = say("while you were away") if fact.chosen == "by calendar" else say("in that time")
    said = [_stretch(house, fact)]
    said += qualified(len(fact.visits), _doubtful(fact), len(signs(fact)))
    reasons = blind_words.reasons(house, fact.blind.spells, max(fact.start_s, fact.blind.first_s), fact.end_s)
    if reasons:
        blind_s = sum(end_s - start_s for start_s, end_s in fact.blind.gaps_s)
        share = words.one_in(fact.blind.share(fact.start_s, fact.end_s) or 0.0)
        why = words.listed([reason for _, reason in reasons])
        said.append(
            say(
                "for {duration}, {share}, nothing could be recorded, because {why}",
                duration=words.duration(blind_s),
                share=share,
                why=why,
            )
        )
    return summary(house, fact, when), " ".join(words.sentence(part) for part in said)


def summary(house: House, fact: WhileAway, when: str) -> str:
    """In one sentence, as `Three visits while you were away; the record is complete but for 14.02 to 14.31.`"""
    nobody = say("nobody rang") if fact.complete else say("nobody is known to have rung")
    who = words.counted(len(fact.visits), "visit") if fact.visits else nobody
    return words.sentence("; ".join((f"{who} {when}".strip(), _record(house, fact))))


def _record(house: House, fact: WhileAway) -> str:
    gaps, share, zone = fact.blind.gaps_s, fact.blind.share(fact.start_s, fact.end_s), house.zone
    since = words.moment(fact.blind.first_s, fact.now_s, zone)
    if share is None:
        return say("the record begins only {since}", since=since)
    begins = say(", and begins only {since}", since=since) if fact.begins_late else ""
    if share >= 1.0 - 1e-9:
        return say("nothing could be recorded in all that time{begins}", begins=begins)
    state = say("has no gap") if signs(fact) or fact.begins_late else say("is complete")
    if not gaps:
        return say("the record {state}{begins}", state=state, begins=begins)
    if len(gaps) > GAPS_NAMED:
        total_s = sum(end_s - start_s for start_s, end_s in gaps)
        stretches = words.counted(len(gaps), "stretch", "stretches")
        named = say("{duration} in {stretches}", duration=words.duration(total_s), stretches=stretches)
    else:
        named = words.listed([_gap(house, fact, gap) for gap in gaps])
    return say("the record {state} but for {named}{begins}", state=state, named=named, begins=begins)


def _gap(house: House, fact: WhileAway, gap: Stretch) -> str:
    start_s, end_s = (
        gap[0],
        gap[1] if gap[1] >= fact.now_s else 60.0 * ceil(gap[1] / 60.0),
    )  # what is told covers it all
    begun = words.stamp(start_s, fact.now_s, house.zone)
    if end_s >= fact.now_s:
        return say("the time since {begun}", begun=begun)
    if gap[1] - start_s < 60.0:
        return say("{duration} at {begun}", duration=words.duration(gap[1] - start_s), begun=begun)
    same = words.local(start_s, house.zone).date() == words.local(end_s, house.zone).date()
    if same and begun == words.clock(start_s, house.zone):
        return words.to(begun, words.clock(end_s, house.zone))
    if same:
        day = begun.removeprefix(words.clock(start_s, house.zone))
        return f"{words.span(start_s, end_s, house.zone)}{day}"
    return words.to(begun, other_time(end_s, start_s, house.zone))


def _stretch(house: House, fact: WhileAway) -> str:
    """Which stretch is meant, with what says so."""
    whose = say(", by your calendar") if fact.chosen == "by calendar" else ""
    midnights = {words.local(moment_s, house.zone).strftime("%H.%M.%S") for moment_s in (fact.start_s, fact.end_s)}
    if midnights == {"00.00.00"}:
        return f"{words.days(fact.start_s, fact.end_s, fact.now_s, house.zone)}{whose}"
    begun = words.stamp(fact.start_s, fact.now_s, house.zone)
    if fact.end_s >= fact.now_s:
        return say("from {begun} until now{whose}", begun=begun, whose=whose)
    ended = words.stamp(fact.end_s, fact.now_s, house.zone)
    same = words.local(fact.start_s, house.zone).date() == words.local(fact.end_s, house.zone).date()
    if same:
        begun = words.clock(fact.start_s, house.zone)
    return say("from {begun} to {ended}{whose}", begun=begun, ended=ended, whose=whose)


def signs(fact: WhileAway) -> list[model.Unseen]:
    """Unseen presses, but for those that only say that packs are missing: the blind time says as well."""
    return [one for one in fact.unseen if not set(one.why) <= {"packs missing", "records dropped"}]


def _doubtful(fact: WhileAway) -> int:
    return sum(press.doubtful for visit in (*fact.visits, *fact.doubtful) for press in visit.presses)
