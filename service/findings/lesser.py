"""Chimes that cannot send bursts: a survey told in four numbers each, or nothing but windows of the rail.

The same circuit and priors as for bursts, and a `Fitted` of the same kind, only wider. Knows no faults.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from service.findings.fitting import BELOW_DROPOUT, Fitted, chime_of, prior_of
from service.findings.quantities import quantities
from service.findings.testimony import Evidence, Survey
from service.findings.verdict import Measured
from service.model import BurstFigures, LoadState, RailWindow
from service.supply.assumptions import Basis
from service.supply.few_figures import Figure, Reach, identify_figures
from service.supply.fitout import FitOut
from service.supply.unknowns import KINDS, NAMES, Identified, Kind, Prior

COUNTED_SD_HZ = 0.08
"""A mains frequency that a chime counts: ten cycles between moments that are half a millisecond sharp."""

NOT_COUNTED_SHARE = 0.004
"""Grids keep within 1 % of nominal for 99.5 % of a year (EN 50160, from a secondary page)."""

BURST_REACH = Reach(0.015, 0.018)
WINDOW_REACH = Reach(0.045, 0.03)
"""The highest of some samples lies one standard deviation of the noise too high, the highest of thousands three (normal noise)."""

READ_SD_V, SHARE_SD = 0.006, 0.012
"""Error of a height told: of the converter [V], and of sampling as a share of the ripple."""

CORNER_S = 0.3e-3
"""The corner below is sharp: sampled at 1 to 2 kHz, the rail is seen this long before it, give or take as much."""

FALL_SD_V_PER_S, FALL_SHARE = 0.4, 0.02
"""A slope over two thirds of a cycle, its median over ten."""

WINDOW_SD_V = 0.03
"""Windows of one load differ from each other by mains that wander, presses and radio packets."""

SETTLES_S = 0.3
"""A window that begins sooner after a change of load still has part of it."""

NARROWED = 0.6
"""From windows a quantity is told when they have narrowed what the sheet lets expect to less than this share."""

ALWAYS_WITH_FIGURES = (
    "Four numbers a burst: shape of the mains and ESR cannot be told, all else is told more coarsely than by samples."
)
ALWAYS_WITH_WINDOWS = (
    "Windows of the rail only: reservoir and source resistance cannot be told; a test load and bursts would tell them."
)


# ── four numbers a burst ────────────────────────────────────────────────────────────────────────────────────────────────


def fitted_figures(
    survey: Survey,
    loads: Sequence[tuple[float, LoadState]],
    sheet: FitOut,
    basis: Basis | None,
    mains_hz: float,
    before: Identified | None,
    bridged: bool,
) -> Fitted | None:
    """As `fitting.fitted`, from `survey.figures`. None where it has none of the rail's height."""
    figures = {kind: told for kind, told in survey.figures.items() if _loaded(survey, told, loads)}
    sound = figures.get("sound")
    lowest = sound.min_v if sound is not None else None
    stands = BELOW_DROPOUT * (sheet.dropout_v or 0.0)
    dropped = lowest is not None and lowest < stands
    usable = {
        kind: told for kind, told in figures.items() if kind == "idle" or told.min_v is None or told.min_v >= stands
    }
    found = from_figures(replace(survey, figures=usable), sheet, basis, mains_hz, before, bridged)
    if found is None:
        return None
    by_fall = None
    if dropped and sound is not None and sound.fall_v_per_s is not None:
        by_fall = sound.fall_v_per_s * found.value("c")
    return Fitted(survey, found, lowest, False, by_fall)


def from_figures(
    survey: Survey,
    sheet: FitOut,
    basis: Basis | None,
    mains_hz: float,
    before: Identified | None,
    bridged: bool = False,
) -> Identified | None:
    """The supply behind a survey's figures. A frequency that the chime has counted goes before `mains_hz`."""
    hertz = survey.mains_hz or mains_hz
    error = COUNTED_SD_HZ if survey.mains_hz else NOT_COUNTED_SHARE * mains_hz
    chime = replace(chime_of(survey, sheet, hertz), bridged=bridged)
    figures = [figure for kind in KINDS if kind in survey.figures for figure in _figures(kind, survey.figures[kind])]
    return identify_figures(figures, chime, error, BURST_REACH, prior_of(sheet, basis, before))


def _figures(kind: Kind, told: BurstFigures) -> Iterator[Figure]:
    fall = told.fall_v_per_s
    ripple = told.max_v - told.min_v if told.max_v is not None and told.min_v is not None else 0.0
    height_sd = float(np.hypot(READ_SD_V, SHARE_SD * ripple))
    if told.max_v is not None:
        yield Figure(kind, "max", told.max_v, height_sd)
    if told.min_v is not None:
        corner_v = CORNER_S * (fall if fall is not None else 60.0 * ripple)
        yield Figure(kind, "min", told.min_v - corner_v, float(np.hypot(height_sd, corner_v)))
    if told.mean_v is not None:
        yield Figure(kind, "mean", told.mean_v, float(np.hypot(READ_SD_V, 0.5 * SHARE_SD * ripple)))
    if fall is not None and fall > 0.0:
        yield Figure(kind, "fall", fall, float(np.hypot(FALL_SD_V_PER_S, FALL_SHARE * fall)))


