"""Which rail maximum is to be expected in each cycle: the steady level of each load, and the way from one to the next.

A load that changes moves the maximum over some cycles, a press lifts it by a diode drop. So each cycle gets a band: what lies
under its lower edge or over its upper edge is not the chime's own doing. Refuses to know what an event is.
"""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.model import LoadState
from service.supply.mains_classes import Limits

Floats = NDArray[np.floating[Any]]
Bools = NDArray[np.bool_]
Whole = NDArray[np.integer[Any]]

STATES: tuple[LoadState, ...] = ("idle", "test", "sound")

ARRIVED_SHARE = 0.03
"""A maximum within this of its steady level has found it."""

PRESS_RISE_V = 1.0
"""A press takes one diode drop out of the way: 0.57 to 0.91 V from 1 mA to 1 A for a 1N4007 (ngspice)."""

LOWEST_LEVEL_V = 1.0
"""No chime lives on less; what was measured then is no supply."""

FEWEST_CYCLES = 5
GAP_CYCLES = 3.5


@dataclass(frozen=True, slots=True)
class CycleMaxima:
    """Rail maxima of mains cycles: `at_s` (N,) where each cycle begins, POSIX [s]; `maxima_v` (N,) [V], NaN = no value;
    `cycle_s` their spacing. Stretches may be missing."""

    at_s: Floats
    maxima_v: Floats
    cycle_s: float

    @classmethod
    def regular(cls, start_s: float, cycle_s: float, maxima_v: Floats) -> "CycleMaxima":
        return cls(start_s + cycle_s * np.arange(len(maxima_v)), maxima_v, cycle_s)

    def usable(self) -> "CycleMaxima":
        """In order of time, without NaN and repeats."""
        good = np.isfinite(self.maxima_v) & np.isfinite(self.at_s)
        at_s, maxima_v = self.at_s[good], self.maxima_v[good]
        if len(at_s) > 1 and bool(np.any(np.diff(at_s) < 0.5 * self.cycle_s)):
            order = np.argsort(at_s, kind="stable")
            at_s, maxima_v = at_s[order], maxima_v[order]
            fresh = np.concatenate(([True], np.diff(at_s) >= 0.5 * self.cycle_s))
            at_s, maxima_v = at_s[fresh], maxima_v[fresh]
        return CycleMaxima(at_s, maxima_v, self.cycle_s)


@dataclass(frozen=True, slots=True)
class Doings:
    """What the chime itself did meanwhile, and what is known of its supply.

    `loads`: (moment, state from then on); before the first it is idle. Empty: not told. `radio`: (moment, may transmit).
    `presses`, `soundings`: (start, end). `power_ups`: moments. All POSIX [s].
    By load, each where known: `steady_v` the maximum of the hours before [V]; `fall_v_per_s` how fast the rail falls between
    recharges (positive) [V/s]; `drop_v` source peak minus rail maximum [V].
    """

    loads: Sequence[tuple[float, LoadState]] = ()
    radio: Sequence[tuple[float, bool]] = ()
    presses: Sequence[tuple[float, float]] = ()
    soundings: Sequence[tuple[float, float]] = ()
    power_ups: Sequence[float] = ()
    steady_v: Mapping[LoadState, float] = field(default_factory=dict)
    fall_v_per_s: Mapping[LoadState, float] = field(default_factory=dict)
    drop_v: Mapping[LoadState, float] = field(default_factory=dict)

    @property
    def loads_told(self) -> bool:
        return bool(self.loads or self.soundings)


@dataclass(frozen=True, slots=True)
class Band:
    """For N cycles: the expected maximum lies from `low_v` to `high_v` (0 and infinity where nothing is known).

    `state`: index into STATES; `quiet`: nothing the chime did moves the maximum; `broken`: cycles are missing before this one;
    `noise_v`: scatter of a quiet maximum from cycle to cycle. `pulled_share`: how far, in a usual second, the lowest quiet
    maxima lie below their level: by a radio that nobody told of, for instance. `usual_v`: median level of each load.
    """

    low_v: Floats
    high_v: Floats
    state: Whole
    quiet: Bools
    broken: Bools
    noise_v: float
    pulled_share: float
    usual_v: Mapping[int, float]


