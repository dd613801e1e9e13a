"""Whether a quantity drifts over weeks, how fast, and when it will meet a limit. Robust: a few wild readings do not matter.

The slope is the median of the slopes of all pairs (Theil 1950; Sen 1968), its interval Sen's, from Kendall's statistic: no
distribution of the readings is assumed. Refuses to know what drifts, and to extrapolate where a trend is not sure.
"""

from dataclasses import dataclass
from math import isfinite, nan, sqrt
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]

NORMAL_90 = 1.6448536269514722
"""Quantile of the normal distribution for a 90 % interval."""

MOST_POINTS = 1000
"""Half a million pairs. More readings are joined to medians of neighbours first."""

COVARIATE_RANGE_K = 2.0
"""A temperature that hardly moves explains nothing."""

DAY_S = 86_400.0
YEAR_S = 365.25 * DAY_S

Why = Literal[
    "too few readings",
    "too short a time",
    "the slope may as well be nothing",
    "it moves away from the limit",
    "beyond ten years",
]


@dataclass(frozen=True, slots=True)
class Rules:
    """When a trend is trusted. `confidence` is 90 % everywhere; a forecast goes no further than `horizon_s`."""

    fewest: int = 8
    shortest_s: float = 21.0 * DAY_S
    horizon_s: float = 10.0 * YEAR_S


@dataclass(frozen=True, slots=True)
class Trend:
    """value(t) = middle_value + slope_per_s (t − middle_s), at the median temperature where temperatures were given.

    `slope_low`, `slope_high`: 90 % interval [unit/s]. The line turns about the middle of the readings as the slope varies.
    `per_kelvin`: how the quantity follows temperature [unit/K]; None where that was not looked at.
    """

    slope_per_s: float
    slope_low: float
    slope_high: float
    middle_s: float
    middle_value: float
    readings: int
    span_s: float
    per_kelvin: float | None = None

    @property
    def is_sure(self) -> bool:
        """Whether the interval of the slope leaves out zero."""
        return self.slope_low > 0.0 or self.slope_high < 0.0

    def at(self, moment_s: float, slope_per_s: float | None = None) -> float:
        slope = self.slope_per_s if slope_per_s is None else slope_per_s
        return self.middle_value + slope * (moment_s - self.middle_s)


@dataclass(frozen=True, slots=True)
class Meeting:
    """When the limit is met [POSIX s]: `at_s` with its 90 % interval; `latest_s` None: beyond the horizon, or never.

    All None with `why` where that cannot be said. `already`: the line has passed the limit; then `at_s` lies in the past.
    """

    at_s: float | None = None
    earliest_s: float | None = None
    latest_s: float | None = None
    already: bool = False
    why: Why | None = None


def trend(
    at_s: Floats, values: Floats, temperature_c: Floats | None = None, *, correlated: bool = True
) -> Trend | None:
    """Robust line through readings.

    Parameters
    ----------
    at_s, values : (N,) moments [POSIX s] and readings; pairs with NaN are left out. Order does not matter.
    temperature_c : (N,) [Cel], optional. Both time and value are freed of what follows temperature before the slope is taken, so
        a season is not taken for a drift. Used where it is known for all readings but a tenth, and moves by 2 K and more.
    correlated : widen the interval where residuals follow each other (variance × (1 + r) / (1 − r), r their lag-one
        correlation; common practice in climate records). Sen's interval takes readings as independent.

    None with fewer than three readings, or all at one moment.

    >>> found = trend(np.arange(5.0), np.array([1.0, 3.0, 5.0, 7.0, 900.0]), correlated=False)
    >>> found.slope_per_s, found.at(3.0)
    (2.0, 7.0)
    """
    good = np.isfinite(at_s) & np.isfinite(values)
    warm = _covariate(temperature_c, good)
    if warm is not None:
        good &= np.isfinite(warm)
    at_s, values = at_s[good], values[good]
    if len(at_s) < 3 or float(np.ptp(at_s)) <= 0.0:
        return None
    order = np.argsort(at_s, kind="stable")
    columns: list[Floats] = [at_s[order], values[order]] + ([warm[good][order]] if warm is not None else [])
    if len(at_s) > MOST_POINTS:
        columns = [_joined(column) for column in columns]
    times, readings = columns[0] - columns[0][0], columns[1]
    times_free: Floats = times
    readings_free: Floats = readings
    per_kelvin = None
    if warm is not None:
        offset = columns[2] - median(columns[2])
        times_free = times - _slope(offset, times) * offset
        readings_free = readings - _slope(offset, readings) * offset
    slopes = _slopes(times_free, readings_free)
    slope = median(slopes)
    if warm is not None:
        per_kelvin = _slope(offset, readings - slope * times)
        readings = readings - per_kelvin * offset
    inflation = _inflation(readings - slope * times) if correlated else 1.0
    low, high = _interval(slopes, times_free, readings_free, inflation)
    middle = median(times)
    return Trend(
        slope,
        low,
        high,
        float(columns[0][0]) + middle,
        median(readings - slope * (times - middle)),
        len(at_s),
        float(np.ptp(at_s)),
        per_kelvin,
    )


