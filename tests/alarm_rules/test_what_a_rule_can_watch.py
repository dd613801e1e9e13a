"""Each kind of rule sees what it is meant to see, at the exact moment, and says when it would change if nothing more arrived."""

import doctest
from dataclasses import replace
from math import inf, nan
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress

from service.alarms import conditions, stretches
from service.alarms.conditions import DAY_S, Sample, evaluate, reach_s, slopes_per_day
from service.alarms.facts import Called, Facts, Found, Pressed, Reading, Unseen
from service.alarms.rules import (
    BlindTime,
    HeldPress,
    ManyVisits,
    NoPack,
    OpenFinding,
    QuantityBeyond,
    QuietPress,
    Rule,
    Trend,
    Watch,
)
from service.alarms.stretches import Stretch, blind_for_longer, too_many

MIDNIGHT = 1_789_344_000.0  # 2026-09-14 00:00 UTC
assert MIDNIGHT % DAY_S == 0.0


def told(watch: Watch, facts: Facts, deadband: float = 0.0, before: Sample | None = None) -> list[tuple[float, int]]:
    rule = Rule("one", watch, "a", "b", "c", deadband=deadband)
    return [(sample.at_s, sample.severity) for sample in evaluate(rule, facts, before).samples]


def due_s(watch: Watch, facts: Facts) -> float | None:
    return evaluate(Rule("one", watch, "a", "b", "c"), facts).due_s


@pytest.mark.parametrize("module", [conditions, stretches])
def test_examples_hold(module: Any) -> None:
    tried = doctest.testmod(module)
    assert tried.attempted
    assert not tried.failed


def rail(*values: float) -> Facts:
    return Facts(0.0, 1000.0, {"rail_min_v": [Reading(10.0 * n, value) for n, value in enumerate(values)]})


def test_a_quantity_beyond_its_limit_returns_past_the_deadband() -> None:
    watch = QuantityBeyond("rail_min_v", "below", 10.0)
    facts = rail(10.5, 9.9, 10.1, nan, 10.2, 9.8)
    assert told(watch, facts, deadband=0.2) == [(0.0, 0), (10.0, 1), (40.0, 0), (50.0, 1)]


def test_a_second_limit_is_worse() -> None:
    watch = QuantityBeyond("rail_min_v", "below", 10.0, worse=9.0)
    assert told(watch, rail(9.5, 8.9, 9.05, 9.2, 11.0), deadband=0.1) == [
        (0.0, 1),
        (10.0, 2),
        (30.0, 1),  # 9.05 is not yet past 9.0 by 0.1
        (40.0, 0),
    ]


def test_a_sample_says_what_was_read() -> None:
    rule = Rule("one", QuantityBeyond("rail_min_v", "below", 10.0), "a", "b", "c")
    assert evaluate(rule, rail(9.876)).samples[0].why == "rail_min_v is 9.876 V, below 10"


def test_a_deadband_goes_on_from_what_was_taken_before() -> None:
    watch = QuantityBeyond("rail_min_v", "below", 10.0)
    facts = rail(9.9, 10.1, 10.1)
    assert told(watch, facts, 0.2, Sample(10.0, 1)) == [(20.0, 1)]
    assert told(watch, facts, 0.2, Sample(10.0, 0)) == [(20.0, 0)]
    nothing_new = evaluate(Rule("one", watch, "a", "b", "c"), facts, Sample(20.0, 1))
    assert (nothing_new.samples, nothing_new.severity) == ((), 1)


def test_what_came_after_the_facts_end_is_not_looked_at() -> None:
    readings = {"rail_min_v": [Reading(0.0, 11.0), Reading(50.0, 9.0)]}
    assert told(QuantityBeyond("rail_min_v", "below", 10.0), Facts(0.0, 49.0, readings)) == [(0.0, 0)]


def test_slopes_are_those_of_scipy() -> None:
    """scipy.stats.linregress over the readings of the last 30 days, at each reading."""
    random = np.random.default_rng(20260914)
    times = MIDNIGHT + np.sort(random.uniform(0.0, 200.0, 150)) * DAY_S
    values = 470e-6 - 0.4e-6 * (times - MIDNIGHT) / DAY_S + random.normal(0.0, 5e-6, 150)
    slopes = slopes_per_day(times, values, 30 * DAY_S)
    for index in range(150):
        last = (times >= times[index] - 30 * DAY_S) & (times <= times[index])
        if last.sum() >= 3 and np.ptp(times[last]) >= 15 * DAY_S:
            expected = linregress(times[last] - MIDNIGHT, values[last]).slope * DAY_S
            assert slopes[index] == pytest.approx(expected, rel=1e-6, abs=1e-12)
        else:
            assert np.isnan(slopes[index])