def band(series: CycleMaxima, doings: Doings, limits: Limits) -> Band:
    """`series` must be usable() and not empty."""
    at_s, maxima = series.at_s, series.maxima_v
    loads = sorted(doings.loads) or _from_soundings(doings.soundings)
    state = _held(at_s, [(moment, STATES.index(load)) for moment, load in loads])
    radio = _held(at_s, [(moment, int(on)) for moment, on in sorted(doings.radio)])
    key = 2 * state + radio
    changes = np.flatnonzero(np.diff(key)) + 1
    starts = np.searchsorted(at_s, np.asarray(sorted(doings.power_ups), float))
    starts = np.unique(starts[starts < len(at_s)])
    cycle_s = series.cycle_s
    pressed = _within(at_s, doings.presses, cycle_s, cycle_s)
    quiet = ~_after(np.union1d(changes, starts), len(at_s), limits.settle_cycles)
    quiet &= ~_within(at_s, doings.presses, cycle_s, cycle_s * limits.settle_cycles)
    broken = np.diff(at_s, prepend=at_s[0]) > GAP_CYCLES * cycle_s
    noise = _noise(maxima, quiet & ~broken)
    level = _levels(series, key, quiet & ~_sinking(series, state, noise, doings), doings, limits)
    usual = {
        k: float(np.median(level[known]))
        for k in range(len(STATES))
        if (known := (state == k) & ~np.isnan(level)).any()
    }
    judged = maxima[quiet] / level[quiet]
    low, high = np.where(np.isnan(level), 0.0, level), np.where(np.isnan(level), np.inf, level)
    _bridge(low, high, series, changes, starts, limits)
    _lift(low, high, series, doings.presses, limits)
    return Band(low, high, state, quiet & ~pressed, broken, noise, _pulled(judged[np.isfinite(judged)]), usual)


def _from_soundings(soundings: Sequence[tuple[float, float]]) -> list[tuple[float, LoadState]]:
    starts: list[tuple[float, LoadState]] = [(start_s, "sound") for start_s, _ in soundings]
    return sorted([*starts, *((end_s, "idle") for _, end_s in soundings)])


def _held(at_s: Floats, told: Sequence[tuple[float, int]]) -> Whole:
    """The value told last when each cycle begins; 0 before the first."""
    if not told:
        return np.zeros(len(at_s), int)
    moments, values = np.array([moment for moment, _ in told]), np.array([0, *(value for _, value in told)])
    return values[np.searchsorted(moments, at_s, side="right")]


def _within(at_s: Floats, stretches: Sequence[tuple[float, float]], before_s: float, after_s: float) -> Bools:
    """Cycles that begin in a stretch, up to `before_s` before it or up to `after_s` after it."""
    edge = np.zeros(len(at_s) + 1, int)
    for start_s, end_s in stretches:
        edge[np.searchsorted(at_s, start_s - before_s)] += 1
        edge[np.searchsorted(at_s, end_s + after_s, side="right")] -= 1
    return np.asarray(np.cumsum(edge[:-1]) > 0)


def _after(indices: Whole, count: int, cycles: int) -> Bools:
    """Cycles from one of the indices to `cycles` later."""
    edge = np.zeros(count + 1, int)
    np.add.at(edge, indices, 1)
    np.add.at(edge, np.minimum(indices + cycles, count), -1)
    return np.asarray(np.cumsum(edge[:-1]) > 0)


