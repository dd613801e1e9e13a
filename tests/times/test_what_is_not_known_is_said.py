"""Promise: where the packs cannot tell the time well, the uncertainty says how badly."""

from dataclasses import replace

import pytest

from service.walltime import BootClock, best_drift
from tests.times.boots import HOUR_S, START_S


def test_a_lone_pack_may_have_been_slow_and_others_that_agree_show_that_it_was_not() -> None:
    lone = BootClock().with_witness(1.0, START_S + 1.0)
    assert 1.5 < lone.uncertainty_s(1.0) < 2.5  # jitter of 0 to 2 s cannot be excluded
    twice = lone.with_witness(61.0, START_S + 61.02)
    assert twice.uncertainty_s(1.0) < 1.2
    assert twice.with_witness(121.0, START_S + 121.03).uncertainty_s(1.0) < 0.7
    often = twice
    for n in range(2, 10):
        often = often.with_witness(1.0 + 60.0 * n, START_S + 1.0 + 60.0 * n + 0.01)
    assert often.uncertainty_s(1.0) < 0.2


def test_uncertainty_grows_away_from_the_packs_that_tell_the_time() -> None:
    clock = BootClock()
    for n in range(10):
        clock = clock.with_witness(60.0 * n, START_S + 60.0 * n + 0.01 * (n % 3))
    told = [clock.uncertainty_s(540.0 + hours * HOUR_S) for hours in (0, 1, 6, 24)]
    assert told == sorted(told)
    assert told[2] > 6 * HOUR_S * 20e-6  # ten minutes of such packs leave some 10 ppm open, at two standard deviations


def test_after_a_flush_and_nothing_else_the_newest_pack_may_be_as_old_as_the_packs_are_apart() -> None:
    clock = BootClock()
    for n in range(4):
        clock = clock.with_witness(5000.0 * n, START_S + 21_000.0 + 0.01 * n)
    assert clock.line().wall_s(15_000.0) == pytest.approx(START_S + 21_000.0, abs=0.1)  # six thousand seconds late
    assert clock.uncertainty_s(15_000.0) > 6000.0
    prompt = clock.with_witness(21_060.0, START_S + 21_060.1).with_witness(21_120.0, START_S + 21_120.0)
    assert prompt.line().wall_s(15_000.0) == pytest.approx(START_S + 15_000.0, abs=0.1)
    assert prompt.uncertainty_s(15_000.0) < 2.0


def test_the_drift_of_earlier_boots_is_taken_from_the_one_that_tells_it_best() -> None:
    lone = BootClock().with_witness(1.0, START_S + 1.0)
    short, long = lone, BootClock()
    for n in range(60):
        short = short.with_witness(10.0 * n, START_S + 10.0 * n + 0.05 * (n % 7))
        long = long.with_witness(1800.0 * n, START_S + 1800.0 * n * (1 + 40e-6) + 0.05 * (n % 7))
    assert best_drift([]) is best_drift([BootClock(), lone]) is None
    known = best_drift([short, long, lone])
    assert known is not None
    assert known[0] == pytest.approx(40e-6, abs=2e-6)
    assert known[1] >= 2e-6  # another day, another warmth


def test_a_drift_that_this_boot_contradicts_is_given_up() -> None:
    """Another board under the same name."""
    clock = BootClock()
    for n in range(60):
        clock = clock.with_witness(1800.0 * n, START_S + 1800.0 * n * (1 + 40e-6) + 0.05 * (n % 7))
    assert replace(clock, drift_known=(-60e-6, 3e-6)).line().drift == pytest.approx(40e-6, abs=2e-6)
