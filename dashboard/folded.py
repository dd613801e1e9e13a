"""A burst's samples folded on one cycle of the mains, beside the fitted rail. Plain computation: no record, no page."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.findings.fitting import Fitted
from service.supply.folding import Run
from service.supply.unknowns import Kind

Floats = NDArray[np.floating[Any]]

BEGINS = 0.15
"""The drawn cycle begins this part of a cycle before the rail is lowest."""

COARSE, FINE = 96, 24
"""Places of the fitted cycle that are tried against the samples, all round and then about the best."""

OUTLIER = 3.0
"""Samples further from the fit than so many standard deviations are a radio's: no drift is told from them."""


@dataclass(frozen=True)
class Folded:
    """`turns`: of each sample in the cycle, 0 to 1; `volts` without the burst's slow drift. `fitted` and `before` (the fit at
    commissioning) are one cycle in equal steps; None where the burst took no part in the fit. `scatter_v`: standard deviation of
    the samples about the fit, radio packets left out."""

    kind: Kind
    mains_hz: float
    turns: Floats
    volts: Floats
    fitted: Floats | None
    before: Floats | None
    drift_v_per_s: float
    scatter_v: float | None
    cycles: float


def folded(fit: Fitted, kind: Kind, before: Fitted | None = None) -> Folded | None:
    """None where the survey has no such burst."""
    burst = fit.survey.bursts.get(kind)
    if burst is None or not np.isfinite(burst.volts).any():
        return None
    good = np.isfinite(burst.volts)
    run = Run(burst.at_s[good] - burst.at_s[0], burst.volts[good], burst.lsb_v)
    hertz = fit.identified.mains_hz
    wave = fit.identified.folded.get(kind)
    cycles = float(np.ptp(run.at_s)) * hertz
    if wave is None:
        turns = np.mod(run.at_s * hertz, 1.0)
        return Folded(kind, hertz, _from_lowest(turns, run.volts), run.volts, None, None, 0.0, None, cycles)
    phase, drift, scatter = _placed(run, hertz, wave)
    begin = float(np.argmin(wave)) / len(wave) - BEGINS
    earlier = before.identified.folded.get(kind) if before is not None else None
    return Folded(
        kind,
        hertz,
        np.mod(run.at_s * hertz + phase - begin, 1.0),
        run.volts - drift * (run.at_s - run.at_s.mean()),
        _turned(wave, begin),
        None if earlier is None else _turned(earlier, begin),
        drift,
        scatter,
        cycles,
    )


def _placed(run: Run, hertz: float, wave: Floats) -> tuple[float, float, float]:
    """Where in the cycle the burst began (0 to 1), its slow drift [V/s], and the scatter about the fit [V]."""
    turns, since = run.at_s * hertz, run.at_s - run.at_s.mean()
    drift = 0.0

    def left(phase: float) -> Floats:
        off: Floats = run.volts - drift * since - _at(wave, turns + phase)
        return off

    def best(phases: Floats) -> float:
        costs = [float(np.abs(off - _middle(off)).sum()) for off in map(left, phases)]
        return float(phases[int(np.argmin(costs))])

    phase = best(np.arange(COARSE) / COARSE)
    for _ in range(2):
        phase = best(phase + np.linspace(-1.0, 1.0, 2 * FINE + 1) / COARSE)
        off = left(phase)
        kept = np.abs(off - _middle(off)) < OUTLIER * max(_spread(off), run.lsb_v)
        if np.count_nonzero(kept) > 2:
            drift += float(np.polyfit(since[kept], off[kept], 1)[0])
    return phase, drift, _spread(left(phase))


def _at(wave: Floats, turns: Floats) -> Floats:
    """The fitted rail at any moment, in cycles."""
    place = np.mod(turns, 1.0) * len(wave)
    first = place.astype(int) % len(wave)
    share = place - np.floor(place)
    result: Floats = wave[first] * (1.0 - share) + wave[(first + 1) % len(wave)] * share
    return result


def _turned(wave: Floats, begin: float) -> Floats:
    """One cycle from `begin`, its end included."""
    return _at(wave, begin + np.linspace(0.0, 1.0, len(wave) + 1))


def _middle(values: Floats) -> float:
    """The upper median. NumPy's own loads its masked arrays, more than a megabyte for good."""
    return float(np.partition(values, len(values) // 2)[len(values) // 2])


def _spread(off: Floats) -> float:
    """As a standard deviation, from the median deviation."""
    return 1.4826 * _middle(np.abs(off - _middle(off)))


def _from_lowest(turns: Floats, volts: Floats) -> Floats:
    """Without a fit: so turned that the lowest tenth of a cycle is where it is in the others."""
    places = np.floor(turns * 10).astype(int)
    lows = [_middle(volts[places == n]) if np.any(places == n) else np.inf for n in range(10)]
    result: Floats = np.mod(turns - (int(np.argmin(lows)) + 0.5) / 10 + BEGINS, 1.0)
    return result
