"""Which lines may be the true one, given the lowest witnesses of a boot, and how likely each is.

A line is a drift and a height, the arrival - up [s] of a pack without delay. Each witness lies above the true line by its
delay: by an exponential law of unknown mean where the pack was sent at once, by anything where it was kept back. Bayes' rule
over drift, mean delay and height, on a grid; so many lines with weights stand for what is known. Refuses to know how
witnesses were chosen.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

DRIFT_SD = 30e-6
"""What is known beforehand of the drift: crystals of microcontrollers keep some tens of ppm (common practice, no source)."""

OTHER_CRYSTAL = 0.05
"""How likely it is that the drift known from other boots is not this boot's after all."""

DAILY, SEASONAL = 4e-6, 1e-6 / (30 * 86400.0)
"""The drift itself wanders: by some ppm with the warmth of a day, and with the season by 1 ppm in a month [1, 1/s] (common
practice, no source)."""

HALF_DAY_S = 86400.0 / math.pi
"""What a swing of the drift by 1 with the day adds up to from its one end to the other [s]."""

DELAY_S = 0.05
"""What even the quickest of all packs may have taken from the chime to here [s] (common practice, no source)."""

MEAN_DELAYS_S = np.geomspace(3e-4, 1.8, 8)
"""Thought possible before any pack is seen, each alike [s]: from a wire in the house to a network that stalls. Their upper
end gives a lone pack an interval of 2.2 s either way."""

EVIDENCE = 0.3
"""A witness counts as so much of an independent one: it was chosen for being low. Found by simulated boots, as those of the tests."""

NEXT_WAITS, WAITS = 0.5, 0.01
"""How likely it is that the newest pack of a flush was kept back like those before it; and that a pack of no flush was."""

WAIT_S = 86400.0
"""How long, in order of magnitude, a pack of no flush is kept back [s]. The newest of a flush: about as long as the pack before
it was older, and as the flush took."""

LIKELY = 0.95
"""Probability inside the interval that is given out as 90 %: a network keeps to no law of delays."""

CLOCK_ERROR_S, CLOCK_SD_S = 1.5, 0.6
"""Largest error of a chime's clock that is right, and its standard deviation [s]: it counts whole seconds (up to 1 s) and has
been set by somebody (0.5 s)."""

STEEPEST = 200e-6
"""No crystal that works at all drifts by more (common practice, no source)."""

Witness = tuple[float, float]
"""(up [s], arrival - up [s])"""

Drift = tuple[float, float]
"""Mean and standard deviation of what wall time gains on the chime's clock, in seconds per second."""

Floats = npt.NDArray[np.float64]

_DRIFTS = 33
_COLUMNS = np.arange(_DRIFTS)
_RATES = 1 / MEAN_DELAYS_S
_PARTS = np.array([0.0, 0.05, 0.15, 0.3, 0.5, 0.75, 1.05, 1.4, 1.8, 2.3, 2.9, 3.7, 4.8, 40.0])  # of the law of mean one
_PART_WEIGHTS = -np.diff(np.exp(-_PARTS))
_PART_MEANS = -np.diff((_PARTS + 1) * np.exp(-_PARTS)) / _PART_WEIGHTS
_LATE_S = np.geomspace(0.1, 1e6, 48)
_LATE_WIDTHS_S = np.gradient(_LATE_S)


@dataclass(frozen=True, slots=True)
class Line:
    """wall time = offset_s + up x (1 + drift), in POSIX seconds."""

    offset_s: float
    drift: float = 0.0

    def wall_s(self, up_s: float) -> float:
        return self.offset_s + up_s * (1.0 + self.drift)

    def differs(self, other: "Line", last_up_s: float) -> float:
        """The largest difference between the two [s] over 0 <= up <= last_up_s."""
        return max(abs(self.wall_s(up) - other.wall_s(up)) for up in (0.0, last_up_s))