def _loaded(survey: Survey, told: BurstFigures, loads: Sequence[tuple[float, LoadState]]) -> bool:
    """Whether the chime's own log names this load at some time of the survey, where there is a log."""
    said = {state for moment, state in loads if abs(moment - survey.at_s) < 60.0}
    return not said or told.kind in said or told.kind == "idle"


# ── windows ─────────────────────────────────────────────────────────────────────────────────────────────────────────────


def from_windows(
    evidence: Evidence, sheet: FitOut, basis: Basis | None, mains_hz: float, bridged: bool = False
) -> dict[str, Measured]:
    """What windows of the rail tell, by the names of the contract; what they only repeat of the sheet is absent."""
    fit = fitted_windows(evidence, sheet, basis, mains_hz, None, bridged)
    if fit is None:
        return {}
    prior = prior_of(sheet, basis, None)
    told = quantities(fit, sheet)
    del told["mains_hz"]  # nothing was counted
    for quantity, name in (("open_circuit_v", "v"), ("idle_a", "idle"), ("sound_a", "sound"), ("esr_ohm", "esr")):
        if quantity in told and not _narrowed(fit, prior, name):
            del told[quantity]
    return told


def fitted_windows(
    evidence: Evidence, sheet: FitOut, basis: Basis | None, mains_hz: float, before: Identified | None, bridged: bool
) -> Fitted | None:
    """As `fitting.fitted`, from windows that saw one load only. None without such a window."""
    grouped: dict[Kind, list[RailWindow]] = {}
    for end_s, window in evidence.windows:
        kind = _one_load(end_s, window, evidence)
        if kind is not None:
            grouped.setdefault(kind, []).append(window)
    lows = [window.low_v for _, window in evidence.windows if window.low_v is not None]
    lows += [window.min_v for window in grouped.get("sound", []) if window.min_v is not None]
    lowest = min(lows) if lows else None
    dropped = lowest is not None and lowest < BELOW_DROPOUT * (sheet.dropout_v or 0.0)
    figures = [f for kind in KINDS for f in _of_windows(kind, grouped.get(kind, []))]
    if lows and not any(f.kind == "sound" for f in figures):
        figures.append(Figure("sound", "min", float(np.median(lows)), 3.0 * WINDOW_SD_V))
    figures = [f for f in figures if not (f.kind == "sound" and dropped)]
    survey = Survey(evidence.windows[-1][0] if evidence.windows else 0.0, temperature_c=evidence.temperature_c)
    chime = replace(chime_of(survey, sheet, mains_hz), bridged=bridged)
    prior = prior_of(sheet, basis, before)
    found = identify_figures(figures, chime, NOT_COUNTED_SHARE * mains_hz, WINDOW_REACH, prior)
    return Fitted(survey, found, lowest, False, None) if found is not None else None


def _one_load(end_s: float, window: RailWindow, evidence: Evidence) -> Kind | None:
    """The load under which a window was taken, from its settling to its end; without a log the idle one."""
    if window.window_s is None and evidence.loads:
        return None
    start_s = end_s - (window.window_s or 0.0)
    before = [state for moment, state in evidence.loads if moment <= start_s + 1e-3]
    state: Kind = before[-1] if before else "idle"
    if any(start_s - SETTLES_S < moment < end_s for moment, changed in evidence.loads if changed != state):
        return None
    if any(
        start_s - SETTLES_S < moment <= start_s + 1e-3
        for (_, last), (moment, changed) in zip(evidence.loads, evidence.loads[1:], strict=False)
        if changed != last
    ):
        return None
    if any(start_s - SETTLES_S < powered.start_s < end_s for powered in evidence.powered if powered.start_s > start_s):
        return None
    return state


def _of_windows(kind: Kind, windows: Sequence[RailWindow]) -> Iterator[Figure]:
    """Presses lift the highest of some windows and radio packets pull down the lowest: the others count."""
    highest = [w.max_v for w in windows if w.max_v is not None]
    lowest = [w.min_v for w in windows if w.min_v is not None]
    means = [w.mean_v for w in windows if w.mean_v is not None]
    if highest:
        yield Figure(kind, "max", float(np.percentile(highest, 25)), WINDOW_SD_V)
    if lowest:
        yield Figure(kind, "min", float(np.percentile(lowest, 75)), WINDOW_SD_V)
    if means:
        yield Figure(kind, "mean", float(np.median(means)), WINDOW_SD_V)


def _narrowed(fit: Fitted, prior: Prior, name: str) -> bool:
    index = NAMES.index(name)
    return fit.identified.sd(name) < NARROWED * float(prior.sd[index])
