"""One alarm, and what an event makes of it by the table of its life. Times are passed in, and so is whether the condition is present.

Knows no rule, no measurement, no store and no clock. Whoever calls keeps the transitions.
"""

from dataclasses import dataclass, replace

from service.alarms.life import LIFE, Event, Given, State, Told
from service.errors import Refused

WITH_REASON = frozenset((Event.SHELVE, Event.TAKE_OUT))
LONGEST_SHELVING_S = 30 * 86_400.0
"""Shelving is for a while (chosen: the span over which performance is looked at); what lasts is taken out of service."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """Where the alarm of one rule stands. `is_active`: the condition is present, whether or not anybody is told."""

    rule: str
    state: State = State.NORMAL
    is_active: bool = False
    is_suppressed: bool = False  # its suppressor is present
    since_s: float | None = None  # in this state
    annunciated_s: float | None = None  # last
    shelved_until_s: float | None = None


@dataclass(frozen=True, slots=True)
class Transition:
    """What is recorded: who or what, when, why. `until_s`: when shelving ends."""

    rule: str
    at_s: float
    before: State
    after: State
    event: Event
    told: Told
    who: str
    why: str
    until_s: float | None = None


@dataclass(frozen=True, slots=True)
class Turn:
    """What an event makes of an alarm; `transition` is None where there is nothing to record."""

    alarm: Alarm
    transition: Transition | None = None


def turn(
    alarm: Alarm,
    event: Event,
    at_s: float,
    who: str,
    why: str = "",
    latching: bool = False,
    until_s: float | None = None,
) -> Turn:
    """The alarm after an event at `at_s`. Raises Refused with a sentence, where the table or shelving's own rules say so."""
    cell = LIFE[alarm.state][event]
    if isinstance(cell, str):
        raise Refused(cell)
    if event in WITH_REASON and not why.strip():
        raise Refused(f"It can only be {event} with a reason.")
    if event is Event.SHELVE and (until_s is None or not 0.0 < until_s - at_s <= LONGEST_SHELVING_S):
        raise Refused(f"Shelving must end, within {LONGEST_SHELVING_S / 86_400.0:g} days.")
    seen = replace(
        alarm,
        is_active=_now(event, (Event.COMES, Event.WORSENS), Event.GOES, alarm.is_active),
        is_suppressed=_now(event, (Event.SUPPRESS,), Event.UNSUPPRESS, alarm.is_suppressed),
    )
    holds = {
        Given.ALWAYS: True,
        Given.LATCHING: latching,
        Given.ACTIVE: seen.is_active,
        Given.SUPPRESSED: seen.is_suppressed,
    }
    way = next((way for way in cell if holds[way.given]), None)
    if way is None:
        return Turn(seen)
    until_s = until_s if event is Event.SHELVE else None
    after = replace(
        seen,
        state=way.after,
        since_s=at_s if way.after is not alarm.state else alarm.since_s,
        annunciated_s=at_s if way.told is Told.ANNUNCIATED else alarm.annunciated_s,
        shelved_until_s=until_s,
    )
    return Turn(after, Transition(alarm.rule, at_s, alarm.state, way.after, event, way.told, who, why, until_s))


def _now(event: Event, begins: tuple[Event, ...], ends: Event, before: bool) -> bool:
    return event in begins or (before and event is not ends)