def meets(found: Trend | None, limit: float, now_s: float, rules: Rules | None = None) -> Meeting:
    """When a drifting quantity will meet a limit, or why that cannot be said.

    >>> line = Trend(-1e-8, -1.2e-8, -0.8e-8, 0.0, 1.0, 100, 200 * DAY_S)
    >>> meeting = meets(line, 0.8, now_s=0.0)
    >>> [round(moment / DAY_S) for moment in (meeting.earliest_s, meeting.at_s, meeting.latest_s)]
    [193, 231, 289]
    """
    rules = rules or Rules()
    if found is None or found.readings < rules.fewest:
        return Meeting(why="too few readings")
    if found.span_s < rules.shortest_s:
        return Meeting(why="too short a time")
    if not found.is_sure:
        return Meeting(why="the slope may as well be nothing")
    now = found.at(now_s)
    missing = limit - now
    moments = sorted(_crossing(found, slope, limit) for slope in (found.slope_low, found.slope_per_s, found.slope_high))
    at_s = _crossing(found, found.slope_per_s, limit)
    if missing * found.slope_per_s <= 0.0:
        began = found.at(found.middle_s - found.span_s / 2.0)
        if (limit - began) * found.slope_per_s > 0.0:  # it was on the good side when the readings began
            return Meeting(at_s, moments[0], min(moments[-1], now_s), already=True)
        return Meeting(why="it moves away from the limit")
    if at_s > now_s + rules.horizon_s:
        return Meeting(why="beyond ten years")
    latest = moments[-1]
    return Meeting(at_s, max(moments[0], now_s), latest if latest <= now_s + rules.horizon_s else None)


def _crossing(found: Trend, slope: float, limit: float) -> float:
    return found.middle_s + (limit - found.middle_value) / slope


def _covariate(temperature_c: Floats | None, good: NDArray[np.bool_]) -> Floats | None:
    if temperature_c is None:
        return None
    warm = np.asarray(temperature_c, float)
    known = warm[good & np.isfinite(warm)]
    if len(known) < 3 or len(known) < 0.9 * good.sum() or float(np.ptp(known)) < COVARIATE_RANGE_K:
        return None
    return warm


def median(values: Floats) -> float:
    """As numpy's, NaN where there is one or nothing at all; that one would load masked arrays, a megabyte that nothing else here needs.

    >>> median(np.array([3.0, 1.0, 2.0, 4.0])), median(np.array([1.0, np.nan]))
    (2.5, nan)
    """
    count = len(values)
    if not count:
        return nan
    low, high = (count - 1) // 2, count // 2
    parted = np.partition(values, (low, high, count - 1))  # NaN comes last
    return float((parted[low] + parted[high]) / 2.0) if parted[-1] == parted[-1] else nan


def _joined(column: Floats) -> Floats:
    """Medians of neighbours, MOST_POINTS of them."""
    return np.array([median(group) for group in np.array_split(column, MOST_POINTS)])


def _slopes(x: Floats, y: Floats) -> Floats:
    """Slopes of all pairs that differ in x."""
    first, second = np.triu_indices(len(x), 1)
    run = x[second] - x[first]
    apart = run != 0.0
    return np.asarray((y[second] - y[first])[apart] / run[apart])


def _slope(x: Floats, y: Floats) -> float:
    slopes = _slopes(x, y)
    return median(slopes) if len(slopes) else 0.0


def _interval(slopes: Floats, x: Floats, y: Floats, inflation: float) -> tuple[float, float]:
    """Sen's interval: the slopes at ranks (pairs ± z·σ) / 2, σ² Kendall's with ties."""
    n, pairs = len(x), len(slopes)
    variance = n * (n - 1) * (2 * n + 5) - _ties(x) - _ties(y)
    ordered = np.sort(slopes)
    if variance <= 0.0:  # nearly all readings alike: the formula has nothing to say, so every slope is possible
        return float(ordered[0]), float(ordered[-1])
    half = NORMAL_90 * sqrt(variance / 18.0 * inflation)
    upper = min(round((pairs + half) / 2.0), pairs - 1)
    lower = max(round((pairs - half) / 2.0) - 1, 0)
    return float(ordered[lower]), float(ordered[upper])


def _ties(values: Floats) -> float:
    _, counts = np.unique(values, return_counts=True)
    repeated = counts[counts > 1].astype(float)
    return float(np.sum(repeated * (repeated - 1.0) * (2.0 * repeated + 5.0)))


def _inflation(residuals: Floats) -> float:
    """Variance inflation by lag-one correlation of ranks, where it is more than chance; 1 without."""
    n = len(residuals)
    if n < 8:
        return 1.0
    ranks = np.argsort(np.argsort(residuals, kind="stable"), kind="stable").astype(float)
    ranks -= ranks.mean()
    spread = float(np.sum(ranks**2))
    r = float(np.sum(ranks[1:] * ranks[:-1])) / spread if spread > 0.0 else 0.0
    if not isfinite(r) or r < NORMAL_90 / sqrt(n):
        return 1.0
    r = min(r, 0.95)
    return (1.0 + r) / (1.0 - r)