def test_a_trend_is_told_once_there_is_enough_of_it() -> None:
    readings = {"reservoir_f": [Reading(MIDNIGHT + day * DAY_S, 470e-6 * (1 - 0.003 * day)) for day in range(40)]}
    facts = Facts(MIDNIGHT, MIDNIGHT + 40 * DAY_S, readings)
    watch = Trend("reservoir_f", "below", -0.002 * 470e-6, 30 * DAY_S)
    assert told(watch, facts)[0] == (MIDNIGHT + 15 * DAY_S, 1)
    assert told(Trend("reservoir_f", "below", -0.004 * 470e-6, 30 * DAY_S), facts)[-1][1] == 0


@pytest.mark.parametrize(
    ("watch", "expected"),
    [
        (OpenFinding(), [(20.0, 1), (90.0, 0)]),
        (OpenFinding(confirmed=False), [(10.0, 1), (90.0, 0)]),
        (OpenFinding(("contact-stuck",)), [(40.0, 1), (60.0, 0)]),
        (OpenFinding(("contact-stuck",), door="front"), [(40.0, 1), (60.0, 0)]),
        (OpenFinding(("contact-stuck",), door="garden"), []),
        (OpenFinding(likelihood=0.9), []),
    ],
)
def test_a_finding_while_it_is_open(watch: OpenFinding, expected: list[tuple[float, int]]) -> None:
    findings = [
        Found("reservoir-aged", None, 0.8, 10.0, 90.0, confirmed_s=20.0),
        Found("contact-stuck", "front", 0.7, 30.0, 60.0, confirmed_s=40.0),
        Found("contact-bounce", "front", 0.8, 95.0, None, None),
    ]
    if watch == OpenFinding(confirmed=False):
        expected = [*expected, (95.0, 1)]
    assert told(watch, Facts(0.0, 100.0, findings=findings)) == expected


def test_a_button_that_is_held() -> None:
    presses = [Pressed("front", 0.0, 30.0), Pressed("front", 100.0, 130.001), Pressed("garden", 200.0, None)]
    facts = Facts(0.0, 220.0, presses=presses)
    assert told(HeldPress(30.0), facts) == [(130.0, 1), (130.001, 0)]
    assert due_s(HeldPress(30.0), facts) == 230.0
    assert told(HeldPress(30.0, "garden"), Facts(0.0, 230.0, presses=presses)) == [(230.0, 1)]


def test_more_visits_than_so_many_within_a_while() -> None:
    visits = [Called("front", at_s) for at_s in (0.0, 50.0, 100.0, 149.0)]
    facts = Facts(0.0, 300.0, visits=visits)
    # the first counts up to, not with, 100 s after it
    assert told(ManyVisits(2, 100.0), facts) == [(149.0, 1), (150.0, 0)]
    assert told(ManyVisits(2, 100.0, "garden"), facts) == []


@given(st.lists(st.integers(0, 200), max_size=30), st.integers(1, 5), st.integers(1, 60))
def test_visits_agree_with_counting_them_second_by_second(times: list[int], more_than: int, within: int) -> None:
    starts = sorted(times)
    found = stretches.joined(too_many([float(at) for at in starts], more_than, float(within)))
    for second in range(300):
        expected = sum(second - within < at <= second for at in starts) > more_than
        assert any(one.start_s <= second < one.end_s for one in found) == expected


def test_a_press_in_quiet_hours_by_local_time() -> None:
    """Central European summer time is two hours ahead of UTC and ends on 2026-10-25 at 01:00 UTC (directive 2000/84/EC)."""
    change = 1_792_890_000.0
    assert change % DAY_S == 3600.0
    local = [Reading(MIDNIGHT, 7200.0), Reading(change, 3600.0)]
    watch = QuietPress("22:00", "06:30")

    def rings(at_s: float) -> bool:
        return bool(
            told(watch, Facts(MIDNIGHT, at_s + 60.0, presses=[Pressed("front", at_s, at_s + 0.4)], local=local))
        )

    assert not rings(MIDNIGHT + 20 * 3600.0 - 1.0)  # 21:59:59
    assert rings(MIDNIGHT + 20 * 3600.0)  # 22:00
    assert rings(MIDNIGHT + 4.5 * 3600.0 - 1.0)  # 06:29:59
    assert not rings(MIDNIGHT + 4.5 * 3600.0)  # 06:30
    assert not rings(change + 20 * 3600.0 - 1.0)  # 21:59:59 on the evening after the change
    assert rings(change + 20 * 3600.0)