@dataclass(frozen=True, slots=True)
class Belief:
    """Lines that may be the true one with their weights, and the one that is told. `drift`: mean and standard deviation."""

    line: Line
    drift: Drift
    witnesses: tuple[Witness, ...]
    middle_up_s: float
    drifts: Floats
    heights_s: Floats  # at middle_up_s
    weights: Floats
    late_density: Floats  # that all witnesses are late by _LATE_S, [1/s] in the same weights

    def above_s(self, up_s: float) -> Floats:
        """How far each line lies above the one told, at a moment [s]."""
        told_s = self.line.offset_s + up_s * self.line.drift
        return (self.heights_s - told_s) + self.drifts * (up_s - self.middle_up_s)

    def uncertainty_s(self, up_s: float) -> float:
        """Half width of the interval that holds the true line at a moment [s]: 90 % and better."""
        misses_s = np.abs(self.above_s(up_s))
        order = misses_s.argsort()
        inside = self.weights[order].cumsum()
        missed_s = float(np.interp(LIKELY * inside[-1], inside, misses_s[order]))
        first_s, last_s = self.witnesses[0][0], self.witnesses[-1][0]
        reach_s = last_s - first_s + 2 * max(first_s - up_s, up_s - last_s, 0.0)
        wander_s = DAILY * min(reach_s, HALF_DAY_S) + SEASONAL * reach_s**2 / 6
        return DELAY_S + math.hypot(missed_s, wander_s)


@lru_cache(4)  # each holds a few hundred kilobytes, and is asked for again while one pack is understood
def belief(witnesses: tuple[Witness, ...], drift_known: Drift | None) -> Belief:
    """From witnesses in order of up, at least one."""
    up, height = np.array(witnesses).T
    middle_s, base_s = (up[0] + up[-1]) / 2, height.min()
    x, y = up - middle_s, height - base_s
    newest, waits_s = _newest_of_flushes(x + y, x)
    late = np.where(waits_s > 0, NEXT_WAITS, WAITS)[:, None]
    wait_s = np.where(waits_s > 0, waits_s, WAIT_S)[:, None]

    def late_density(delay_s: Floats) -> Floats:  # one in a hundred waits nine times as long
        return late * 2 / wait_s * (1 + delay_s / wait_s) ** -3

    low, high = -4 * DRIFT_SD, 4 * DRIFT_SD
    near, far = y[newest, None], x[newest, None]
    while True:  # each round looks closer, until the grid is fine beside what it finds
        step = (high - low) / (_DRIFTS - 1)
        drifts: Floats = np.linspace(low, high, _DRIFTS)
        highest = (y[:, None] - x[:, None] * drifts).min(axis=0)
        delay_s = near - far * drifts - highest
        prompt = (np.exp(delay_s[..., None] * -_RATES) * _RATES) * (1 - late[..., None])
        density = prompt + late_density(delay_s)[..., None]
        lowest = delay_s.argmin(axis=0)
        counted = np.full(delay_s.shape, EVIDENCE)
        counted[lowest, _COLUMNS] = 1.0  # the one it lies on counts in full
        rate = np.einsum("ij,ijk->jk", counted, prompt / density) * _RATES  # how fast lower lines grow unlikely [1/s]
        prior = _drift_density(drifts, drift_known)
        logs = np.einsum("ij,ijk->jk", counted, np.log(density)) - np.log(rate) + np.log(prior)[:, None]
        scale = logs.max()
        weights = np.exp(logs - scale)
        by_drift = weights.sum(axis=1)
        total = by_drift.sum()
        drift = float(by_drift @ drifts / total)
        sd = math.sqrt(float(by_drift @ (drifts - drift) ** 2 / total))
        if sd >= step or step < 1e-12:
            break
        half = max(5 * sd, 1.25 * step)
        low, high = drift - half, drift + half

    told = _rounded(drift, sd)
    line = Line(float(base_s) + float((y - told * x).min()) - told * float(middle_s), told)
    at = int(by_drift.argmax())
    all_late = late_density(delay_s[:, at, None] + _LATE_S)
    logs_late = (counted[:, at, None] * np.log(all_late)).sum(axis=0) + math.log(prior[at]) - scale
    late_at = np.exp(logs_late) * len(_RATES) * (total / by_drift[at])
    shape = (*rate.shape, len(_PART_MEANS))
    below_s = highest[:, None, None] - _PART_MEANS / rate[..., None]
    return Belief(
        line,
        (drift, max(sd, step)),
        witnesses,
        float(middle_s),
        np.concatenate([np.broadcast_to(drifts[:, None, None], shape).ravel(), np.full(len(_LATE_S), drifts[at])]),
        float(base_s) + np.concatenate([below_s.ravel(), highest[at] - _LATE_S]),
        np.concatenate([(weights[..., None] * _PART_WEIGHTS).ravel(), late_at * _LATE_WIDTHS_S]),
        late_at,
    )


