"""The sheet of alarms: what calls for somebody now, what has called within thirty days, and the rules. Knows no HTTP."""

from collections.abc import Sequence

from markupsafe import Markup

from dashboard import alarm_contexts, svg, words
from dashboard.doorstep import head
from dashboard.house import House
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
    State.SHELVED: (Event.UNSHELVE, "End the shelving"),
    State.OUT_OF_SERVICE: (Event.PUT_BACK, "Put it back into service"),
    State.LATCHED: (Event.RESET, "Reset it"),
}

WEIGHTS = {
    Priority.CRITICAL: "Cannot wait",
    Priority.HIGH: "Soon",
    Priority.MEDIUM: "Within days",
    Priority.LOW: "When there is time",
}

DONE = {
    "acknowledged": "It is acknowledged, and stays on the sheet until it is over.",
    "shelved": "It is shelved until then.",
    "out": "It is out of service until somebody puts it back.",
    "back": "It is in service.",
    "off": "The rule is switched off.",
    "on": "The rule is switched on.",
    "changed": "The rule has these values from now on.",
    "ready": "The rule is as the ready set has it.",
}


def make(reader: Reader, house: House, by: str, said: alarm_contexts.Said) -> alarm_contexts.Alarms:
    kept = [(chime.chime, one) for chime in house.chimes for one in reader.alarm_rules(house.site.site, chime.chime)]
    titles = {(chime, one.rule.id): one.rule.cause.rstrip(".") for chime, one in kept}
    now = [_standing(house, chime, one) for chime, one in kept if _is_up(one)]
    calling = [one for _, one in kept if one.standing is not None and not one.off and one.standing.alarm.state in CALLS]
    spoken = _spoken(reader, house)
    return alarm_contexts.Alarms(
        head=head(house, "Alarms", "alarms"),
        at=words.clock(house.now_s, house.zone),
        date=words.day_and_month(house.today),
        headline=_headline(calling),
        lead=_lead(kept, len(spoken)),
        now=now,
        spoken=[_row(house, titles, chime, one) for chime, one in reversed(spoken[-LISTED:])],
        earliest=words.day_and_month(words.local(house.now_s - DAYS * DAY_S, house.zone).date()),
        left_out=f"The {LISTED} newest of {len(spoken)}." if len(spoken) > LISTED else "",
        rules=[_rule(chime, one, len(house.chimes) > 1) for chime, one in kept],
        performance=_performance(spoken),
        by=by,
        said=said,
    )


def _is_up(one: KeptRule) -> bool:
    return one.standing is not None and not one.off and one.standing.alarm.state not in (State.NORMAL, State.SUPPRESSED)


def _headline(calling: Sequence[KeptRule]) -> str:
    if not calling:
        return "Nothing calls for anybody."
    if len(calling) == 1:
        return f"One alarm calls. {calling[0].rule.cause}"
    return f"{words.sentence(words.counted(len(calling), 'alarm')).rstrip('.')} call."


def _lead(kept: Sequence[tuple[str, KeptRule]], spoken: int) -> str:
    on = sum(not one.off for _, one in kept)
    if not kept:
        return "There are no rules yet. They are made when a chime is claimed, from its doors and its fit-out sheet."
    told = "has not called anybody" if not spoken else f"has called {words.times(spoken)}"
    return f"{words.sentence(words.counted(on, 'rule')).rstrip('.')} watch the house, which in thirty days {told}."


def _standing(house: House, chime: str, one: KeptRule) -> alarm_contexts.Standing:
    assert one.standing is not None
    alarm = one.standing.alarm
    since = "" if alarm.since_s is None else f", since {moment(house, alarm.since_s)}"
    until = "" if alarm.shelved_until_s is None else f", until {moment(house, alarm.shelved_until_s)}"
    over = "" if alarm.is_active else " It is over."
    event, back = BACK.get(alarm.state, (None, ""))
    return alarm_contexts.Standing(
        chime,
        one.rule.id,
        one.rule.cause,
        f"{words.sentence(alarm.state.value).rstrip('.')}{since}{until}. {WEIGHTS[one.rule.priority]}.{over}",
        one.rule.consequence,
        one.rule.action,
        _may(alarm.state, Event.ACKNOWLEDGE),
        _may(alarm.state, Event.SHELVE),
        back,
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
    over = "It lasts" if one.gone_s is None else f"It lasted {words.duration(max(one.gone_s - one.at_s, 1.0))}"
    known = "" if one.acknowledged_s is None else f" Acknowledged {moment(house, one.acknowledged_s)}."
    why = f" {words.sentence(one.why).rstrip('.')}." if one.why and one.why != AS_KNOWN else ""
    return alarm_contexts.Spoken(
        moment(house, one.at_s).removeprefix("at "),
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
    of = f"Chime {chime}. " if named else ""
    whose = "Of the ready set." if one.ready is not None else "Somebody’s own."
    changed = f" Changed by {one.changed_by}." if one.changed_by and one.ready is not None else ""
    off = f" Off: {one.off}" if one.off else ""
    return alarm_contexts.Rule(
        chime, one.rule.id, one.rule.cause, f"{of}{WEIGHTS[one.rule.priority]}. {whose}{changed}{off}", not one.off
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
    return f"The rule {rule} called {words.times(most)}, most of all. Its limit or its delays may want another value."


def moment(house: House, at_s: float) -> str:
    return words.moment(at_s, house.now_s, house.zone)