def test_quiet_hours_within_a_day() -> None:
    presses = [Pressed("front", MIDNIGHT + hour * 3600.0, None) for hour in (12.9, 13.0, 14.9, 15.0)]
    facts = Facts(MIDNIGHT, MIDNIGHT + DAY_S, presses=presses)
    assert [at for at, severity in told(QuietPress("13:00", "15:00"), facts) if severity] == [
        MIDNIGHT + 13.0 * 3600.0,
        MIDNIGHT + 14.9 * 3600.0,
    ]


def test_silence() -> None:
    facts = Facts(0.0, 500.0, packs_s=[10.0, 100.0, 161.0, 450.0])
    assert told(NoPack(60.0), facts) == [(70.0, 1), (100.0, 0), (160.0, 1), (161.0, 0), (221.0, 1), (450.0, 0)]
    assert due_s(NoPack(60.0), facts) == 510.0
    assert told(NoPack(60.0), Facts(0.0, 90.0)) == [(60.0, 1)]  # never heard since the record begins


def test_blind_time_above_a_length_or_a_share() -> None:
    unseen = [
        Unseen(0.0, 40.0, "chime silent"),
        Unseen(50.0, 80.0, "chime without power"),
        Unseen(300.0, None, "chime silent"),
    ]
    facts = Facts(0.0, 400.0, unseen=unseen)
    # at 70 s it is 40 + 20 of the last 100; at 110 s only 30 of the first 40 lie within
    assert told(BlindTime(100.0, longer_than_s=60.0), facts) == [(70.0, 1), (110.0, 0), (360.0, 1)]
    assert told(BlindTime(100.0, share=0.6), facts) == [(70.0, 1), (110.0, 0), (360.0, 1)]
    assert told(BlindTime(100.0, longer_than_s=0.0, why="chime without power"), facts) == [(50.0, 1), (180.0, 0)]
    assert due_s(BlindTime(500.0, longer_than_s=200.0), facts) == 430.0
    # what has lasted for 40 s or longer is another rule's: the first, and the last at 400 s, but not at 339 s
    assert told(BlindTime(100.0, longer_than_s=20.0, up_to_s=40.0), facts) == [(70.0, 1), (160.0, 0)]
    assert told(BlindTime(100.0, longer_than_s=20.0, up_to_s=40.0), replace(facts, to_s=339.0))[-1] == (320.0, 1)
    # stretches that touch are one, whatever the reasons
    touching = [Unseen(0.0, 30.0, "packs lost"), Unseen(30.0, 50.0, "chime without power")]
    assert told(BlindTime(100.0, longer_than_s=20.0, up_to_s=40.0), Facts(0.0, 400.0, unseen=touching)) == []


@given(
    st.lists(st.tuples(st.integers(0, 300), st.integers(1, 80)), max_size=8), st.integers(0, 60), st.integers(61, 150)
)
def test_blind_time_agrees_with_counting_it_second_by_second(
    spells: list[tuple[int, int]], most: int, within: int
) -> None:
    found = blind_for_longer([Stretch(float(start), float(start + length)) for start, length in spells], most, within)
    blind = np.zeros(700)
    for start, length in spells:
        blind[start : start + length] = 1.0
    for second in range(1, 700):
        total = blind[max(second - within, 0) : second].sum()
        assert any(one.start_s < second < one.end_s for one in found) == (total > most), second
    assert all(one.end_s < inf for one in found)


def test_it_is_known_how_far_back_the_facts_must_go() -> None:
    assert reach_s(Trend("idle_a", "above", 1.0, 30 * DAY_S)) == 30 * DAY_S
    assert reach_s(BlindTime(3600.0, share=0.1)) == 3600.0
    assert reach_s(ManyVisits(2, 600.0)) == 600.0
    assert reach_s(NoPack(60.0)) == 60.0
    assert reach_s(HeldPress(30.0)) == 30.0
    assert reach_s(QuantityBeyond("idle_a", "above", 1.0)) == 0.0
