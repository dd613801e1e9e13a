"""Promise: a pack's own clock becomes wall time, however late the pack arrives and however the crystal drifts."""

import random

import pytest

from service.walltime import BootClock, Line
from tests.times.boots import DAY_S, START_S, Chime, every, packs, quiet


def clock_of(witnesses: list[tuple[float, float]]) -> BootClock:
    clock = BootClock()
    for up_s, arrival_s in witnesses:
        clock = clock.with_witness(up_s, arrival_s)
    return clock


def test_a_pack_kept_back_for_hours_gets_the_time_when_it_was_made() -> None:
    live = [(60.0 * n, START_S + 60.0 * n + 0.04) for n in range(10)]
    kept_back = [(600.0 + 60.0 * n, START_S + 6 * 3600.0 + n * 0.01) for n in range(300)]
    line = clock_of(live + kept_back).line()
    assert line.wall_s(10_000.0) == pytest.approx(START_S + 10_000.0, abs=0.1)


def test_a_boot_heard_of_only_late_is_dated_anew_by_its_first_prompt_pack() -> None:
    late_only = clock_of([(5.0, START_S + 7200.0)])
    assert late_only.line().wall_s(5.0) == START_S + 7200.0
    then_prompt = late_only.with_witness(7300.0, START_S + 7300.05)
    assert then_prompt.line().wall_s(5.0) == pytest.approx(START_S + 5.0, abs=0.1)


def test_packs_without_delay_are_dated_exactly_when_they_came() -> None:
    clock = clock_of([(60.0 * n, START_S + 60.0 * n) for n in range(100)])
    assert clock.line() == Line(START_S)


@pytest.mark.parametrize("drift_ppm", [-50.0, -10.0, 0.0, 20.0, 50.0])  # tens of ppm: common practice, no source
def test_drift_of_the_crystal_is_followed_through_jitter(drift_ppm: float) -> None:
    noise = random.Random(7)
    witnesses = []
    for n in range(24 * 60):
        true_s = 60.0 * n
        up_s = true_s * (1 + drift_ppm * 1e-6)
        witnesses.append((up_s, START_S + true_s + 0.02 + noise.expovariate(1 / 0.3)))
    line = clock_of(witnesses).line()
    for true_s in (0.0, DAY_S / 2, DAY_S):
        assert line.wall_s(true_s * (1 + drift_ppm * 1e-6)) == pytest.approx(START_S + true_s, abs=0.2)


def test_what_is_kept_of_a_month_of_packs_is_small() -> None:
    noise = random.Random(1)
    month = packs(noise, Chime(50e-6, daily=3e-6), every(300.0, 30 * DAY_S), quiet)
    clock = month.heard_by(31 * DAY_S)
    assert len(clock.witnesses) <= 64
    for true_s in (0.0, 10 * DAY_S, 30 * DAY_S):
        wall_s = clock.line().wall_s(month.chime.up_s(true_s))
        # A swing of 3 ppm by the day moves the time by 3e-6 x 86400 / pi = 0.083 s from end to end; no straight line follows it.
        assert wall_s == pytest.approx(START_S + true_s, abs=0.1)


def test_two_lines_differ_by_their_largest_distance() -> None:
    assert Line(0.0, 1e-4).differs(Line(0.0, 0.0), 1000.0) == pytest.approx(0.1)


def test_without_any_pack_there_is_no_time() -> None:
    with pytest.raises(ValueError, match="without any witness"):
        BootClock().line()
