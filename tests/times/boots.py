"""Simulated boots of one chime: when its packs were made, what its own clock showed then, and when they came."""

import math
import random
from collections.abc import Callable
from dataclasses import dataclass

from service.walltime import BootClock

START_S = 1_789_000_000.0  # some moment of 2026
HOUR_S, DAY_S = 3600.0, 86400.0

Delay = Callable[[random.Random], float]


def jitter(noise: random.Random) -> float:
    """0 to 2 s, each alike: what the promise of 0.5 s was made for."""
    return noise.uniform(0.0, 2.0)


def quiet(noise: random.Random) -> float:
    """20 ms on average: a wireless network in a house (common practice, no source)."""
    return noise.expovariate(1 / 0.02)


@dataclass(frozen=True)
class Chime:
    """Its crystal gains `drift` on wall time, with a swing by the day of amplitude `daily`."""

    drift: float
    daily: float = 0.0

    def up_s(self, true_s: float) -> float:
        swing_s = self.daily * DAY_S / math.tau * math.sin(math.tau * true_s / DAY_S)
        return true_s * (1 + self.drift) + swing_s


@dataclass(frozen=True)
class Packs:
    chime: Chime
    sent: list[tuple[float, float]]  # (made, arrived) in seconds after power-up, in order of arrival

    def heard_by(self, true_s: float) -> BootClock:
        clock = BootClock()
        for made_s, arrived_s in self.sent:
            if arrived_s <= true_s:
                clock = clock.with_witness(self.chime.up_s(made_s), START_S + arrived_s)
        return clock


def packs(
    noise: random.Random,
    chime: Chime,
    made_s: list[float],
    delay: Delay,
    offline_s: tuple[float, float] = (0.0, 0.0),
) -> Packs:
    """Packs made while offline are flushed when that ends, the oldest first, a hundred a second."""
    begin_s, end_s = offline_s
    sent, waiting = [], 0
    for moment_s in made_s:
        left_s = moment_s
        if begin_s <= moment_s < end_s:
            left_s, waiting = end_s + 0.01 * waiting, waiting + 1
        sent.append((moment_s, left_s + delay(noise)))
    return Packs(chime, sorted(sent, key=lambda pack: pack[1]))


def every(spacing_s: float, length_s: float) -> list[float]:
    return [spacing_s * n for n in range(int(length_s / spacing_s))]


def some_presses(noise: random.Random, length_s: float) -> list[float]:
    """Only at presses: one every four hours on average, the first soon after power-up, when the installer tries the button."""
    moments_s = [60.0]
    while moments_s[-1] < length_s:
        moments_s.append(moments_s[-1] + noise.expovariate(1 / (4 * HOUR_S)))
    return moments_s[:-1]
