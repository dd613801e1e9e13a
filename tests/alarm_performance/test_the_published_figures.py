"""How well alarms do their work is said in the published figures of ISA-18.2-2016 and IEC 62682, and not at all under 30 days.

Figures from a secondary page that quotes the standards, where no line says "from memory" or "chosen".
"""

import doctest
from itertools import count

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.alarms import figures
from service.alarms.figures import DAY_S, HOUR_S, Verdict
from service.alarms.life import Event
from service.alarms.performance import Flood, Performance, performance
from service.alarms.rules import NoPack, Priority, QuietPress, Rule, Watch
from service.alarms.trial import Spoken

MONTH_S = 30 * DAY_S


def rule(name: str, priority: Priority = Priority.LOW, watch: Watch | None = None) -> Rule:
    return Rule(name, watch or NoPack(60.0), "cause", "consequence", "action", priority)


RULES = [rule("low"), rule("medium", Priority.MEDIUM), rule("high", Priority.HIGH)]


def spoke(
    *times_s: float, name: str = "low", lasts_s: float | None = 100.0, event: Event = Event.COMES
) -> list[Spoken]:
    return [Spoken(name, at_s, event, "", None if lasts_s is None else at_s + lasts_s) for at_s in times_s]


def verdict(found: Performance, name: str) -> Verdict:
    return next(one.verdict for one in found.figures if one.name == name)


def value(found: Performance, name: str) -> float:
    return next(one.value for one in found.figures if one.name == name)


def evenly(number: int, over_s: float = MONTH_S) -> list[float]:
    return [(index + 0.5) * over_s / number for index in range(number)]


def test_examples_hold() -> None:
    tried = doctest.testmod(figures)
    assert tried.attempted
    assert not tried.failed


@pytest.mark.parametrize(
    ("per_hour", "expected"),
    [(0, Verdict.GOOD), (6, Verdict.GOOD), (7, Verdict.MANAGEABLE), (12, Verdict.MANAGEABLE), (13, Verdict.TOO_MUCH)],
)
def test_six_an_hour_are_acceptable_and_twelve_the_manageable_maximum(per_hour: int, expected: Verdict) -> None:
    found = performance(spoke(*evenly(per_hour * 24 * 30)) if per_hour else [], RULES, 0.0, MONTH_S)
    assert value(found, "rate") == pytest.approx(per_hour)
    assert found.per_day == pytest.approx(24 * per_hour)
    assert verdict(found, "rate") is expected


def test_thirty_days_are_needed() -> None:
    found = performance(spoke(*evenly(10_000)), RULES, 0.0, MONTH_S - 1.0)
    assert not found.is_enough
    assert {one.verdict for one in found.figures} == {Verdict.NOT_ENOUGH_DATA}
    assert found.annunciated == 10_000
    enough = performance([], RULES, 0.0, MONTH_S)
    assert enough.is_enough
    assert verdict(enough, "rate") is Verdict.GOOD


def test_a_flood_starts_above_ten_in_ten_minutes() -> None:
    ten = [1000.0 + 50.0 * index for index in range(10)]
    assert performance(spoke(*ten), RULES, 0.0, MONTH_S).floods == ()
    # the eleventh, 599 s after the first, makes it one
    eleven = [*ten, 1599.0]
    found = performance(spoke(*eleven), RULES, 0.0, MONTH_S)
    # below five: when only the last four lie within ten minutes, which is when the fifth latest (at 1300 s) leaves
    assert found.floods == (Flood(1599.0, 1300.0 + 600.0, 11),)
    assert verdict(found, "most in ten minutes") is Verdict.TOO_MUCH
    assert performance(spoke(*ten, 1600.0), RULES, 0.0, MONTH_S).floods == ()


