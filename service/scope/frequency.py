"""The frequency of a capture and its average cycle: least squares on a wave with harmonics. Knows no circuit."""

from dataclasses import dataclass

import numpy as np

from service.scope.capture import Floats

LOWEST_HZ, HIGHEST_HZ = 8.0, 450.0
"""Of the mains and of its double: 16.7 Hz railways to twice 60 Hz, 400 Hz aircraft (common practice, no source)."""

FEWEST_CYCLES = 1.4
MOST_SAMPLES = 8192
"""For finding the frequency; more are averaged down to as many."""

HARMONICS = 9
PLACES = 360
"""Of the average cycle."""


@dataclass(frozen=True, slots=True)
class Wave:
    """`hz`: frequency. `cycle` (PLACES,): the average cycle [V], beginning where the fundamental rises through its mean. `explained`: share
    of the variance that a wave of this frequency with its harmonics explains. `origin_s`: of the first beginning of a cycle [s].
    `cycles`: in the capture. `amplitude`: of the fundamental and its harmonics, each weighed by its order [V]."""

    hz: float
    cycle: Floats
    explained: float
    origin_s: float
    cycles: float
    amplitude: float

    def sd_hz(self, noise: float, samples: int, span_s: float) -> float:
        """Standard error of the frequency: the bound of Cramér and Rao for a wave in white noise (Rife, Boorstyn 1974, from memory)."""
        return float(np.sqrt(6.0 / samples) * noise / (np.pi * span_s * max(self.amplitude, 1e-12)))


def wave_of(volts: Floats, step_s: float) -> Wave | None:
    """None where no wave is found in the samples."""
    level = volts - volts.mean()
    span_s = step_s * len(volts)
    if float(np.ptp(level)) <= 0.0:
        return None
    thin = max(1, len(level) // MOST_SAMPLES)
    # the wanted frequencies lie far below what averaging takes away, as long as a cycle keeps forty places
    thin = min(thin, max(1, int(1.0 / (HIGHEST_HZ * 2 * step_s * 4))))
    few = level[: len(level) // thin * thin].reshape(-1, thin).mean(axis=1)
    every = step_s * thin
    coarse = _coarse(few, every, span_s)
    if coarse is None:
        return None
    hz = _refined(few, every, coarse)
    if hz * span_s < FEWEST_CYCLES:
        return None
    at = every * (np.arange(len(few)) + 0.5) - step_s / 2
    basis = _basis(hz * at, _harmonics(hz, every, span_s))
    weights = np.linalg.lstsq(basis, few, rcond=None)[0]
    left = few - basis @ weights
    explained = 1.0 - float(left @ left) / max(float(few @ few), 1e-30)
    origin = float(-np.arctan2(weights[3], weights[2]) / (2.0 * np.pi * hz))  # where the fundamental rises through zero
    origin -= np.floor(origin * hz) / hz
    heights = np.hypot(weights[2::2], weights[3::2])
    amplitude = float(np.sqrt(np.sum((heights * np.arange(1, len(heights) + 1)) ** 2)))
    return Wave(hz, _folded(volts, step_s, hz, origin), explained, origin, hz * span_s, amplitude)


def _coarse(level: Floats, step_s: float, span_s: float) -> float | None:
    """The strongest line between the limits."""
    size = 1 << int(np.ceil(np.log2(len(level) * 4)))
    power = np.abs(np.fft.rfft(level * np.hanning(len(level)), size)) ** 2
    hertz = np.fft.rfftfreq(size, step_s)
    wanted = (hertz >= max(LOWEST_HZ, 1.2 / span_s)) & (hertz <= min(HIGHEST_HZ, 0.25 / step_s))
    if not wanted.any():
        return None
    return float(hertz[wanted][int(np.argmax(power[wanted]))])


def _harmonics(hz: float, step_s: float, span_s: float) -> int:
    """As many as the samples carry, and few where there are few cycles, which many would fit at any frequency."""
    return int(max(1, min(HARMONICS if hz * span_s > 2.2 else 3, 0.4 / (step_s * hz))))


def _refined(level: Floats, step_s: float, coarse: float) -> float:
    """Least squares about the coarse frequency, ever narrower, and a parabola at the end."""
    at = step_s * np.arange(len(level))
    span_s = step_s * len(level)
    count = _harmonics(coarse, step_s, span_s)

    def misfit(hz: float) -> float:
        basis = _basis(hz * at, count)
        left = level - basis @ np.linalg.lstsq(basis, level, rcond=None)[0]
        return float(left @ left)

    best, half = coarse, min(0.7 / span_s, 0.3 * coarse)
    for _ in range(5):
        tried = best + half * np.linspace(-1.0, 1.0, 9)
        costs = [misfit(float(hz)) for hz in tried]
        lowest = int(np.argmin(costs))
        best, half = float(tried[lowest]), half / 4.0
    costs = [misfit(best + half * place) for place in (-1.0, 0.0, 1.0)]
    bend = costs[0] - 2.0 * costs[1] + costs[2]
    return best + (float(np.clip(0.5 * half * (costs[0] - costs[2]) / bend, -half, half)) if bend > 0.0 else 0.0)


def _basis(turns: Floats, harmonics: int) -> Floats:
    columns = [np.ones_like(turns), turns]  # a level that drifts, as of a rail that recovers
    for n in range(1, harmonics + 1):
        columns += [np.sin(2.0 * np.pi * n * turns), np.cos(2.0 * np.pi * n * turns)]
    return np.column_stack(columns)


def _folded(volts: Floats, step_s: float, hz: float, origin_s: float) -> Floats:
    """Means at each place of the cycle, over all whole cycles."""
    turns = (step_s * np.arange(len(volts)) - origin_s) * hz
    places = np.minimum((np.mod(turns, 1.0) * PLACES).astype(int), PLACES - 1)
    sums, counts = np.bincount(places, volts, PLACES), np.bincount(places, minlength=PLACES)
    known = counts > 0
    means = np.zeros(PLACES)
    means[known] = sums[known] / counts[known]
    if not known.all():
        around = np.arange(PLACES)
        means = np.interp(around, around[known], means[known], period=PLACES)
    return means
