"""The sheet of alarms: what calls for somebody now, what has called within thirty days, and the rules. Knows no HTTP."""

from collections.abc import Sequence

from markupsafe import Markup

from dashboard import alarm_contexts, svg, words
from dashboard.doorstep import head
from dashboard.house import House
from dashboard.language import marked, resaid, say
from service.alarm_ports import KeptRule
from service.alarms.life import BY_PEOPLE, LIFE, Event, State
from service.alarms.rules import Priority
from service.alarms.standing import AS_KNOWN
from service.alarms.trial import Spoken, spoken_in
from service.ports import Reader

DAY_S = 86_400.0
DAYS = 30
LISTED = 40
"""Annunciations on the sheet, the newest; the API has all."""

CALLS = (State.UNACKNOWLEDGED, State.RETURNED, State.LATCHED_UNACKNOWLEDGED)
"""States in which somebody is called."""

BACK = {
    State.SHELVED: (Event.UNSHELVE, marked("End the shelving")),
    State.OUT_OF_SERVICE: (Event.PUT_BACK, marked("Put it back into service")),
    State.LATCHED: (Event.RESET, marked("Reset it")),
}

WEIGHTS = {
    Priority.CRITICAL: marked("Cannot wait"),
    Priority.HIGH: marked("Soon"),
    Priority.MEDIUM: marked("Within days"),
    Priority.LOW: marked("When there is time"),
}

DONE = {
    "acknowledged": marked("It is acknowledged, and stays on the sheet until it is over."),
    "shelved": marked("It is shelved until then."),
    "out": marked("It is out of service until somebody puts it back."),
    "back": marked("It is in service."),
    "off": marked("The rule is switched off."),
    "on": marked("The rule is switched on."),
    "changed": marked("The rule has these values from now on."),
    "ready": marked("The rule is as the ready set has it."),
}


def make(reader: Reader, house: House, by: str, said: alarm_contexts.Said) -> alarm_contexts.Alarms:
    kept = [(chime.chime, one) for chime in house.chimes for one in reader.alarm_rules(house.site.site, chime.chime)]
    titles = {(chime, one.rule.id): resaid(one.rule.cause).rstrip(".") for chime, one in kept}
    now = [_standing(house, chime, one) for chime, one in kept if _is_up(one)]
    calling = [one for _, one in kept if one.standing is not None and not one.off and one.standing.alarm.state in CALLS]
    spoken = _spoken(reader, house)
    return alarm_contexts.Alarms(
        head=head(house, say("Alarms"), "alarms"),
        at=words.clock(house.now_s, house.zone),
        date=words.day_and_month(house.today),
        headline=_headline(calling),
        lead=_lead(kept, len(spoken)),
        now=now,
        spoken=[_row(house, titles, chime, one) for chime, one in reversed(spoken[-LISTED:])],
        earliest=words.day_and_month(words.local(house.now_s - DAYS * DAY_S, house.zone).date()),
        left_out=say("The {listed} newest of {spoken}.", listed=LISTED, spoken=len(spoken))
        if len(spoken) > LISTED
        else "",
        rules=[_rule(chime, one, len(house.chimes) > 1) for chime, one in kept],
        performance=_performance(spoken),
        by=by,
        said=said,
    )


def _is_up(one: KeptRule) -> bool:
    return one.standing is not None and not one.off and one.standing.alarm.state not in (State.NORMAL, State.SUPPRESSED)


def _headline(calling: Sequence[KeptRule]) -> str:
    if not calling:
        return say("Nothing calls for anybody.")
    if len(calling) == 1:
        return say("One alarm calls. {cause}", cause=resaid(calling[0].rule.cause))
    return say("{alarms} call.", alarms=words.sentence(words.counted(len(calling), "alarm")).rstrip("."))


def _lead(kept: Sequence[tuple[str, KeptRule]], spoken: int) -> str:
    on = sum(not one.off for _, one in kept)
    if not kept:
        return say(
            "There are no rules yet. They are made when a chime is claimed, from its doors and its fit-out sheet."
        )
    told = say("has not called anybody") if not spoken else say("has called {times}", times=words.times(spoken))
    return say(
        "{rules} watch the house, which in thirty days {told}.",
        rules=words.sentence(words.counted(on, "rule")).rstrip("."),
        told=told,
    )


