"""Simulated hands at simulated buttons, for the promises about cadences. All that is drawn here is invented.

A hand stretches the whole phrase by a common factor and each press and pause by one of its own (log-normal); the detector then
shows whole mains cycles only, so a press begins and ends up to a cycle inside the true one.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Presses = list[tuple[float, float | None]]
Drawn = Sequence[float] | NDArray[np.float64]

PULSE_S = 0.0075


@dataclass(frozen=True)
class Hand:
    """What a hand means to press, and how much it scatters. `gaps_s` is one shorter than `holds_s`. [s]"""

    holds_s: tuple[float, ...]
    gaps_s: tuple[float, ...]
    own: float = 0.20
    tempo: float = 0.10

    def press(self, rng: np.random.Generator, start_s: float = 0.0, mains_hz: float = 50.0) -> Presses:
        tempo = np.exp(rng.normal(0.0, self.tempo))
        holds = np.array(self.holds_s) * tempo * np.exp(rng.normal(0.0, self.own, len(self.holds_s)))
        gaps = np.array(self.gaps_s) * tempo * np.exp(rng.normal(0.0, self.own, len(self.gaps_s)))
        return seen(holds, gaps, rng, start_s, mains_hz)


def seen(
    holds: Drawn,
    gaps: Drawn,
    rng: np.random.Generator,
    start_s: float = 0.0,
    mains_hz: float = 50.0,
) -> Presses:
    """What a detector shows of true presses and pauses: from the first rise of a half-wave to the last fall of one."""
    period, at = 1.0 / mains_hz, start_s
    found: Presses = []
    phase = start_s + rng.uniform(0.0, period)
    for hold, gap in zip(holds, [*gaps, 0.0], strict=True):
        first = phase + np.ceil((at - phase) / period) * period
        last = max(phase + np.floor((at + hold - phase) / period) * period, first)
        found.append((float(first), float(last + PULSE_S)))
        at += hold + gap
    return found


def caller(rng: np.random.Generator, presses: int, quick_share: float = 0.3, start_s: float = 0.0) -> Presses:
    """Somebody who rings so many times: presses as of the invented callers of Tern Cottage, each drawn by itself."""
    holds = np.clip(rng.lognormal(np.log(0.24), 0.55, presses), 0.06, 3.0)
    quick = rng.uniform(size=presses - 1) < quick_share
    gaps = np.where(quick, rng.uniform(0.12, 0.4, presses - 1), rng.uniform(4.0, 22.0, presses - 1))
    return seen(holds, gaps, rng, start_s)


def typist(rng: np.random.Generator, presses: int) -> Presses:
    """Short presses in a row: holds as measured of 607 key presses of one person (mean 97, sd 26, shortest 44 ms;
    a public keystroke record), pauses of 0.1 to 0.3 s."""
    holds = np.maximum(rng.normal(0.097, 0.026, presses), 0.044)
    return seen(holds, rng.uniform(0.1, 0.3, presses - 1), rng)


def impatient(rng: np.random.Generator) -> Presses:
    """Two to nine presses in a row, about as long as one another."""
    presses = int(rng.integers(2, 10))
    holds = rng.lognormal(np.log(0.2), 0.4) * np.exp(rng.normal(0.0, 0.25, presses))
    return seen(holds, rng.lognormal(np.log(0.2), 0.4, presses - 1), rng)


def leaning(rng: np.random.Generator) -> Presses:
    """A finger that leans, now and then after or before a short press."""
    lean, short = float(rng.uniform(3.0, 60.0)), float(rng.lognormal(np.log(0.24), 0.4))
    holds = ([lean], [short, lean], [lean, short])[int(rng.integers(3))]
    return seen(holds, rng.lognormal(np.log(0.4), 0.5, len(holds) - 1), rng)


def one_missed(presses: Presses, rng: np.random.Generator) -> Presses:
    missed = int(rng.integers(len(presses)))
    return presses[:missed] + presses[missed + 1 :]