def corrected(believed: Belief, readings: tuple[Witness, ...]) -> Belief:
    """By those readings (up, clock - up) that agree with it within their own error and its own; the others are wrong."""
    right = [reading for reading in readings if _agrees(believed, reading)]
    if not right:
        return believed
    up_s, height_s = sum(up for up, _ in right) / len(right), sum(height for _, height in right) / len(right)
    highest_s = believed.line.offset_s + believed.line.drift * up_s
    around_s = (highest_s - height_s) + CLOCK_SD_S * np.linspace(-2.5, 2.5, 11)
    around_s = around_s[around_s > 10 * CLOCK_SD_S]  # nearer than that the grid is fine enough
    late = np.interp(around_s, _LATE_S, believed.late_density) * CLOCK_SD_S / 2
    drifts = np.concatenate([believed.drifts, np.full(len(around_s), believed.line.drift)])
    at_middle_s = believed.line.offset_s + believed.line.drift * believed.middle_up_s
    heights_s = np.concatenate([believed.heights_s, at_middle_s - around_s])
    misses_s = heights_s + drifts * (up_s - believed.middle_up_s) - height_s
    weights = np.concatenate([believed.weights, late]) * np.exp(-0.5 * (misses_s / CLOCK_SD_S) ** 2)
    drift = float(weights @ drifts / weights.sum())
    sd = math.sqrt(float(weights @ (drifts - drift) ** 2 / weights.sum()))
    told = _rounded(drift, sd)
    order = heights_s.argsort()
    inside = weights[order].cumsum()
    median_s = float(heights_s[order[inside.searchsorted(inside[-1] / 2)]])
    line = Line(median_s - told * believed.middle_up_s, told)
    return Belief(
        line,
        believed.drift,
        believed.witnesses,
        believed.middle_up_s,
        drifts,
        heights_s,
        weights,
        believed.late_density,
    )


def _agrees(believed: Belief, reading: Witness) -> bool:
    up_s, height_s = reading
    after_arrival_s = height_s - min(y + STEEPEST * abs(up_s - x) for x, y in believed.witnesses)
    above_s = height_s - (believed.line.offset_s + believed.line.drift * up_s)
    return after_arrival_s <= CLOCK_ERROR_S and abs(above_s) <= CLOCK_ERROR_S + believed.uncertainty_s(up_s)


def _drift_density(drifts: Floats, known: Drift | None) -> Floats:
    any_crystal = _normal(drifts, 0.0, DRIFT_SD)
    return any_crystal if known is None else OTHER_CRYSTAL * any_crystal + (1 - OTHER_CRYSTAL) * _normal(drifts, *known)


def _normal(values: Floats, mean: float, sd: float) -> Floats:
    density: Floats = np.exp(-0.5 * ((values - mean) / sd) ** 2) / sd
    return density


def _newest_of_flushes(arrivals_s: Floats, ups_s: Floats) -> tuple[npt.NDArray[np.intp], Floats]:
    """Which witnesses are not followed by one that came too soon after them, and how long those may have waited [s].

    A pack that arrives less than half as long after the one before as it was made after it shows that one to have waited.
    """
    flushed = np.append(np.diff(arrivals_s) < np.diff(ups_s) / 2, False)
    waits_s = np.zeros(len(ups_s))
    began = 0
    for i in range(1, len(ups_s)):
        if flushed[i - 1]:
            waits_s[i] = max(ups_s[i] - ups_s[i - 1], arrivals_s[i] - arrivals_s[began])
        else:
            began = i
    newest = np.flatnonzero(~flushed)
    return newest, waits_s[newest]


def _rounded(drift: float, sd: float) -> float:
    """To the digits that its standard deviation leaves it."""
    return round(drift, -math.floor(math.log10(max(sd, 1e-12) / 2))) + 0.0  # and -0.0 is 0.0
