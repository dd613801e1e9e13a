"""Dips and swells of the mains, told from what a chime sees behind its rectifier.

The rail's cycle maximum stands in for the mains voltage: source peak minus a drop. While the mains is low the reservoir is not
recharged, so the maximum falls only as fast as the load empties it: a short dip looks shallower than it is, and a swell longer.
Hence bounds instead of a bare figure. Only maxima are used; radio packets pull the minima down.
Thresholds, hysteresis and reference after IEC 61000-4-30, classes after IEEE 1159. Refuses to know clocks, stores and wording.
"""

from collections.abc import Sequence

import numpy as np

from service.supply.mains_classes import Limits, MainsEvent
from service.supply.mains_look import RESIDUAL_ERROR, Look
from service.supply.mains_steady import CycleMaxima, Doings

FREE_SHARE, FASTEST_SHARE = 0.7, 1.5
"""A fall between these shares of the known discharge is one without any recharging; a faster one has another cause."""

MOST_PULLED = 0.05
"""The lowest cycle of a dip may be one that a radio pulled, by no more than this; a radio of 0.2 A at 8 Ω (common practice)."""

FEWEST_PAUSED_CYCLES = 4
LONGEST_WALK_CYCLES = 60


def events(series: CycleMaxima, doings: Doings, limits: Limits | None = None) -> list[MainsEvent]:
    """Events in a series of cycle maxima, in order of time.

    The reference is the median of quiet cycles, each load its own, minute by minute, or what `doings.steady_v` tells. A short
    record of which more than half lies in an event needs `steady_v`. Loads that are not told make dips of their own:
    then `also_possible` has "own load". An empty or all-NaN series gives none.

    Three cycles at 70 % behind a small reservoir:

    >>> volts = np.full(200, 20.0); volts[100:103] = 14.0
    >>> found, = events(CycleMaxima.regular(0.0, 0.02, volts), Doings(loads=[(0.0, "idle")], drop_v={"idle": 0.0}))
    >>> found.kind, found.start_s, round(found.duration_s, 3), found.residual
    ('dip', 2.0, 0.06, 0.7)
    """
    limits = limits or Limits()
    series = series.usable()
    if not len(series.at_s):
        return []
    look = Look.at(series, doings, limits)
    low, high, back = limits.dip_share, limits.swell_share, limits.hysteresis_share
    dips = [_dip(look, *span) for span in look.spans(look.below(low), look.below(low + back))]
    swells = [_swell(look, *span) for span in look.spans(look.above(high), look.above(high - back))]
    found = [event for event in dips + swells if event is not None]
    return sorted(found + _pauses(look, found), key=lambda event: event.start_s)


# ── dips ────────────────────────────────────────────────────────────────────────────────────────────────────────────────


def _dip(look: Look, first: int, last: int) -> MainsEvent | None:
    start, end = _first_fallen(look, first), _last_low(look, first, last)
    if look.comes_back_with_a_press(end, last):
        return None
    return look.event(start, end, last, _remaining(look, start, end), own_load=_falls_too_fast(look, start, end))


def _falls_too_fast(look: Look, start: int, end: int) -> bool:
    """Whether the rail falls faster than the load empties it: the mains can only stop the recharging, so a load was added.

    A regulator that draws constant power draws more as the rail sinks; that is allowed for.
    """
    free = look.fall_v(start)
    if free is None or start == 0:
        return False
    maxima = look.series.maxima_v[start - 1 : end + 1]
    cycles = int(np.argmin(maxima))
    fastest = FASTEST_SHARE * free * float(maxima[0] / max(maxima[cycles], 0.1))
    return cycles > 0 and float(maxima[0] - maxima[cycles]) > cycles * fastest + 2.0 * look.band.noise_v


def _first_fallen(look: Look, first: int) -> int:
    """The first cycle of the fall: the reservoir delays the crossing of the threshold."""
    maxima, low, free = look.series.maxima_v, look.band.low_v, look.fall_v(first)
    tolerance = max(look.band.noise_v, 0.25 * free if free is not None else 0.002 * float(maxima[first]))
    start = first
    while start > max(first - LONGEST_WALK_CYCLES, 1) and not look.band.broken[start]:
        before = start - 1
        fell = maxima[before - 1] - maxima[before] > tolerance
        still_low = maxima[before] < 0.985 * low[before] and maxima[start] - maxima[before] < 3.0 * tolerance
        if maxima[before] > 1.02 * low[before] or not (still_low or fell):
            break
        start = before
    return start


def _last_low(look: Look, first: int, last: int) -> int:
    """The last cycle that was not yet recharged: the lowest, or the last on a level that does not rise."""
    maxima, low = look.series.maxima_v[first : last + 1], look.band.low_v[first : last + 1]
    bottom = float(maxima.min())
    slack = 2.0 * look.band.noise_v + 0.15 * max(float(low[int(maxima.argmin())]) - bottom, 0.0)
    end = int(np.flatnonzero(maxima <= bottom + slack)[-1])
    if len(maxima) > end + 4:  # a second, higher level: three cycles make good less than a tenth of what is missing
        missing = np.maximum(3.0 * look.band.noise_v, 0.1 * (low - maxima))
        stuck = np.flatnonzero(maxima[3:] - maxima[:-3] <= missing[:-3])
        if len(stuck) and stuck[-1] > end:
            on_it = maxima[stuck[-1] : stuck[-1] + 4] <= maxima[stuck[-1]] + missing[stuck[-1]]
            end = int(stuck[-1]) + int(np.flatnonzero(on_it)[-1])
    return first + end


