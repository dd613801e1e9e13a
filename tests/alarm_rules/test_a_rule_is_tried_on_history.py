"""Before a rule is switched on it is tried on history: how often it would have spoken, and when."""

import pytest

from service.alarms.facts import Facts, Pressed, Reading, Unseen
from service.alarms.life import Event
from service.alarms.rules import BlindTime, HeldPress, QuantityBeyond, Rule, RuleRefused
from service.alarms.standing import ask, follow
from service.alarms.trial import Spoken, spoken_in, try_on

DAY_S = 86_400.0
HELD = Rule("held-front", HeldPress(30.0, "front"), "cause", "consequence", "action", off_delay_s=600.0)
PRESSES = [
    Pressed("front", 1.0 * DAY_S, 1.0 * DAY_S + 60.0),
    Pressed("front", 5.0 * DAY_S, 5.0 * DAY_S + 20.0),  # too short
    Pressed("front", 12.0 * DAY_S, 12.0 * DAY_S + 40.0),
    Pressed("front", 12.0 * DAY_S + 300.0, 12.0 * DAY_S + 400.0),  # the same, within the off-delay
    Pressed("garden", 13.0 * DAY_S, 13.0 * DAY_S + 90.0),
    Pressed("front", 29.0 * DAY_S, 29.0 * DAY_S + 31.0),
]
FACTS = Facts(0.0, 30 * DAY_S, presses=PRESSES)


def test_each_moment_with_why_and_for_how_long() -> None:
    tried = try_on(HELD, FACTS, 0.0, 30 * DAY_S)
    why = "front has been held for 30 s"
    assert tried.spoken == (
        Spoken("held-front", 1.0 * DAY_S + 30.0, Event.COMES, why, 1.0 * DAY_S + 660.0),
        Spoken("held-front", 12.0 * DAY_S + 30.0, Event.COMES, why, 12.0 * DAY_S + 1000.0),
        Spoken("held-front", 29.0 * DAY_S + 30.0, Event.COMES, why, 29.0 * DAY_S + 631.0),
    )
    assert tried.sentence == "In these 30 days this would have spoken 3 times."


@pytest.mark.parametrize(
    ("from_day", "to_day", "sentence"),
    [
        (2.0, 11.0, "In these 9 days this would not have spoken."),
        (0.0, 2.0, "In these 2 days this would have spoken 1 time."),
        (-20.0, 30.0, "The record holds 30 of these 50 days; in them this would have spoken 3 times."),
    ],
)
def test_a_part_of_history_or_more_than_there_is(from_day: float, to_day: float, sentence: str) -> None:
    assert try_on(HELD, FACTS, from_day * DAY_S, to_day * DAY_S).sentence == sentence


def test_what_already_was_the_case_is_not_counted() -> None:
    assert try_on(HELD, FACTS, 1.0 * DAY_S + 40.0, 2.0 * DAY_S).spoken == ()


def test_what_suppresses_it_is_walked_with_it() -> None:
    low = Rule("rail-low", QuantityBeyond("rail_min_v", "below", 10.0), "a", "b", "c", suppressed_by=("power-out",))
    out = Rule("power-out", BlindTime(600.0, longer_than_s=0.0, why="chime without power"), "a", "b", "c")
    readings = [Reading(0.0, 12.0), Reading(1000.0, 5.0), Reading(1200.0, 12.0), Reading(9000.0, 9.0)]
    facts = Facts(0.0, 10_000.0, {"rail_min_v": readings}, unseen=[Unseen(990.0, 1100.0, "chime without power")])
    tried = try_on(low, facts, 0.0, 10_000.0, [HELD, out])
    assert [one.at_s for one in tried.spoken] == [9000.0]
    assert tried.withheld == 1
    with pytest.raises(RuleRefused, match="power-out"):
        try_on(low, facts, 0.0, 10_000.0)


def test_what_is_told_again_belongs_to_the_same_condition() -> None:
    low = Rule("rail-low", QuantityBeyond("rail_min_v", "below", 10.0), "a", "b", "c", realarm_s=3600.0)
    facts = Facts(0.0, 10_000.0, {"rail_min_v": [Reading(0.0, 9.0), Reading(5000.0, 12.0)]})
    assert [(one.at_s, one.event, one.gone_s) for one in try_on(low, facts, 0.0, 10_000.0).spoken] == [
        (0.0, Event.COMES, 5000.0),
        (3600.0, Event.REALARM, 5000.0),
    ]
    assert spoken_in([]) == []


def test_who_has_acknowledged_what() -> None:
    facts = Facts(0.0, 10 * DAY_S, presses=PRESSES)
    round_ = follow([HELD], {}, facts)
    asked = ask(HELD, round_.standings["held-front"], Event.ACKNOWLEDGE, 10 * DAY_S, "Ada")
    assert [one.acknowledged_s for one in spoken_in([*round_.transitions, *asked.transitions])] == [10 * DAY_S]
