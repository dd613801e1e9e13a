"""What rules say live, pack by pack, is what they say over the same history at once; suppression, delays and late news included."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.alarms.alarm import Transition
from service.alarms.facts import Facts, Pressed, Reading, Unseen
from service.alarms.life import Event, State, Told
from service.alarms.rules import BlindTime, HeldPress, NoPack, QuantityBeyond, QuietPress, Rule, Watch
from service.alarms.standing import CLOCK, PRECEDENCE, RULE, Standing, ask, begin, facts_from_s, follow
from service.errors import Refused

DAY_S = 86_400.0


def rule(watch: Watch, name: str = "one", **more: Any) -> Rule:
    return Rule(name, watch, "cause", "consequence", "action", **more)


def rail(*readings: tuple[float, float], to_s: float = 1000.0, **more: Any) -> Facts:
    return Facts(0.0, to_s, {"rail_min_v": [Reading(*one) for one in readings]}, **more)


def seen(transitions: list[Transition]) -> list[tuple[float, Event, State]]:
    return [(one.at_s, one.event, one.after) for one in transitions]


LOW = rule(QuantityBeyond("rail_min_v", "below", 10.0), on_delay_s=15.0, off_delay_s=60.0, deadband=0.2)


def test_a_condition_comes_and_goes_through_its_delays_at_the_exact_moment() -> None:
    facts = rail((0.0, 11.0), (100.0, 9.0), (110.0, 11.0), (200.0, 9.0), (300.0, 10.1), (400.0, 10.2), (430.0, 11.0))
    transitions = follow([LOW], {}, facts).transitions
    assert seen(transitions) == [
        (215.0, Event.COMES, State.UNACKNOWLEDGED),
        (460.0, Event.GOES, State.RETURNED),
    ]
    assert [one.why for one in transitions] == ["rail_min_v is 9 V, below 10", "rail_min_v is 11 V"]
    assert {one.who for one in transitions} == {RULE}


def test_it_says_when_to_look_again() -> None:
    assert follow([LOW], {}, rail((0.0, 9.0), to_s=5.0)).due_s == 15.0
    round_ = follow([LOW], {}, rail((0.0, 9.0), to_s=14.9))
    assert round_.transitions == []
    later = follow([LOW], round_.standings, rail((0.0, 9.0), to_s=15.0))
    assert seen(later.transitions) == [(15.0, Event.COMES, State.UNACKNOWLEDGED)]
    assert later.due_s is None
    assert follow([rule(NoPack(60.0))], {}, Facts(0.0, 20.0, packs_s=[10.0])).due_s == 70.0


def test_realarm_comes_again_until_the_condition_goes() -> None:
    often = rule(QuantityBeyond("rail_min_v", "below", 10.0), realarm_s=3600.0)
    facts = rail((0.0, 9.0), (9000.0, 11.0), to_s=20_000.0)
    transitions = follow([often], {}, facts).transitions
    assert seen(transitions) == [
        (0.0, Event.COMES, State.UNACKNOWLEDGED),
        (3600.0, Event.REALARM, State.UNACKNOWLEDGED),
        (7200.0, Event.REALARM, State.UNACKNOWLEDGED),
        (9000.0, Event.GOES, State.RETURNED),
    ]
    assert {one.who for one in transitions if one.event is Event.REALARM} == {CLOCK}


def test_what_comes_at_its_worst_is_told_once_and_what_worsens_again() -> None:
    two = rule(QuantityBeyond("rail_min_v", "below", 10.0, worse=9.0))
    assert seen(follow([two], {}, rail((0.0, 8.0))).transitions) == [(0.0, Event.COMES, State.UNACKNOWLEDGED)]
    at_first = follow([two], {}, rail((0.0, 9.5), to_s=5.0))
    acknowledged = ask(two, at_first.standings["one"], Event.ACKNOWLEDGE, 6.0, "Ada")
    assert acknowledged.standing.alarm.state is State.ACKNOWLEDGED
    worse = follow([two], {"one": acknowledged.standing}, rail((0.0, 9.5), (10.0, 8.5), to_s=20.0))
    assert seen(worse.transitions) == [(10.0, Event.WORSENS, State.UNACKNOWLEDGED)]


OUT = rule(BlindTime(600.0, longer_than_s=0.0, why="chime without power"), "power-out")
SUPPLY = rule(QuantityBeyond("rail_min_v", "below", 10.0), suppressed_by=("power-out",))


def test_supply_alarms_are_suppressed_while_the_mains_is_out() -> None:
    facts = rail((0.0, 11.0), (120.0, 5.0), (300.0, 11.0), unseen=[Unseen(100.0, 200.0, "chime without power")])
    transitions = [one for one in follow([SUPPLY, OUT], {}, facts).transitions if one.rule == "one"]
    assert seen(transitions) == [
        (100.0, Event.SUPPRESS, State.SUPPRESSED),
        (800.0, Event.UNSUPPRESS, State.NORMAL),
    ]
    assert {one.who for one in transitions} == {PRECEDENCE}


def test_what_is_still_wrong_when_suppression_ends_is_told_then() -> None:
    facts = rail((0.0, 11.0), (120.0, 5.0), unseen=[Unseen(100.0, 200.0, "chime without power")])
    transitions = [one for one in follow([SUPPLY, OUT], {}, facts).transitions if one.rule == "one"]
    assert [(one.at_s, one.after) for one in transitions if one.told is Told.ANNUNCIATED] == [
        (800.0, State.UNACKNOWLEDGED)
    ]


def test_a_suppressor_that_comes_at_the_same_moment_comes_first() -> None:
    delayed = replace(SUPPLY, on_delay_s=20.0)
    facts = rail((0.0, 11.0), (80.0, 5.0), unseen=[Unseen(100.0, 200.0, "chime without power")])
    for one in (delayed, replace(SUPPLY, on_delay_s=0.0, id="one", watch=QuantityBeyond("rail_min_v", "below", 4.0))):
        walked = follow([one, OUT], {}, facts).transitions
        assert next(t.event for t in walked if t.rule == "one") is Event.SUPPRESS


def test_of_suppressors_that_change_at_one_moment_only_the_outcome_counts() -> None:
    held = rule(HeldPress(20.0), "held", on_delay_s=1.0)
    silent = rule(NoPack(45.0), "silent", suppressed_by=("held", "power-out"))
    out = rule(BlindTime(10.0, longer_than_s=0.0), "power-out")
    # held counts at 21 s, and is let go at 21 s: nothing was suppressed, and nothing stays so
    walked = follow([held, silent, out], {}, Facts(0.0, 100.0, presses=[Pressed("front", 0.0, 21.0)]))
    assert [one.event for one in walked.transitions if one.rule == "silent"] == [Event.COMES]
    # let go at the moment at which the power fails: no gap in which anybody would be called
    facts = Facts(0.0, 300.0, presses=[Pressed("front", 0.0, 100.0)], unseen=[Unseen(100.0, 200.0, "chime silent")])
    walked = follow([held, silent, out], {}, facts)
    assert seen([one for one in walked.transitions if one.rule == "silent"]) == [
        (21.0, Event.SUPPRESS, State.SUPPRESSED),
        (210.0, Event.UNSUPPRESS, State.UNACKNOWLEDGED),
    ]


def test_a_rule_that_is_made_while_its_suppressor_is_present_is_suppressed() -> None:
    facts = rail(unseen=[Unseen(100.0, None, "chime without power")], to_s=150.0)
    before = follow([OUT], {}, facts).standings
    now = follow([OUT, SUPPLY], before, replace(facts, from_s=150.0, to_s=160.0)).standings
    assert now["one"].alarm.state is State.SUPPRESSED


def test_a_press_that_is_told_bit_by_bit_is_one_and_is_not_over_between() -> None:
    """A button that sticks is told each minute up to then, as if it had just been let go; a day is told so without being called over."""
    held = rule(HeldPress(120.0), off_delay_s=6 * 3600.0)
    standings: Mapping[str, Standing] = {}
    called: list[Transition] = []
    for minute in range(1, 24 * 60):
        facts = Facts(0.0, 60.0 * minute + 1.0, presses=[Pressed("front", 0.0, 60.0 * minute)])
        walked = follow([held], standings, facts)
        standings, called = walked.standings, called + walked.transitions
    assert seen(called) == [(121.0, Event.COMES, State.UNACKNOWLEDGED)]  # nothing happens before the last look
    over = follow([held], standings, Facts(0.0, 2 * DAY_S, presses=[Pressed("front", 0.0, 60.0 * minute)]))
    assert seen(over.transitions) == [(60.0 * minute + 6 * 3600.0, Event.GOES, State.RETURNED)]


def test_shelving_ends_by_itself_and_what_is_still_present_is_told_again() -> None:
    low = rule(QuantityBeyond("rail_min_v", "below", 10.0))
    standing = follow([low], {}, rail((0.0, 9.0), to_s=10.0)).standings["one"]
    shelved = ask(low, standing, Event.SHELVE, 20.0, "Ada", "the transformer is being changed", 500.0)
    assert shelved.due_s == 500.0
    round_ = follow([low], {"one": shelved.standing}, rail((0.0, 9.0), to_s=600.0))
    assert seen(round_.transitions) == [(500.0, Event.UNSHELVE, State.UNACKNOWLEDGED)]


def test_a_refusal_changes_nothing() -> None:
    standing = follow([LOW], {}, rail((0.0, 11.0))).standings["one"]
    before = replace(standing)
    with pytest.raises(Refused, match="nothing to acknowledge"):
        ask(LOW, standing, Event.ACKNOWLEDGE, 2000.0, "Ada")
    assert standing == before


def test_a_press_that_is_heard_of_late_is_told_when_it_is_known() -> None:
    quiet = rule(QuietPress("00:00", "06:00"))
    standings = follow([quiet], {}, Facts(0.0, 3600.0)).standings
    late = Facts(0.0, 5000.0, presses=[Pressed("front", 1800.0, 1801.0)])
    round_ = follow([quiet], standings, late)
    assert seen(round_.transitions) == [
        (3600.0, Event.COMES, State.UNACKNOWLEDGED),
        (3600.0, Event.GOES, State.RETURNED),
    ]
    assert follow([quiet], round_.standings, replace(late, to_s=6000.0)).transitions == []


def test_what_turns_out_otherwise_is_taken_back() -> None:
    """A button seemed held; the pack with its release came late, and says that it was let go in time."""
    held = rule(HeldPress(30.0))
    before = follow([held], {}, Facts(0.0, 60.0, presses=[Pressed("front", 10.0, None)]))
    assert before.standings["one"].alarm.state is State.UNACKNOWLEDGED
    after = follow([held], before.standings, Facts(0.0, 70.0, presses=[Pressed("front", 10.0, 12.0)]))
    assert seen(after.transitions) == [(70.0, Event.GOES, State.RETURNED)]


def test_a_rule_that_is_switched_on_does_not_speak_of_the_past() -> None:
    night = rule(QuietPress("00:00", "06:00"))
    facts = Facts(0.0, 36_000.0, presses=[Pressed("front", 7200.0, 7201.0)])
    begun = begin(night, facts)
    assert begun.transitions == []
    assert follow([night], {"one": begun.standing}, replace(facts, to_s=37_000.0)).transitions == []
    # what is the case counts from then on
    begun = begin(LOW, rail((0.0, 9.0), to_s=500.0))
    assert begun.due_s == 515.0
    later = follow([LOW], {"one": begun.standing}, rail((0.0, 9.0), to_s=600.0))
    assert seen(later.transitions) == [(515.0, Event.COMES, State.UNACKNOWLEDGED)]


def test_it_is_said_where_the_facts_must_begin() -> None:
    rules = [LOW, rule(NoPack(600.0), "silent")]
    standings = follow(rules, {}, rail((0.0, 11.0), (5000.0, 11.0), to_s=9000.0)).standings
    assert facts_from_s([LOW], standings, late_s=3600.0) == 5000.0
    assert facts_from_s(rules, standings, late_s=3600.0) == 9000.0 - 3600.0 - 600.0
    assert facts_from_s([], standings, late_s=3600.0) == float("inf")


def test_a_standing_can_be_kept_and_taken_up_again() -> None:
    """As JSON, by the library that the service uses for it; a restart in the middle of a delay loses nothing."""
    facts = rail((0.0, 11.0), (100.0, 9.0), to_s=110.0)
    standing = follow([LOW], {}, facts).standings["one"]
    kept = msgspec.json.decode(msgspec.json.encode(standing), type=Standing)
    assert kept == standing
    assert seen(follow([LOW], {"one": kept}, replace(facts, to_s=200.0)).transitions) == [
        (115.0, Event.COMES, State.UNACKNOWLEDGED)
    ]


READINGS = st.lists(st.tuples(st.integers(1, 60), st.integers(80, 120)), min_size=1, max_size=25)
SPELLS = st.lists(st.tuples(st.integers(0, 600), st.integers(1, 60)), max_size=3)


def known(facts: Facts, at_s: float, from_s: float = 0.0) -> Facts:
    """As it was known at a moment: nothing later, what had not ended then is open, and no more of the past than is asked for."""
    return replace(
        facts,
        from_s=from_s,
        to_s=at_s,
        readings={
            name: [one for one in values if from_s <= one.at_s <= at_s] for name, values in facts.readings.items()
        },
        presses=[
            press._replace(end_s=None if press.end_s is not None and press.end_s > at_s else press.end_s)
            for press in facts.presses
            if press.start_s <= at_s and (press.end_s is None or press.end_s >= from_s)
        ],
        unseen=[
            one._replace(end_s=None if one.end_s is not None and one.end_s > at_s else one.end_s)
            for one in facts.unseen
            if one.start_s <= at_s and (one.end_s is None or one.end_s >= from_s)
        ],
        packs_s=[one for one in facts.packs_s if from_s <= one <= at_s],
    )


@settings(deadline=None, max_examples=250)
@given(
    READINGS,
    SPELLS,
    SPELLS,
    st.integers(0, 40),
    st.integers(0, 40),
    st.sampled_from([0.0, 0.5]),
    st.sampled_from([None, 97.0]),
)
def test_pack_by_pack_or_all_at_once(
    steps: list[tuple[int, int]],
    outages: list[tuple[int, int]],
    holds: list[tuple[int, int]],
    on_s: int,
    off_s: int,
    deadband: float,
    realarm_s: float | None,
) -> None:
    at_s, readings = 0.0, []
    for wait_s, tenths in steps:
        at_s += wait_s
        readings.append(Reading(at_s, tenths / 10.0))
    facts = Facts(
        0.0,
        2000.0,
        {"rail_min_v": readings},
        presses=[Pressed("front", float(start), float(start + length)) for start, length in sorted(holds)],
        unseen=[
            Unseen(float(start), float(start + length), "chime without power") for start, length in sorted(outages)
        ],
        packs_s=[one.at_s for one in readings],
    )
    watch = QuantityBeyond("rail_min_v", "below", 10.0, worse=9.0)
    delays = {"on_delay_s": float(on_s), "off_delay_s": float(off_s)}
    rules = [
        rule(watch, **delays, deadband=deadband, realarm_s=realarm_s, suppressed_by=("power-out",)),
        rule(HeldPress(20.0), "held", **delays),
        rule(NoPack(45.0), "silent", suppressed_by=("power-out", "held")),
        rule(BlindTime(100.0, longer_than_s=10.0), "power-out"),
    ]
    whole = follow(rules, {}, facts)

    ends = [one.end_s for one in (*facts.presses, *facts.unseen) if one.end_s is not None]
    arrivals = sorted({0.0, *facts.packs_s, *ends, *(one.start_s for one in (*facts.presses, *facts.unseen)), 2000.0})
    standings: Mapping[str, Standing] = {}
    transitions: list[Transition] = []
    due_s: float | None = None
    for arrival_s in arrivals:
        while due_s is not None and due_s < arrival_s:  # a timer wakes whoever follows the rules
            round_ = follow(rules, standings, known(facts, due_s, max(facts_from_s(rules, standings, 0.0), 0.0)))
            assert round_.due_s is None or round_.due_s > due_s
            standings, due_s = round_.standings, round_.due_s
            transitions += round_.transitions
        from_s = max(facts_from_s(rules, standings, 0.0), 0.0) if standings else 0.0
        round_ = follow(rules, standings, known(facts, arrival_s, from_s))
        standings, due_s = round_.standings, round_.due_s
        transitions += round_.transitions

    def by_rule(all_of_them: list[Transition], name: str) -> list[Transition]:
        return [one for one in all_of_them if one.rule == name]

    for one in rules:
        live, at_once = by_rule(transitions, one.id), by_rule(whole.transitions, one.id)
        assert [(t.at_s, t.event, t.after, t.told) for t in live] == [
            (t.at_s, t.event, t.after, t.told) for t in at_once
        ]
    assert {name: standing.alarm for name, standing in standings.items()} == {
        name: standing.alarm for name, standing in whole.standings.items()
    }
