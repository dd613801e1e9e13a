"""What one stretch of testimony comes to before it is judged: its survey fitted, its doors looked at, its quantities.

A comparison has two sides: now, and the commissioning record. Knows no faults.
"""

from dataclasses import dataclass

import numpy as np

from service.errors import SettingError
from service.findings import buttons
from service.findings.cycles import IdleCycles, Rise, idle_cycles, rises
from service.findings.doors import DoorSigns, door_signs
from service.findings.fitting import Fitted, fitted
from service.findings.lesser import fitted_figures, fitted_windows, from_windows
from service.findings.quantities import quantities
from service.findings.testimony import Evidence
from service.findings.verdict import Measured, Surveyed
from service.presses.pulses import JOIN_S
from service.supply.assumptions import Basis, basis_of
from service.supply.fitout import FitOut
from service.supply.unknowns import Identified


@dataclass(frozen=True, slots=True)
class Side:
    """What one stretch of testimony has come to."""

    evidence: Evidence
    fit: Fitted | None
    cycles: IdleCycles
    doors: dict[str, DoorSigns]
    unmatched: tuple[Rise, ...]  # rises beside no pulse
    watched_s: float
    noise_v: float


def sides_of(now: Evidence, commissioning: Evidence | None, sheet: FitOut) -> tuple[Side, Side | None]:
    """What is told now, and at commissioning where there is a record of it: surveys fitted, doors looked at."""
    basis, hertz = basis_or_none(sheet), nominal_hz(now, commissioning, sheet)
    then = _side(commissioning, sheet, basis, hertz, None) if commissioning and not commissioning.is_empty else None
    return _side(now, sheet, basis, hertz, then.fit if then else None), then


def surveyed(evidence: Evidence, then: Side | None, sheet: FitOut) -> Surveyed | None:
    """What the newest survey of a stretch measured, judging nothing; None where it has none that can be fitted."""
    hertz = nominal_hz(evidence, then.evidence if then else None, sheet)
    return surveyed_of(_side(evidence, sheet, basis_or_none(sheet), hertz, then.fit if then else None), sheet)


def measured(here: Side, then: Side | None, sheet: FitOut) -> dict[str, Measured]:
    """The quantities; of commissioning where nothing has been surveyed since."""
    fit = here.fit or (then.fit if then and not here.evidence.surveys else None)
    if fit is None:
        return {}
    if not (fit.survey.bursts or fit.survey.figures):
        return from_windows(here.evidence, sheet, basis_or_none(sheet), nominal_hz(here.evidence, None, sheet))
    return quantities(fit, sheet)


def surveyed_of(side: Side, sheet: FitOut) -> Surveyed | None:
    """What the survey of a side measured."""
    if side.fit is None:
        return None
    survey = side.fit.survey
    warm = survey.temperature_c if survey.temperature_c is not None else side.evidence.temperature_c
    at_s = survey.at_s
    if not (survey.bursts or survey.figures):
        at_s -= at_s % 86_400.0  # windows come all day; those of one day stand for one survey
    return Surveyed(at_s, measured(side, None, sheet), warm)


def basis_or_none(sheet: FitOut) -> Basis | None:
    """The circuit as the sheet describes it; None where it says too little."""
    try:
        return basis_of(sheet)
    except SettingError:
        return None


def nominal_hz(now: Evidence, commissioning: Evidence | None, sheet: FitOut) -> float:
    """Mains frequency by the sheet, else as the chime tells it."""
    if sheet.mains_hz:
        return sheet.mains_hz
    for evidence in (commissioning, now):
        for survey in evidence.surveys if evidence else ():
            if survey.mains_hz:
                return survey.mains_hz
        if evidence and evidence.cycle_s:
            return 1.0 / evidence.cycle_s
    return 50.0


def _side(evidence: Evidence, sheet: FitOut, basis: Basis | None, hertz: float, before: Fitted | None) -> Side:
    known = before.identified if before else None
    fit = _fit(evidence, sheet, basis, hertz, known, False)
    real_hertz = fit.identified.mains_hz if fit is not None else hertz
    cycles = idle_cycles(evidence, real_hertz)
    doors = {door: door_signs(door, evidence, cycles, real_hertz) for door in sorted(evidence.doors)}
    if any(buttons.bridged(signs) for signs in doors.values()):
        fit = _fit(evidence, sheet, basis, hertz, known, True)
    quiet = cycles.idle & np.isfinite(cycles.level_v)
    off = (cycles.maxima_v - cycles.level_v)[quiet]
    noise = 1.4826 * float(np.median(np.abs(off))) if len(off) else 0.05
    watched = float(np.count_nonzero(quiet)) * cycles.cycle_s
    return Side(evidence, fit, cycles, doors, tuple(unmatched(evidence, cycles)), watched, noise)


def _fit(
    evidence: Evidence, sheet: FitOut, basis: Basis | None, hertz: float, known: Identified | None, bridged: bool
) -> Fitted | None:
    """The latest survey that has the test load, else the latest that can be fitted; without bursts figures, or windows."""
    whole = [survey for survey in evidence.surveys if {"idle", "test"} <= survey.bursts.keys()]
    for survey in [*reversed(whole), *reversed(evidence.surveys)]:
        fit = fitted(survey, evidence.loads, sheet, basis, hertz, known, bridged)
        if fit is not None:
            return fit
    for survey in reversed(evidence.surveys):
        fit = fitted_figures(survey, evidence.loads, sheet, basis, hertz, known, bridged)
        if fit is not None:
            return fit
    return fitted_windows(evidence, sheet, basis, hertz, known, bridged)


def unmatched(evidence: Evidence, cycles: IdleCycles, besides: str | None = None) -> list[Rise]:
    """Rises of the rail with no pulse of any door near them; `besides` the pulses of one that stand."""
    starts = [pairs for door, pairs in evidence.pulses.items() if len(pairs) and door != besides]
    if not starts:
        return rises(cycles)
    every = np.concatenate(starts)
    begin, end = np.sort(every[:, 0]), np.sort(every[:, 1])
    found = []
    for rise in rises(cycles):
        near = np.searchsorted(begin, rise.end_s + JOIN_S) - np.searchsorted(end, rise.start_s - 4.0 * JOIN_S)
        if near <= 0:
            found.append(rise)
    return found
