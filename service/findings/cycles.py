"""Cycle maxima under the idle load: their steady level, and the rises by which a press shows on the rail.

Knows no pulses, doors and findings.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.findings.testimony import Evidence, idle_by_log

Floats = NDArray[np.floating[Any]]
Bools = NDArray[np.bool_]

SETTLES_CYCLES = 12
"""After a load change the maxima need some time constants of source resistance and reservoir; in seconds the longer of the two."""
SETTLES_S = 0.25

LEVEL_CYCLES = 151
"""Window of the steady level: far longer than a press."""

LEVEL_SHARE = 40.0
"""Percentile taken for the level: presses only raise the maxima."""

HELD_S = 0.3
"""The reservoir holds a diode drop for about 0.7 C / I; longer ones sink slowly enough to pass for the level [s]."""

FEWEST_QUIET = 20

RISE_V = 0.25
"""A cycle maximum this far above the level may be a press [V]: a third of a diode drop."""


@dataclass(frozen=True, slots=True)
class IdleCycles:
    """Cycle maxima with their steady level; `idle` marks cycles under the idle load, settled. `level_v` is NaN without any."""

    at_s: Floats
    maxima_v: Floats
    level_v: Floats
    idle: Bools
    cycle_s: float


@dataclass(frozen=True, slots=True)
class Rise:
    """A run of cycles above the level. `rise_v`: the highest of them above it."""

    start_s: float
    end_s: float
    rise_v: float


def idle_cycles(evidence: Evidence, mains_hz: float) -> IdleCycles:
    cycle_s = evidence.cycle_s or 1.0 / mains_hz
    at, maxima = evidence.cycle_at_s, evidence.maxima_v
    idle = _idle(evidence, at, cycle_s) & np.isfinite(maxima)
    quiet = idle & ~_pressed(evidence, at, cycle_s)
    level = _level(maxima, quiet if np.count_nonzero(quiet) >= FEWEST_QUIET else idle)
    return IdleCycles(at, maxima, level, idle, cycle_s)


def rises(cycles: IdleCycles) -> list[Rise]:
    """Rises under the idle load, in order. Single cycles with no value do not end one."""
    above = cycles.idle & (cycles.maxima_v - cycles.level_v > RISE_V)
    found: list[Rise] = []
    for i in np.flatnonzero(above):
        start, value = float(cycles.at_s[i]), float(cycles.maxima_v[i] - cycles.level_v[i])
        end = start + cycles.cycle_s
        if found and start - found[-1].end_s < 1.5 * cycles.cycle_s:
            found[-1] = Rise(found[-1].start_s, end, max(found[-1].rise_v, value))
        else:
            found.append(Rise(start, end, value))
    return found


def _idle(evidence: Evidence, at_s: Floats, cycle_s: float) -> Bools:
    """Cycles under the idle load that began long enough after any other load, and after power came."""
    settle = max(SETTLES_S, SETTLES_CYCLES * cycle_s)
    idle = idle_by_log(evidence, at_s + 1e-3)
    if evidence.loads:
        moments = np.array([moment for moment, _ in evidence.loads])
        states = np.array([state == "idle" for _, state in evidence.loads])
        busy = moments[~states]
        ends = [float(moments[i]) for i in range(1, len(moments)) if states[i] and not states[i - 1]]
        for end in ends:
            idle &= ~((at_s >= end - cycle_s) & (at_s < end + settle))
        for begin in busy:
            idle &= ~((at_s > begin - 1.5 * cycle_s) & (at_s <= begin))
    for powered in evidence.powered:
        idle &= ~((at_s >= powered.start_s) & (at_s < powered.start_s + settle))
    return idle


def _pressed(evidence: Evidence, at_s: Floats, cycle_s: float) -> Bools:
    """Cycles beside a pulse, or so soon after one that the reservoir still holds what the press has lifted."""
    pressed = np.zeros(len(at_s), bool)
    for pairs in evidence.pulses.values():
        if len(pairs):
            place = np.searchsorted(pairs[:, 0], at_s + 2.0 * cycle_s, side="right") - 1
            pressed |= (place >= 0) & (at_s < pairs[np.maximum(place, 0), 1] + HELD_S)
    return pressed


def _level(maxima: Floats, idle: Bools) -> Floats:
    level = np.full(len(maxima), np.nan)
    places = np.flatnonzero(idle)
    if len(places) == 0:
        return level
    values = maxima[places]
    half = LEVEL_CYCLES // 2
    step = 25
    knots = np.arange(0, len(values), step)
    steady = [np.percentile(values[max(k - half, 0) : k + half + 1], LEVEL_SHARE) for k in knots]
    level[:] = np.interp(np.arange(len(maxima)), places[knots], steady)
    return level