def _remaining(look: Look, start: int, end: int) -> tuple[float, float, float]:
    """(value, low, high) of the source in a dip, in share of the reference.

    A rail that falls without any recharging proves only that the source was lower than the rail. One that falls slower
    was still charged, so the source reached over it; one that stands still has found its new level.
    """
    maxima, level = look.series.maxima_v[start : end + 1], look.band.low_v[start : end + 1]
    n = int(np.argmin(maxima / np.maximum(level, 1e-9)))
    usual, least, most = look.drop_at(start + n)
    rail, reference = float(maxima[n]), float(level[n])
    value = (rail + usual) / (reference + usual)
    high = max(value, (rail + most) / (reference + most)) + RESIDUAL_ERROR + min(look.band.pulled_share, MOST_PULLED)
    falls = -np.diff(look.series.maxima_v[max(start - 1, 0) : end + 1])
    if len(falls) == 0:
        return value, 0.0, high
    at_last = float(np.median(falls[-3:]))
    told = look.fall_v(end)
    free = float(falls.max()) if told is None else told
    not_charged = 0.3 * free if told is None else FREE_SHARE * free - look.band.noise_v
    if at_last > not_charged or (told is None and len(falls) < 3):
        return value, 0.0, high
    if abs(at_last) <= max(0.15 * free, look.band.noise_v):
        return value, min(value, (rail + least) / (reference + least)) - RESIDUAL_ERROR, high
    return value, (rail + min(least, usual)) / (reference + usual) - RESIDUAL_ERROR, high


def _pauses(look: Look, known: Sequence[MainsEvent]) -> list[MainsEvent]:
    """Recharging that pauses although nothing changed: at least a small dip, perhaps a deep one that was too short.

    Told only where the rail's fall without recharging is known, and never where a radio or the like pulls the maxima as far.
    """
    maxima, at_s = look.series.maxima_v, look.series.at_s
    needed = max(look.limits.pause_share, 2.0 * look.band.pulled_share)
    sunk = look.below(1.0 - needed) & look.band.quiet
    found: list[MainsEvent] = []
    for first, last in look.spans(sunk, sunk):
        free = look.fall_v(first)
        if free is None or any(e.start_s <= at_s[last] and at_s[first] <= e.start_s + e.duration_s for e in known):
            continue
        start, end = _first_fallen(look, first), first + int(np.argmin(maxima[first : last + 1]))
        cycles = end - start + 1
        if cycles < FEWEST_PAUSED_CYCLES or start == 0:
            continue
        falls = -np.diff(maxima[start - 1 : end + 1])
        steady_fall = FREE_SHARE <= float(falls.mean()) / free <= FASTEST_SHARE
        if (
            steady_fall
            and float(falls.max()) <= 2.0 * free + look.band.noise_v
            and _rises_after(look, end, float(falls.sum()))
        ):
            value, _, high = _remaining(look, start, end)
            found.append(look.event(start, end, last, (value, 0.0, high)))
    return found


def _rises_after(look: Look, end: int, fallen: float) -> bool:
    """Whether the rail makes good a third of its fall at once, as it does when the mains is back."""
    stop = min(end + 4, len(look.series.at_s))
    if stop <= end + 1 or bool(look.band.broken[end + 1 : stop].any()):
        return False
    return float(look.series.maxima_v[end + 1 : stop].max() - look.series.maxima_v[end]) > fallen / 3.0


# ── swells ──────────────────────────────────────────────────────────────────────────────────────────────────────────────


def _swell(look: Look, first: int, last: int) -> MainsEvent | None:
    maxima = look.series.maxima_v
    start = first
    while start > max(first - LONGEST_WALK_CYCLES, 1) and not look.band.broken[start]:
        rose = maxima[start - 1] - maxima[start - 2]
        if rose <= max(look.band.noise_v, 0.01 * maxima[start]) or maxima[start - 1] <= look.band.high_v[start - 1]:
            break
        start -= 1
    if look.at_a_press(start):
        return None
    end = _last_held(look, start, last)
    top = start + int(np.argmax(maxima[start : end + 1]))
    rail, reference = float(maxima[top]), float(look.band.high_v[top])
    shares = [(rail + drop) / (reference + drop) for drop in look.drop_at(top)]
    rising = max(float(maxima[top] - maxima[top - 1]), 0.0) if top > 0 else 0.0
    unfilled = end - start < 3 or rising > 2.0 * look.band.noise_v  # the reservoir had no time to follow
    above = 2.0 * rising / (reference + look.drop_at(top)[0]) if unfilled else 0.0
    return look.event(start, end, last, (shares[0], min(shares) - RESIDUAL_ERROR, max(shares) + RESIDUAL_ERROR + above))


def _last_held(look: Look, start: int, last: int) -> int:
    """The last cycle with the mains high: after it the reservoir only empties, in a straight line."""
    maxima = look.series.maxima_v[start : last + 1]
    top, height = float(maxima.max()), float(maxima.max() - look.band.high_v[start])
    held = int(np.flatnonzero(maxima >= top - 0.15 * height)[-1])
    tail = len(maxima) - 1 - held
    if tail < 2:
        return start + held
    slope = float(maxima[held] - maxima[-1]) / tail
    back = round((top - float(maxima[held])) / slope) if slope > 0.0 else 0
    return start + max(held - back, int(np.argmax(maxima)))
