"""What is read off one channel, as an instrument's own measurements would: over whole cycles where there is a wave. Knows no circuit."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.scope.capture import Capture, Floats, Trace
from service.scope.frequency import PLACES, Wave, wave_of

EXPLAINED = 0.5
"""A frequency is told where its wave explains at least this share of the variance."""

RIPPLE_NOISE, MOST_NEIGHBOURS = 0.02, 17
"""How little noise may add to the ripple, as a share of it, and the most neighbours of 360 that are averaged for it."""

LEVEL_SHARE = 0.15
"""Samples within this share of the height count as on one of two levels."""


@dataclass(frozen=True, slots=True)
class Measured:
    """Of one channel, or of a part of it. Voltages in V (`scaled` false: in shares of full scale), times in s; None: there is none.

    Parameters
    ----------
    peak_v, lowest_v : highest and lowest, without what noise adds for a thousandth of the time.
    ripple_v : height of the average cycle; where there is none to see, as much as could hide in the samples.
    mains_sd_hz : standard error of the frequency.
    resolution_v : the finest difference between two samples, as the instrument's converter made it.
    noise_v : standard deviation of the samples about it.
    duty : share of the time above the middle between the levels.
    on_levels : share of the samples that lie on one of two levels.
    rise_s, fall_s : from 10 to 90 % of the height, as IEC 60469 has it.
    pulses_per_cycle : of a mains of 50 or 60 Hz.
    """

    samples: int
    length_s: float
    mean_v: float
    rms_v: float
    peak_v: float
    lowest_v: float
    peak_to_peak_v: float
    ripple_v: float
    noise_v: float
    mains_hz: float | None
    mains_sd_hz: float | None
    duty: float | None
    on_levels: float
    rise_s: float | None
    fall_s: float | None
    pulses_per_cycle: float | None
    wave: Wave | None
    resolution_v: float
    scaled: bool = True


def measure(capture: Capture, trace: Trace) -> Measured:
    """Of the whole channel."""
    return measured(trace.volts, capture.step_s, trace.scaled)


def measured(volts: Floats, step_s: float, scaled: bool = True) -> Measured:
    """Of samples at a constant rate, shape (n,)."""
    slow = volts - _trend(volts)
    wave = wave_of(slow, step_s)
    if wave is not None and wave.explained < EXPLAINED:
        wave = None
    whole = _whole_cycles(volts, step_s, wave)
    low, high = np.quantile(whole, [0.001, 0.999]) if len(whole) > 2000 else (whole.min(), whole.max())
    rough = float(np.std(np.diff(volts)) / np.sqrt(2.0))
    noise = float(np.std(slow - _at(wave, slow, step_s))) if wave else float(np.std(slow))
    duty, on_levels = _levels(whole, float(low), float(high))
    times = _edges(volts, step_s, float(low), float(high)) if high > low else (None, None, 0)
    return Measured(
        samples=len(volts),
        length_s=step_s * len(volts),
        mean_v=float(whole.mean()),
        rms_v=float(np.sqrt(np.mean(whole * whole))),
        peak_v=float(high),
        lowest_v=float(low),
        peak_to_peak_v=float(high - low),
        ripple_v=float(np.ptp(_smoothed(wave, noise, len(volts)))) if wave else min(float(high - low), 6.0 * rough),
        noise_v=noise,
        mains_hz=wave.hz if wave else None,
        mains_sd_hz=wave.sd_hz(noise, len(volts), step_s * len(volts)) if wave else None,
        duty=duty,
        on_levels=on_levels,
        rise_s=times[0],
        fall_s=times[1],
        pulses_per_cycle=_per_mains_cycle(times[2], wave, step_s * len(volts)),
        wave=wave,
        resolution_v=_resolution(volts),
        scaled=scaled,
    )


def _trend(volts: Floats) -> Floats:
    """A slow drift, as of a rail that recovers; only the part that the ends tell."""
    tenth = max(len(volts) // 10, 1)
    if len(volts) < 100:
        return np.zeros(len(volts))
    first, last = float(np.mean(volts[:tenth])), float(np.mean(volts[-tenth:]))
    within = float(np.std(volts - np.linspace(first, last, len(volts))))
    # over a few cycles the ends differ by where in the cycle they lie: a drift is only what that cannot be
    if abs(last - first) < 4.0 * within:
        return np.zeros(len(volts))
    result: Floats = np.linspace(first, last, len(volts)) - (first + last) / 2.0
    return result


def _whole_cycles(volts: Floats, step_s: float, wave: Wave | None) -> Floats:
    """As many samples as whole cycles take, so that means and rms do not depend on where the capture ends."""
    if wave is None:
        return volts
    length = round(float(np.floor(wave.cycles + 1e-6)) / (wave.hz * step_s))
    return volts[: max(min(length, len(volts)), 1)] if wave.cycles >= 1.0 else volts


def _at(wave: Wave, volts: Floats, step_s: float) -> Floats:
    turns = (step_s * np.arange(len(volts)) - wave.origin_s) * wave.hz
    places = (np.mod(turns, 1.0) * PLACES).astype(int)
    result: Floats = wave.cycle[np.minimum(places, PLACES - 1)]
    return result


def _smoothed(wave: Wave, noise: float, samples: int) -> Floats:
    """The average cycle with so many neighbours averaged that noise adds little to its height; few, for a trough is sharp."""
    wanted = RIPPLE_NOISE * max(float(np.ptp(wave.cycle)), 1e-12)
    count = int(np.clip(np.ceil((noise / wanted) ** 2 * PLACES / samples), 1, MOST_NEIGHBOURS)) | 1
    around = (
        np.concatenate([wave.cycle[-(count // 2) :], wave.cycle, wave.cycle[: count // 2]]) if count > 1 else wave.cycle
    )
    result: Floats = np.convolve(around, np.full(count, 1.0 / count), "valid")
    return result


def _resolution(volts: Floats) -> float:
    steps = np.abs(np.diff(np.sort(volts[:20_000])))
    seen = steps[steps > 1e-9 * max(float(np.abs(volts).max()), 1e-12)]
    return float(seen.min()) if seen.size else 0.0


def _levels(volts: Floats, low: float, high: float) -> tuple[float | None, float]:
    """Share of time above the middle, and share of the samples on either level."""
    height = high - low
    if height <= 0.0:
        return None, 1.0
    on = (volts < low + LEVEL_SHARE * height) | (volts > high - LEVEL_SHARE * height)
    return float(np.mean(volts > (low + high) / 2.0)), float(np.mean(on))


def _edges(volts: Floats, step_s: float, low: float, high: float) -> tuple[float | None, float | None, int]:
    """Median rise and fall, and how many pulses: crossings of the middle that also reach both outer marks."""
    lower, upper = low + 0.1 * (high - low), low + 0.9 * (high - low)
    place = np.where(volts >= upper, 1, np.where(volts <= lower, -1, 0))
    outside = np.flatnonzero(place)
    if outside.size < 2:
        return None, None, 0
    change = np.flatnonzero(np.diff(place[outside]))
    before, after = outside[change], outside[change + 1]
    up = place[after] > 0

    def median(begin: NDArray[np.intp], end: NDArray[np.intp]) -> float | None:
        if not begin.size:
            return None
        # between the marks by straight lines
        lengths = [_crossing(volts, int(b), int(e), lower, upper) for b, e in zip(begin[:200], end[:200], strict=True)]
        return float(np.sort(lengths)[len(lengths) // 2]) * step_s

    # pulses are excursions to the rarer level
    return median(before[up], after[up]), median(before[~up], after[~up]), int(max(up.sum(), (~up).sum()))


def _crossing(volts: Floats, before: int, after: int, lower: float, upper: float) -> float:
    """From one outer mark to the other [samples], the ends found between samples."""
    part = volts[before : after + 1]
    first, last = (lower, upper) if part[-1] > part[0] else (upper, lower)
    steps = np.diff(part)
    begin = (first - part[0]) / steps[0] if steps[0] else 0.0
    end = len(part) - 1 - ((part[-1] - last) / steps[-1] if steps[-1] else 0.0)
    return max(float(end - np.clip(begin, 0.0, 1.0)), 0.0)


def _per_mains_cycle(pulses: int, wave: Wave | None, length_s: float) -> float | None:
    """Of the mains that is nearest: 50 or 60 Hz, or half of what was found where that is twice as fast."""
    if wave is None or not pulses:
        return None
    mains = wave.hz / 2.0 if 90.0 <= wave.hz <= 130.0 else wave.hz
    return round(wave.hz / mains, 2)