def _noise(maxima: Floats, quiet: Bools) -> float:
    steps = np.abs(np.diff(maxima))[quiet[1:]]
    if len(steps) < FEWEST_CYCLES:
        return 0.0
    return float(np.median(steps[:: len(steps) // 20_000 + 1]) * 1.4826 / np.sqrt(2.0))


def _sinking(series: CycleMaxima, state: Whole, noise: float, doings: Doings) -> Bools:
    """Cycles about which the rail falls as it does without recharging: that is no level, whatever its median."""
    maxima, sinking = series.maxima_v, np.zeros(len(state), bool)
    for k, load in enumerate(STATES):
        free = abs(doings.fall_v_per_s.get(load, 0.0)) * series.cycle_s
        if free > noise and len(maxima) > 4:
            sinking[2:-2] |= (state[2:-2] == k) & (maxima[:-4] - maxima[4:] > 0.6 * 4.0 * free)
    return sinking


def _pulled(shares: Floats) -> float:
    """Of each fifty quiet maxima the lowest twentieth, and of these the median: an event is in few of them, a radio in most."""
    lowest = [np.percentile(part, 5.0) for part in np.array_split(shares, min(len(shares) // 50 + 1, 400)) if len(part)]
    return max(1.0 - float(np.median(lowest)), 0.0) if lowest else 0.0


def _levels(series: CycleMaxima, key: Whole, quiet: Bools, doings: Doings, limits: Limits) -> Floats:
    """Sliding reference of each cycle's own load; NaN where that load was never seen quiet."""
    level, keys = np.full(len(key), np.nan), np.unique(key).tolist()
    by_key: dict[int, tuple[Floats, Floats]] = {}
    for k in keys:
        steady_v = doings.steady_v.get(STATES[k // 2])
        followed = _follow(series, quiet & (key == k), steady_v, limits)
        if followed:
            by_key[k] = np.array([at_s for at_s, _ in followed]), np.array([volts for _, volts in followed])
        elif steady_v is not None:
            by_key[k] = series.at_s[:1], np.array([steady_v])
    for k in keys:
        source = by_key.get(k) or by_key.get(k ^ 1)  # the same load with the radio the other way
        if source is not None:
            own = key == k
            level[own] = np.interp(series.at_s[own], *source)
    return np.where(level < LOWEST_LEVEL_V, np.nan, level)


def _follow(series: CycleMaxima, chosen: Bools, reference: float | None, limits: Limits) -> list[tuple[float, float]]:
    """(middle moment, reference) of each stretch of time that has enough chosen cycles.

    Cycles in an event do not move the reference, so it stands still while one lasts, as IEC 61000-4-30 has it.
    """
    at_s, maxima = series.at_s[chosen], series.maxima_v[chosen]
    edges = np.flatnonzero(np.diff(np.floor((at_s - series.at_s[0]) / limits.reference_s))) + 1
    low, high = limits.dip_share + limits.hysteresis_share, limits.swell_share - limits.hysteresis_share
    found: list[tuple[float, float]] = []
    for a, b in itertools.pairwise([0, *edges.tolist(), len(at_s)]):
        if b - a < FEWEST_CYCLES:
            continue
        volts = maxima[a:b]
        if reference is None:
            reference = float(np.median(volts))
        ordinary = volts[(volts >= low * reference) & (volts <= high * reference)]
        if len(ordinary) >= FEWEST_CYCLES:
            reference = float(np.median(ordinary))
        found.append((float(at_s[a:b].mean()), reference))
    return found


def _bridge(low: Floats, high: Floats, series: CycleMaxima, changes: Whole, starts: Whole, limits: Limits) -> None:
    """Widens the band after each change of load, in place, until the maximum has found its new level."""
    begun = set(starts.tolist())
    marks = sorted({*changes.tolist(), *begun})
    for i, following in itertools.pairwise([*marks, len(low)]):
        end = max(min(int(np.searchsorted(series.at_s, series.at_s[i] + limits.settle_s)), following), i + 1)
        before = max(i - 2, 0)
        lower, upper = (0.0, np.inf) if i in begun else (min(low[before], low[i]), max(high[before], high[i]))
        maxima = series.maxima_v[i:end]
        away = (maxima > high[i:end] * (1.0 + ARRIVED_SHARE)) if upper > high[i] else np.zeros(end - i, bool)
        if lower < low[i]:
            away |= maxima < low[i:end] * (1.0 - ARRIVED_SHARE)
        there = np.flatnonzero(~away)
        arrived = i + (int(there[0]) if len(there) else end - i)
        arrived = min(max(arrived, i + 2), end)
        # A change of load falls into the cycle before, which has begun under the old one.
        first = i if i in begun else max(i - 1, 0)
        low[first:arrived] = np.minimum(low[first:arrived], lower)
        high[first:arrived] = np.maximum(high[first:arrived], upper)


def _lift(
    low: Floats, high: Floats, series: CycleMaxima, presses: Sequence[tuple[float, float]], limits: Limits
) -> None:
    """Lifts the upper edge, in place, while a button is held and until the reservoir has lost the rise again."""
    at_s = series.at_s
    for start_s, end_s in presses:
        i = max(int(np.searchsorted(at_s, start_s, side="right")) - 1, 0)
        released = int(np.searchsorted(at_s, end_s, side="right")) + 1
        end = int(np.searchsorted(at_s, end_s + limits.settle_s))
        back = np.flatnonzero(series.maxima_v[released:end] <= low[released:end] * (1.0 + ARRIVED_SHARE / 3.0))
        until = released + int(back[0]) if len(back) else max(end, released)
        high[i:until] = np.maximum(high[i:until], low[i:until] + PRESS_RISE_V)
