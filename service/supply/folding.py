"""A burst folded on the mains: its frequency, its average cycle, and how fast the rail falls between two recharges.

These are first values for the identification and all that a burst gives without any model. Knows no circuit.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]

FREQUENCY_SHARE = 0.012
"""Grids keep within 1 % of nominal for 99.5 % of a year (EN 50160, from a secondary page); a chime's crystal adds little."""

HARMONICS = 8
DISCHARGE_FROM, DISCHARGE_TO = 0.12, 0.62
"""The part of a cycle, counted from its maximum, in which no diode conducts: recharging takes at most the last third."""


@dataclass(frozen=True, slots=True)
class Run:
    """Samples of one burst: moments [s] counted from anywhere, rail [V], without gaps marked NaN."""

    at_s: Floats
    volts: Floats
    lsb_v: float = 0.0


def mains_hz(runs: Sequence[Run], nominal_hz: float) -> tuple[float, float]:
    """Frequency that folds the runs best, and its standard error [Hz]. Least squares on harmonics, each run its own phase.

    Raises ValueError without a run of at least three cycles.
    """
    usable = [run for run in runs if len(run.at_s) > 30 and np.ptp(run.at_s) * nominal_hz > 3.0]
    if not usable:
        raise ValueError("no burst of three cycles and more; the mains frequency cannot be told")
    best, half = nominal_hz, nominal_hz * FREQUENCY_SHARE / 2.0
    costs = [_misfit(usable, nominal_hz + half * place) for place in (-2.0, -1.0, 0.0, 1.0, 2.0)]
    lowest = int(np.clip(np.argmin(costs), 1, 3))
    best += half * (lowest - 2)
    triple = costs[lowest - 1 : lowest + 2]
    for narrower in (
        0.1,
        0.1,
    ):  # the misfit of a burst of ten cycles is smooth over half a hertz: a parabola finds its foot
        curvature = triple[0] - 2.0 * triple[1] + triple[2]
        if curvature > 0.0:
            best += float(np.clip(0.5 * half * (triple[0] - triple[2]) / curvature, -half, half))
        half *= narrower
        triple = [_misfit(usable, best + half * place) for place in (-1.0, 0.0, 1.0)]
    curvature = (triple[0] - 2.0 * triple[1] + triple[2]) / half**2
    if curvature > 0.0:
        best += float(np.clip(0.5 * (triple[0] - triple[2]) / half / curvature, -half, half))
    spare = sum(len(run.at_s) for run in usable) - len(usable) * (2 * HARMONICS + 2)
    variance = triple[1] / max(spare, 10)
    error = float(np.sqrt(2.0 * variance / curvature)) if curvature > 0.0 else nominal_hz * FREQUENCY_SHARE
    return best, error


def discharge(run: Run, hertz: float, power: int = 1) -> tuple[float, float] | None:
    """Slope of the rail while no diode conducts and the rail in its middle; [V/s] negative, [V].

    The median over single cycles, so that a radio packet in one of them does not count. `power` 2: slope of the rail's square
    [V^2/s], for a load of constant power. None where no cycle has four samples in its discharge.
    """
    phase = np.mod(run.at_s * hertz, 1.0)
    top = _top_phase(run, hertz)
    since = np.mod(phase - top, 1.0)
    cycle = np.floor(run.at_s * hertz - top)
    inside = (since > DISCHARGE_FROM) & (since < DISCHARGE_TO)
    slopes, weights, middles = [], [], []
    for number in np.unique(cycle[inside]):
        chosen = inside & (cycle == number)
        if np.count_nonzero(chosen) < 4:
            continue
        at, values = run.at_s[chosen], run.volts[chosen] ** power
        lever = at - at.mean()
        slopes.append(float(lever @ values / (lever @ lever)))
        weights.append(float(lever @ lever))
        middles.append(float(run.volts[chosen].mean()))
    if not slopes:
        return None
    return _weighted_median(np.array(slopes), np.array(weights)), float(np.median(middles))


def _design(run: Run, hertz: float) -> Floats:
    span = float(np.ptp(run.at_s))
    per_cycle = (len(run.at_s) - 1) / span / hertz
    harmonics = np.arange(1, min(HARMONICS, int(per_cycle / 2 - 1)) + 1)
    angle = 2.0 * np.pi * hertz * np.outer(run.at_s - run.at_s[0], harmonics)
    drift = (run.at_s - run.at_s.mean())[:, None] / span
    result: Floats = np.hstack([np.ones((len(run.at_s), 1)), drift, np.cos(angle), np.sin(angle)])
    return result


def _misfit(runs: Sequence[Run], hertz: float) -> float:
    total = 0.0
    for run in runs:
        design = _design(run, hertz)
        volts = run.volts - run.volts.mean()
        projected = design.T @ volts
        solved = np.linalg.solve(design.T @ design + 1e-9 * np.eye(design.shape[1]), projected)
        total += float(volts @ volts - projected @ solved)
    return total


def _top_phase(run: Run, hertz: float) -> float:
    """Phase (0..1 of a cycle) at which the folded run is highest."""
    bins = np.floor(np.mod(run.at_s * hertz, 1.0) * 24).astype(int)
    means = np.array([np.median(run.volts[bins == b]) if np.any(bins == b) else -np.inf for b in range(24)])
    return (float(np.argmax(means)) + 0.5) / 24


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, 0.5 * total[-1])])