@given(st.lists(st.integers(0, 4000), max_size=80), st.integers(0, 5))
def test_floods_agree_with_counting_second_by_second(times: list[int], stride: int) -> None:
    """Begins with more than 10, ends with fewer than 5, in the ten minutes up to each second."""
    times_s = sorted(float(at_s // (stride + 1)) for at_s in times)
    found = performance(spoke(*times_s), RULES, 0.0, MONTH_S)
    flooded = False
    for second in range(5000):
        recent = sum(second - 600 < at_s <= second for at_s in times_s)
        flooded = recent > 10 or (flooded and recent >= 5)
        assert any(one.start_s <= second < one.end_s for one in found.floods) == flooded, second


def test_time_in_flood_and_crowded_stretches() -> None:
    """At most 1 % of either (from memory)."""
    floods = [600.0 * 70 * number + 20.0 * index for number in range(60) for index in range(12)]
    found = performance(spoke(*floods), RULES, 0.0, MONTH_S)
    assert len(found.floods) == 60
    assert value(found, "ten minutes with more than ten") == pytest.approx(60 / (30 * 144))
    # from the eleventh, 200 s after the first, until 600 s after the eighth (140 s)
    assert value(found, "time in flood") == pytest.approx(60 * (140.0 + 600.0 - 200.0) / MONTH_S)
    assert verdict(found, "time in flood") is Verdict.TOO_MUCH
    half = performance(spoke(*floods[::2]), RULES, 0.0, MONTH_S)
    assert half.floods == ()
    assert verdict(half, "time in flood") is Verdict.GOOD


def test_three_a_minute_are_chattering() -> None:
    assert performance(spoke(0.0, 30.0, 60.0), RULES, 0.0, MONTH_S).chattering == {}
    found = performance(spoke(0.0, 30.0, 59.9, 5000.0, 5010.0, 5020.0, 5030.0), RULES, 0.0, MONTH_S)
    assert found.chattering == {"low": 2}
    assert verdict(found, "chattering rules") is Verdict.TOO_MUCH
    apart = [*spoke(0.0, 20.0), *spoke(30.0, name="high")]
    assert performance(apart, RULES, 0.0, MONTH_S).chattering == {}
    again = spoke(0.0, 20.0, 40.0, event=Event.REALARM)
    assert performance(again, RULES, 0.0, MONTH_S).chattering == {}


def test_fleeting_ones_are_gone_before_anybody_could_act() -> None:
    """Within a minute (chosen)."""
    spoken = [*spoke(0.0, 1000.0, lasts_s=59.0), *spoke(2000.0, lasts_s=60.0), *spoke(3000.0, lasts_s=None)]
    assert performance(spoken, RULES, 0.0, MONTH_S).fleeting == {"low": 2}


def test_a_press_at_night_is_not_blamed_for_being_over() -> None:
    night = rule("night", watch=QuietPress("22:00", "06:00"))
    assert performance(spoke(0.0, name="night", lasts_s=0.4), [night], 0.0, MONTH_S).fleeting == {}


def test_stale_after_a_day() -> None:
    """Fewer than five on any day (from memory)."""
    names = [f"rule-{index}" for index in range(6)]
    rules = [rule(name) for name in names]
    old = [one for name in names for one in spoke(MONTH_S - DAY_S - 1.0, name=name, lasts_s=None)]
    found = performance(old, rules, 0.0, MONTH_S)
    assert found.stale == tuple(names)
    assert verdict(found, "stale alarms") is Verdict.TOO_MUCH
    assert verdict(performance(old[:4], rules, 0.0, MONTH_S), "stale alarms") is Verdict.GOOD
    assert performance(spoke(MONTH_S - DAY_S, lasts_s=None), RULES, 0.0, MONTH_S).stale == ()
    told_again = [*spoke(0.0, lasts_s=None), *spoke(MONTH_S - 10.0, lasts_s=None, event=Event.REALARM)]
    assert performance(told_again, RULES, 0.0, MONTH_S).stale == ("low",)


@pytest.mark.parametrize(
    ("low", "medium", "high", "of_medium", "of_high"),
    [
        (80, 15, 5, Verdict.GOOD, Verdict.GOOD),
        (70, 21, 9, Verdict.MANAGEABLE, Verdict.MANAGEABLE),
        (40, 40, 20, Verdict.TOO_MUCH, Verdict.TOO_MUCH),
        (8, 2, 2, Verdict.NOT_ENOUGH_DATA, Verdict.NOT_ENOUGH_DATA),  # fewer than twenty (chosen)
    ],
)
def test_priorities_are_80_15_5_percent(low: int, medium: int, high: int, of_medium: Verdict, of_high: Verdict) -> None:
    names = ["low"] * low + ["medium"] * medium + ["high"] * high
    spoken = [Spoken(name, at_s, Event.COMES, "") for name, at_s in zip(names, evenly(len(names)), strict=True)]
    found = performance(spoken, RULES, 0.0, MONTH_S)
    assert found.mix[Priority.LOW] == pytest.approx(low / len(names))
    assert verdict(found, "share of medium priority") is of_medium
    assert verdict(found, "share of high and critical priority") is of_high


def test_the_ten_most_frequent() -> None:
    """1 to 5 % of all is published (from memory), which fewer than 200 rules could not meet with equal shares."""
    names = [f"rule-{index:03}" for index in range(300)]
    rules = [rule(name) for name in names]
    clock = count(1)
    level = [Spoken(name, 3600.0 * next(clock), Event.COMES, "") for name in names for _ in range(2)]
    found = performance(level, rules, 0.0, MONTH_S)
    assert value(found, "share of the ten most frequent rules") == pytest.approx(10 / 300)
    assert verdict(found, "share of the ten most frequent rules") is Verdict.MANAGEABLE
    few = performance(spoke(*evenly(30)), RULES, 0.0, MONTH_S)
    assert verdict(few, "share of the ten most frequent rules") is Verdict.NOT_ENOUGH_DATA


def test_the_worst_rule_is_named_with_the_reason() -> None:
    often = spoke(*evenly(40), name="medium")
    chatters = spoke(10_000.0, 10_010.0, 10_020.0, name="high", lasts_s=5.0)
    found = performance(sorted([*often, *chatters], key=lambda one: one.at_s), RULES, 0.0, MONTH_S)
    assert found.worst is not None
    assert found.worst.rule == "high"
    assert found.worst.why == (
        "It has spoken 3 times, 7% of all. It chattered in 1 episode. 3 of them were gone within a minute."
    )
    assert [one.rule for one in found.top] == ["medium", "high"]
    assert performance([], RULES, 0.0, MONTH_S).worst is None


def test_what_lies_outside_the_stretch_does_not_count() -> None:
    spoken = spoke(-1.0, 0.0, 10 * HOUR_S, MONTH_S, MONTH_S + 1.0)
    assert performance(spoken, RULES, 0.0, MONTH_S).annunciated == 3
