"""Promise: events have the standards' names, and their limits are settings.

Classes: IEEE 1159-2009; usual limits: a note of EN 50160; ITIC curve: ITIC 2000; all from secondary pages.
"""

import doctest

import numpy as np
import pytest

from service.supply import mains_classes, mains_events
from service.supply.mains_classes import Limits, duration_class, kind_of, tolerated
from service.supply.mains_events import events
from service.supply.mains_steady import CycleMaxima, Doings

IDLE = Doings(loads=[(0.0, "idle")], drop_v={"idle": 0.0})


def one_event(share: float, seconds: float, *, total_s: float = 400.0, limits: Limits | None = None):  # type: ignore[no-untyped-def]
    volts = np.full(int(total_s * 50), 20.0)
    volts[(150 * 50) : int((150 + seconds) * 50)] *= share
    (event,) = events(CycleMaxima.regular(0.0, 0.02, volts), IDLE, limits)
    return event


@pytest.mark.parametrize(
    ("seconds", "expected"),
    [(29 / 50, "instantaneous"), (31 / 50, "momentary"), (4.0, "temporary"), (61.0, "long")],
)
def test_half_voltage_for_29_cycles_31_cycles_4_s_and_61_s(seconds: float, expected: str) -> None:
    event = one_event(0.5, seconds)
    assert event.duration_class == expected
    assert event.duration_s == pytest.approx(seconds, abs=0.011)
    assert event.kind == ("undervoltage" if seconds > 60.0 else "dip")


def test_a_swell_of_over_a_minute_is_an_overvoltage() -> None:
    assert one_event(1.2, 61.0).kind == "overvoltage"
    assert one_event(1.2, 3.5).kind == "swell"


def test_the_reference_stands_still_while_an_event_lasts() -> None:
    # IEC 61000-4-30: during an event the reference before it is kept, so a quarter of an hour is one event.
    event = one_event(0.8, 900.0, total_s=1500.0)
    assert (event.kind, event.duration_s) == ("undervoltage", pytest.approx(900.0, abs=0.02))


@pytest.mark.parametrize(("limit", "kind"), [(0.10, "interruption"), (0.05, "dip"), (0.01, "dip")])
def test_the_interruption_limit_is_a_setting_since_sources_differ(limit: float, kind: str) -> None:
    assert one_event(0.07, 1.0, limits=Limits(interruption_share=limit)).kind == kind


def test_thresholds_and_hysteresis_are_settings() -> None:
    assert one_event(0.93, 1.0, limits=Limits(dip_share=0.95)).kind == "dip"
    volts = np.full(1000, 20.0)
    volts[300:310], volts[310:320] = 17.0, 18.2  # 85 %, then 91 %: under the end threshold of 92 % still
    (event,) = events(CycleMaxima.regular(0.0, 0.02, volts), IDLE)
    assert event.seen_cycles == 20
    (event,) = events(CycleMaxima.regular(0.0, 0.02, volts), IDLE, Limits(hysteresis_share=0.005))
    assert event.seen_cycles == 10


def test_a_record_that_breaks_off_says_so() -> None:
    volts = np.concatenate([np.full(300, 20.0), 20.0 - 0.2 * np.arange(1.0, 40.0)])
    (event,) = events(CycleMaxima.regular(0.0, 0.02, volts), IDLE)
    assert not event.ended
    assert event.residual_low == 0.0
    assert set(event.also_possible) == {"interruption", "loss in the wiring"}


def test_events_on_both_sides_of_missing_cycles_are_two() -> None:
    volts, at_s = np.full(400, 20.0), np.arange(400) * 0.02
    volts[190:210] = 12.0
    at_s[200:] += 3.0
    found = events(CycleMaxima(at_s, volts, 0.02), IDLE)
    assert [event.seen_cycles for event in found] == [10, 10]
    assert [event.ended for event in found] == [False, True]


def test_order_and_repeats_of_cycles_do_not_matter() -> None:
    volts, at_s = np.full(300, 20.0), np.arange(300) * 0.02
    volts[100:105] = 12.0
    rng = np.random.default_rng(3)
    shuffled = rng.permutation(np.repeat(np.arange(300), 2))
    mixed = events(CycleMaxima(at_s[shuffled], volts[shuffled], 0.02), IDLE)
    assert mixed == events(CycleMaxima(at_s, volts, 0.02), IDLE) != []


def test_a_short_record_in_the_middle_of_a_dip_needs_the_level_of_before() -> None:
    volts = np.full(40, 14.0)
    volts[:5] = 20.0
    told = Doings(loads=[(0.0, "idle")], drop_v={"idle": 0.0}, steady_v={"idle": 20.0})
    (event,) = events(CycleMaxima.regular(0.0, 0.02, volts), told)
    assert (event.kind, event.residual) == ("dip", pytest.approx(0.7))


@pytest.mark.parametrize(
    ("residual", "inside_s", "outside_s"), [(0.0, 0.019, 0.021), (0.7, 0.49, 0.51), (0.8, 9.9, 10.1)]
)
def test_the_itic_curve(residual: float, inside_s: float, outside_s: float) -> None:
    assert tolerated(residual, inside_s)
    assert not tolerated(residual, outside_s)


def test_edges_of_the_classes() -> None:
    assert duration_class("swell", 0.5, 60.0) == "instantaneous"
    assert duration_class("interruption", 0.5, 60.0) == "momentary"  # IEEE 1159, from memory
    assert kind_of(0.99, 70.0, Limits()) == "undervoltage"


def test_the_examples_to_redo_by_hand() -> None:
    for module in (mains_classes, mains_events):
        tried = doctest.testmod(module)
        assert tried.attempted > 0
        assert tried.failed == 0
