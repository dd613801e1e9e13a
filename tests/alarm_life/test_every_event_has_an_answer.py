"""Every event in every state has its place in the table or is refused in words; none leads astray, and the drawing shows them all."""

import re
from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from service.alarms.alarm import Alarm, turn
from service.alarms.diagram import SPEAKING, diagram
from service.alarms.life import BY_PEOPLE, LIFE, Event, Given, State, Told
from service.errors import Refused

WAYS = [
    (state, event, way)
    for state, cells in LIFE.items()
    for event, cell in cells.items()
    if not isinstance(cell, str)
    for way in cell
]


def test_the_table_has_no_gap() -> None:
    assert {(state, event) for state, cells in LIFE.items() for event in cells} == set(product(State, Event))


def test_only_people_are_refused_and_in_a_sentence() -> None:
    refusals = {(event, cell) for cells in LIFE.values() for event, cell in cells.items() if isinstance(cell, str)}
    assert {event for event, _ in refusals} == BY_PEOPLE
    assert all(re.fullmatch(r"[A-Z].+\.", sentence) for _, sentence in refusals)


def test_every_way_can_be_taken() -> None:
    """One that always holds ends the list, or those after it never came to pass."""
    for cells in LIFE.values():
        for cell in cells.values():
            if not isinstance(cell, str):
                assert Given.ALWAYS not in [way.given for way in cell[:-1]]


def test_every_state_can_be_reached_and_normal_from_every_state() -> None:
    steps = {(before, way.after) for before, _, way in WAYS}
    forwards, backwards = {State.NORMAL}, {State.NORMAL}
    for _ in State:
        forwards |= {after for before, after in steps if before in forwards}
        backwards |= {before for before, after in steps if after in backwards}
    assert forwards == set(State)
    assert backwards == set(State)


def test_the_drawing_shows_each_transition_of_the_table_and_no_other() -> None:
    names = {state.name.lower(): state for state in State}
    drawn = set()
    for before, after, label in re.findall(r"^ *(\w+) --> (\w+): (.+)$", diagram(), re.MULTILINE):
        for words in label.split(" / "):
            event, _, condition = words.partition(" [")
            for state in SPEAKING if before == "may_speak" else (names[before],):
                drawn.add((state, Event(event), names[after], Given(condition.rstrip("]") or "always")))
    assert drawn == {(before, event, way.after, way.given) for before, event, way in WAYS}
    assert all(f'"{state}" as {name}' in diagram() for name, state in names.items())


@settings(max_examples=1000, deadline=None)
@given(st.lists(st.binary(min_size=1, max_size=40), min_size=10, max_size=10), st.booleans())
def test_no_sequence_of_events_leaves_the_table(sequences: list[bytes], latching: bool) -> None:
    """10,000 of them; each byte is an event and the seconds before it."""
    for sequence in sequences:
        live_through(sequence, latching)


def live_through(sequence: bytes, latching: bool) -> None:
    alarm, at_s = Alarm("front-held"), 0.0
    for byte in sequence:
        wait_s, number = divmod(byte, len(Event))
        event = list(Event)[number]
        at_s += 1.0 + wait_s
        until_s = at_s + 50.0 if event is Event.SHELVE else None
        try:
            turned = turn(alarm, event, at_s, "someone", "because", latching, until_s)
        except Refused:
            assert event in BY_PEOPLE
            continue
        ways = [way for before, what, way in WAYS if (before, what) == (alarm.state, event)]
        if turned.transition is None:
            assert turned.alarm.state is alarm.state
        else:
            assert (turned.transition.before, turned.transition.after) == (alarm.state, turned.alarm.state)
            assert turned.transition.after in {way.after for way in ways}
            assert (turned.transition.told is Told.ANNUNCIATED) == (turned.alarm.annunciated_s == at_s)
        alarm = turned.alarm
        assert (alarm.state is State.SHELVED) == (alarm.shelved_until_s is not None)
        # where it speaks, its state agrees with the condition
        if alarm.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED):
            assert alarm.is_active
        elif alarm.state in SPEAKING:
            assert not alarm.is_active
