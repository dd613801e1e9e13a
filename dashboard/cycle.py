"""Two cycles of the mains as a burst shows them. Plain computation: no record, no page.

Behind two diodes the rail has one crest per mains cycle, so a burst's own ripple tells the period.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from service.model import Burst

NOT_TAKEN = -32768
LOWEST_HZ, HIGHEST_HZ = 44.0, 66.0
CYCLES = 2
WITHOUT_PERIOD_S = 0.04
EXPLAINED = 0.5
"""A period is only named where a wave of it, with its first overtones, explains more than this part of the variance."""


@dataclass(frozen=True)
class Cycles:
    """`volts` [V], shape (n,), NaN = not taken; `times_s` from the first sample drawn; `mains_hz` None where it cannot be told."""

    times_s: NDArray[np.float64]
    volts: NDArray[np.float64]
    mains_hz: float | None
    low_v: float
    high_v: float


def volts_of(burst: Burst) -> NDArray[np.float64]:
    """The samples of a burst [V], NaN where none was taken."""
    codes = np.frombuffer(burst.codes[: len(burst.codes) // 2 * 2], dtype="<i2")
    return np.where(codes == NOT_TAKEN, np.nan, codes * burst.lsb_v)


@lru_cache(maxsize=64)  # a burst is asked for with every refresh and never changes
def two_cycles(burst: Burst) -> Cycles | None:
    """The first whole two cycles from a trough on; None where the burst holds nothing to draw."""
    volts = volts_of(burst)
    if np.count_nonzero(np.isfinite(volts)) < 4 or burst.rate_hz <= 0:
        return None
    mains_hz = period_of(volts, burst.rate_hz)
    wanted = round((CYCLES / mains_hz if mains_hz else WITHOUT_PERIOD_S) * burst.rate_hz) + 1
    first = 0
    if mains_hz:
        one = volts[: max(1, round(burst.rate_hz / mains_hz))]
        first = int(np.nanargmin(one)) if np.any(np.isfinite(one)) else 0
    if first + wanted > volts.size:
        first = max(0, volts.size - wanted)
    shown = volts[first : first + wanted]
    if not np.any(np.isfinite(shown)):
        return None
    return Cycles(
        np.arange(shown.size) / burst.rate_hz, shown, mains_hz, float(np.nanmin(shown)), float(np.nanmax(shown))
    )


def period_of(volts: NDArray[np.float64], rate_hz: float) -> float | None:
    """Mains frequency [Hz] by least squares over 44 to 66 Hz, with two overtones and a slope; None where no wave explains the samples.

    A burst of fewer than two cycles tells nothing.
    """
    known = np.isfinite(volts)
    times, values = np.arange(volts.size)[known] / rate_hz, volts[known]
    if values.size < 12 or times[-1] - times[0] < CYCLES / LOWEST_HZ or float(np.std(values)) == 0.0:
        return None
    level = values - values.mean()
    slope = times - times.mean()
    level = level - slope * float(level @ slope) / float(slope @ slope)
    best_hz, best = _best(times, level, np.arange(LOWEST_HZ, HIGHEST_HZ + 0.01, 1.0))
    if best > EXPLAINED / 2:
        best_hz, best = _best(times, level, best_hz + np.arange(-1.0, 1.01, 0.25))
    return best_hz if best > EXPLAINED else None


def _best(
    times: NDArray[np.float64], level: NDArray[np.float64], candidates_hz: NDArray[np.float64]
) -> tuple[float, float]:
    """The frequency whose waves explain most of `level`, and how much of its variance they do."""
    best_hz, best = 0.0, -1.0
    for hz in candidates_hz:
        angles = 2 * np.pi * hz * times
        basis = np.column_stack([wave(n * angles) for n in (1, 2, 3) for wave in (np.sin, np.cos)])
        fitted = basis @ np.linalg.lstsq(basis, level, rcond=None)[0]
        explained = float(fitted @ fitted) / float(level @ level) if float(level @ level) else 0.0
        if explained > best:
            best_hz, best = float(hz), explained
    return best_hz, best
