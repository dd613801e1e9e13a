"""An alarm lives as ISA-18.2-2016 and IEC 62682 say, with a name for each state, and every transition says who, when and why.

The transition list is from a secondary page that quotes the standards (their clause 5, alarm state transition diagram).
"""

from dataclasses import replace

import pytest

from service.alarms.alarm import LONGEST_SHELVING_S, Alarm, Transition, turn
from service.alarms.life import Event, State, Told
from service.errors import Refused

S, E = State, Event
NOON = 1_789_380_000.0


def stands(state: State, active: bool = False) -> Alarm:
    until = NOON + 60.0 if state is S.SHELVED else None
    return Alarm("rail-low", state, is_active=active, shelved_until_s=until)


def after(alarm: Alarm, event: Event, latching: bool = False) -> Alarm:
    until_s = NOON + 3600.0 if event is E.SHELVE else None
    return turn(alarm, event, NOON, "Ada", "the roof is being mended", latching, until_s).alarm


STANDARD = [
    # before, whether the condition is present, event, after
    (S.NORMAL, False, E.COMES, S.UNACKNOWLEDGED),
    (S.UNACKNOWLEDGED, True, E.ACKNOWLEDGE, S.ACKNOWLEDGED),
    (S.UNACKNOWLEDGED, True, E.GOES, S.RETURNED),
    (S.ACKNOWLEDGED, True, E.GOES, S.NORMAL),
    (S.ACKNOWLEDGED, True, E.WORSENS, S.UNACKNOWLEDGED),
    (S.RETURNED, False, E.ACKNOWLEDGE, S.NORMAL),
    (S.RETURNED, False, E.COMES, S.UNACKNOWLEDGED),
    (S.SHELVED, False, E.UNSHELVE, S.NORMAL),
    (S.SHELVED, True, E.UNSHELVE, S.UNACKNOWLEDGED),
    (S.SUPPRESSED, False, E.UNSUPPRESS, S.NORMAL),
    (S.SUPPRESSED, True, E.UNSUPPRESS, S.UNACKNOWLEDGED),
    (S.OUT_OF_SERVICE, False, E.PUT_BACK, S.NORMAL),
    (S.OUT_OF_SERVICE, True, E.PUT_BACK, S.UNACKNOWLEDGED),
    # "re-alarm time makes a still-active one unacknowledged again" (OPC 10000-9)
    (S.ACKNOWLEDGED, True, E.REALARM, S.UNACKNOWLEDGED),
]


@pytest.mark.parametrize(("before", "active", "event", "expected"), STANDARD)
def test_the_transitions_of_the_standard(before: State, active: bool, event: Event, expected: State) -> None:
    assert after(stands(before, active), event).state is expected


@pytest.mark.parametrize("state", [state for state in State if state is not S.OUT_OF_SERVICE])
def test_any_alarm_can_be_shelved_but_one_that_is_out_of_service(state: State) -> None:
    assert after(stands(state), E.SHELVE).state is S.SHELVED
    with pytest.raises(Refused, match="out of service"):
        after(stands(S.OUT_OF_SERVICE), E.SHELVE)


def test_latching_is_an_option() -> None:
    """Unacknowledged + acknowledge after clearing -> latched, + reset -> normal."""
    alarm = stands(S.UNACKNOWLEDGED, active=True)
    for event, expected in (
        (E.GOES, S.LATCHED_UNACKNOWLEDGED),
        (E.ACKNOWLEDGE, S.LATCHED),
        (E.RESET, S.NORMAL),
    ):
        alarm = after(alarm, event, latching=True)
        assert alarm.state is expected
    assert after(stands(S.ACKNOWLEDGED, active=True), E.GOES, latching=True).state is S.LATCHED
    assert after(stands(S.LATCHED), E.COMES, latching=True).state is S.UNACKNOWLEDGED


def test_people_are_called_when_it_becomes_unacknowledged_and_at_no_other_time() -> None:
    for before in State:
        for event in (E.COMES, E.GOES, E.WORSENS, E.REALARM):
            transition = turn(stands(before, active=True), event, NOON, "rule").transition
            called = transition is not None and transition.told is Told.ANNUNCIATED
            assert called == (transition is not None and transition.after is S.UNACKNOWLEDGED), (before, event)


def test_a_transition_says_who_when_and_why() -> None:
    shelved = turn(stands(S.UNACKNOWLEDGED, True), E.SHELVE, NOON, "Ada", "painter at the door", until_s=NOON + 7200.0)
    assert shelved.transition == Transition(
        rule="rail-low",
        at_s=NOON,
        before=S.UNACKNOWLEDGED,
        after=S.SHELVED,
        event=E.SHELVE,
        told=Told.STATED,
        who="Ada",
        why="painter at the door",
        until_s=NOON + 7200.0,
    )
    assert shelved.alarm.since_s == NOON
    assert shelved.alarm.shelved_until_s == NOON + 7200.0


@pytest.mark.parametrize(
    ("why", "until_s"),
    [
        ("", NOON + 60.0),
        ("  ", NOON + 60.0),
        ("paint", None),
        ("paint", NOON),
        ("paint", NOON + LONGEST_SHELVING_S + 1.0),
    ],
)
def test_shelving_has_a_reason_and_an_end(why: str, until_s: float | None) -> None:
    with pytest.raises(Refused):
        turn(stands(S.UNACKNOWLEDGED), E.SHELVE, NOON, "Ada", why, until_s=until_s)


def test_what_goes_on_while_it_is_shelved_is_followed_and_told_to_nobody() -> None:
    shelved = after(stands(S.UNACKNOWLEDGED, True), E.SHELVE)
    gone = turn(shelved, E.GOES, NOON + 1.0, "rule")
    assert (gone.transition, gone.alarm.is_active) == (None, False)
    assert turn(gone.alarm, E.UNSHELVE, NOON + 2.0, "time").alarm.state is S.NORMAL


def test_shelving_that_ends_while_a_suppressor_is_present_leads_to_suppression() -> None:
    shelved = after(replace(stands(S.SHELVED, True)), E.SUPPRESS)
    assert shelved.state is S.SHELVED
    suppressed = turn(shelved, E.UNSHELVE, NOON + 2.0, "time")
    assert suppressed.alarm.state is S.SUPPRESSED
    assert suppressed.alarm.shelved_until_s is None
    back = turn(suppressed.alarm, E.UNSUPPRESS, NOON + 3.0, "suppression")
    assert back.transition is not None
    assert back.transition.told is Told.ANNUNCIATED