def _standing(house: House, chime: str, one: KeptRule) -> alarm_contexts.Standing:
    assert one.standing is not None
    alarm = one.standing.alarm
    since = "" if alarm.since_s is None else say(", since {moment}", moment=stamp(house, alarm.since_s))
    until = "" if alarm.shelved_until_s is None else say(", until {moment}", moment=stamp(house, alarm.shelved_until_s))
    over = "" if alarm.is_active else say(" It is over.")
    event, back = BACK.get(alarm.state, (None, ""))
    return alarm_contexts.Standing(
        chime,
        one.rule.id,
        resaid(one.rule.cause),
        f"{words.sentence(resaid(alarm.state.value)).rstrip('.')}{since}{until}. {say(WEIGHTS[one.rule.priority])}.{over}",
        resaid(one.rule.consequence),
        resaid(one.rule.action),
        _may(alarm.state, Event.ACKNOWLEDGE),
        _may(alarm.state, Event.SHELVE),
        say(back),
        event.name.lower() if event else "",
    )


def _may(state: State, event: Event) -> bool:
    assert event in BY_PEOPLE
    return not isinstance(LIFE[state][event], str)


def _spoken(reader: Reader, house: House) -> list[tuple[str, Spoken]]:
    """With their chime, oldest first."""
    found: list[tuple[str, Spoken]] = []
    for chime in house.chimes:
        went = reader.alarm_transitions(house.site.site, chime.chime, house.now_s - DAYS * DAY_S, house.now_s + 1.0)
        found += [(chime.chime, one) for one in spoken_in(one for _, one in went)]
    return sorted(found, key=lambda one: one[1].at_s)


def _row(house: House, titles: dict[tuple[str, str], str], chime: str, one: Spoken) -> alarm_contexts.Spoken:
    over = (
        say("It lasts")
        if one.gone_s is None
        else say("It lasted {duration}", duration=words.duration(max(one.gone_s - one.at_s, 1.0)))
    )
    known = (
        "" if one.acknowledged_s is None else say(" Acknowledged {moment}.", moment=moment(house, one.acknowledged_s))
    )
    why = f" {words.sentence(resaid(one.why)).rstrip('.')}." if one.why and one.why != AS_KNOWN else ""
    return alarm_contexts.Spoken(
        stamp(house, one.at_s),
        titles.get((chime, one.rule), one.rule),
        f"{over}.{known}{why}",
        bar(house, one),
    )


def bar(house: House, one: Spoken) -> Markup:
    """From when it called until it was over, on the line of thirty days."""
    begin_s = house.now_s - DAYS * DAY_S

    def place(at_s: float) -> float:
        return min(max((at_s - begin_s) / (DAYS * DAY_S), 0.0), 1.0)

    start, end = place(one.at_s), place(house.now_s if one.gone_s is None else one.gone_s)
    end = max(end, start + 0.004)  # what was short is seen all the same
    return svg.drawing(
        0.9, svg.line_across(0.0, 1.0, 0.45, "wire"), svg.line_across(start, end, 0.45, "held"), class_="lasting"
    )


def _rule(chime: str, one: KeptRule, named: bool) -> alarm_contexts.Rule:
    of = say("Chime {chime}. ", chime=chime) if named else ""
    whose = say("Of the ready set.") if one.ready is not None else say("Somebody’s own.")
    changed = (
        say(" Changed by {changed_by}.", changed_by=words.person(one.changed_by))
        if one.changed_by and one.ready is not None
        else ""
    )
    off = say(" Off: {off}", off=resaid(one.off)) if one.off else ""
    return alarm_contexts.Rule(
        chime,
        one.rule.id,
        resaid(one.rule.cause),
        f"{of}{say(WEIGHTS[one.rule.priority])}. {whose}{changed}{off}",
        not one.off,
    )


def _performance(spoken: Sequence[tuple[str, Spoken]]) -> str:
    """Which rule calls most, where that is often enough to say; the whole account is the API's."""
    if not spoken:
        return ""
    times: dict[str, int] = {}
    for _, one in spoken:
        times[one.rule] = times.get(one.rule, 0) + 1
    rule, most = max(times.items(), key=lambda one: one[1])
    if most < 3:
        return ""
    return say(
        "The rule {rule} called {times}, most of all. Its limit or its delays may want another value.",
        rule=rule,
        times=words.times(most),
    )


def moment(house: House, at_s: float) -> str:
    return words.moment(at_s, house.now_s, house.zone)


def stamp(house: House, at_s: float) -> str:
    return words.stamp(at_s, house.now_s, house.zone)
