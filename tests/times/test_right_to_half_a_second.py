"""Promise: after an outage of six hours each press is dated right to half a second, and inside the uncertainty told with it.

A crystal 50 ppm off and 0 to 2 s of jitter on each pack: the conditions are part of the promise. The presses happened at any time
in the boot; they are dated at its end and at moments during it. "Right" is 99 in 100, "inside" 95 in 100.
"""

import random
from collections.abc import Callable
from dataclasses import replace

import pytest

from service.walltime import Drift
from tests.times.boots import DAY_S, HOUR_S, START_S, Chime, Packs, every, jitter, packs, quiet, some_presses

Made = Callable[[random.Random], Packs]


def dated(
    make: Made, asked_s: float, boots: int, first_s: float = 0.0, known: Drift | None = None
) -> list[tuple[float, float]]:
    """(error, uncertainty) of presses at moments of many boots [s], as told at `asked_s`."""
    noise = random.Random(11)
    found = []
    for _ in range(boots):
        boot = make(noise)
        clock = boot.heard_by(asked_s)
        line = replace(clock, drift_known=known).line()
        for _ in range(8):
            true_s = noise.uniform(first_s, asked_s)
            up_s = boot.chime.up_s(true_s)
            found.append(
                (abs(line.wall_s(up_s) - START_S - true_s), replace(clock, drift_known=known).uncertainty_s(up_s))
            )
    return found


def share(told: list[bool]) -> float:
    return sum(told) / len(told)


def one_in(spacing_s: float, length_s: float, offline_s: tuple[float, float]) -> Made:
    return lambda noise: packs(
        noise, Chime(noise.choice((-50e-6, 50e-6))), every(spacing_s, length_s), jitter, offline_s
    )


@pytest.mark.parametrize("spacing_s", [10.0, 60.0])
@pytest.mark.parametrize(
    ("offline_h", "asked_h"),
    [
        ((9, 15), 15.01),  # half a minute after the flush of six hours
        ((9, 15), 24),  # offline in the middle, told at the end
        ((0, 6), 24),  # offline at the start
        ((18, 24), 24.02),  # offline at the end, one flush
    ],
)
def test_six_hours_offline(spacing_s: float, offline_h: tuple[float, float], asked_h: float) -> None:
    offline_s = (offline_h[0] * HOUR_S, offline_h[1] * HOUR_S)
    found = dated(one_in(spacing_s, 24 * HOUR_S, offline_s), asked_h * HOUR_S, boots=int(spacing_s / 10))
    assert share([error <= 0.5 for error, _ in found]) >= 0.99
    assert share([error <= uncertainty for error, uncertainty in found]) >= 0.95
    assert max(uncertainty for _, uncertainty in found) < 1.0  # so small that pages do not speak of it


def test_an_hour_online_tells_the_drift_too_badly_for_six_hours_before_it_and_says_so() -> None:
    """50 ppm x 6 h = 1.1 s."""
    found = dated(one_in(60.0, 7 * HOUR_S, (0.0, 6 * HOUR_S)), 7 * HOUR_S, boots=15)
    assert share([error <= 0.5 for error, _ in found]) < 0.99
    assert share([error <= uncertainty for error, uncertainty in found]) >= 0.95


def test_with_the_drift_of_earlier_boots_it_is_enough() -> None:
    def boot(noise: random.Random) -> Packs:
        return packs(noise, Chime(noise.gauss(50e-6, 3e-6)), every(60.0, 7 * HOUR_S), jitter, (0.0, 6 * HOUR_S))

    found = dated(
        boot, 7 * HOUR_S, boots=15, known=(-50e-6, 3e-6)
    )  # a chime that gains 50 ppm: wall time loses 50 ppm on it
    assert share([error <= 0.5 for error, _ in found]) >= 0.99
    assert share([error <= uncertainty for error, uncertainty in found]) >= 0.95


def test_packs_at_presses_only_are_too_few_against_such_jitter_and_it_says_so() -> None:
    """Of six packs in a day the quickest takes 0.3 s on average, and the drift must be had from it too."""

    def boot(noise: random.Random) -> Packs:
        return packs(noise, Chime(noise.choice((-50e-6, 50e-6))), some_presses(noise, DAY_S), jitter)

    found = dated(boot, DAY_S, boots=40)
    assert share([error <= uncertainty for error, uncertainty in found]) >= 0.95


@pytest.mark.parametrize("length_s", [20.0, HOUR_S, DAY_S])
def test_a_quiet_network_is_told_to_a_tenth_of_a_second(length_s: float) -> None:
    def boot(noise: random.Random) -> Packs:
        return packs(noise, Chime(noise.choice((-50e-6, 50e-6))), every(min(length_s / 10, 60.0), length_s), quiet)

    found = dated(boot, length_s + 1.0, boots=6)
    assert share([error <= 0.1 for error, _ in found]) >= 0.99
    assert share([error <= uncertainty for error, uncertainty in found]) >= 0.95
    assert max(uncertainty for _, uncertainty in found) < 0.2


@pytest.mark.parametrize("daily", [3e-6, 5e-6])
def test_a_crystal_that_follows_the_warmth_of_the_day_stays_inside(daily: float) -> None:
    def boot(noise: random.Random) -> Packs:
        return packs(noise, Chime(20e-6, daily), every(300.0, 5 * DAY_S), quiet)

    found = dated(boot, 5 * DAY_S, boots=3)
    assert share([error <= uncertainty for error, uncertainty in found]) >= 0.95
    assert max(error for error, _ in found) <= 0.5
