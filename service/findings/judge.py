"""The judge: what a stretch of testimony, beside the commissioning record and the fit-out sheet, says about an installation.

Puts together the fitted surveys, the signs of the doors and the events of the mains, and ranks what they are evidence for. Knows
no store, no clock and no wording.
"""

from dataclasses import dataclass, replace
from itertools import pairwise
from math import prod

import numpy as np

from service.errors import SettingError
from service.findings import buttons, shifts
from service.findings.cycles import IdleCycles, Rise, idle_cycles, rises
from service.findings.doors import DoorSigns, door_signs
from service.findings.feeding import Feeding, feeding, only_in_snatches
from service.findings.fitting import Fitted, fitted
from service.findings.lesser import fitted_figures, fitted_windows, from_windows
from service.findings.quantities import quantities
from service.findings.testimony import Evidence, Floats
from service.findings.verdict import EvidenceLine, Finding, Measured, Surveyed, Verdict
from service.model import LoadState
from service.presses.pulses import JOIN_S
from service.supply import mains_events
from service.supply.assumptions import Basis, basis_of
from service.supply.fitout import FitOut
from service.supply.identification import Identified
from service.supply.mains_classes import MainsEvent
from service.supply.mains_steady import CycleMaxima, Doings

TOLD_FROM = 0.5
"""A finding is told when it is likelier than not."""

SURE, LIKELY = 0.97, 0.8

GONE_S = 30.0
"""A chime that stopped under a load is back within this."""

PROVEN, PAUSED = 0.94, 0.7
"""How likely an event of the mains is one: proven by its depth, or recharging that paused and sank the rail less than the limit."""


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


def judge(now: Evidence, commissioning: Evidence | None, sheet: FitOut) -> Verdict:
    """Findings, quantities, and about what the evidence sufficed to judge."""
    return weighed(*sides_of(now, commissioning, sheet), sheet)


def sides_of(now: Evidence, commissioning: Evidence | None, sheet: FitOut) -> tuple[Side, Side | None]:
    """What is told now, and at commissioning where there is a record of it: surveys fitted, doors looked at."""
    basis, hertz = _basis(sheet), _nominal_hz(now, commissioning, sheet)
    then = _side(commissioning, sheet, basis, hertz, None) if commissioning and not commissioning.is_empty else None
    return _side(now, sheet, basis, hertz, then.fit if then else None), then


def weighed(here: Side, then: Side | None, sheet: FitOut) -> Verdict:
    """`judge`, from sides that are at hand."""
    now, basis = here.evidence, _basis(sheet)
    hertz = _nominal_hz(now, then.evidence if then else None, sheet)
    found: list[Finding] = []
    judged: set[tuple[str, str | None]] = set()
    fed = feeding(now, here.cycles.cycle_s, _free_fall(then or here))
    unfed = fed.lost or only_in_snatches(now)
    if unfed:
        found.append(_unfed(fed, _fed_door(here, sheet)))
    else:
        moved, could = shifts.findings(
            here.fit, then.fit if then else None, sheet, basis, _stopped(now, "sound"), _stopped(now, "test")
        )
        found += moved
        judged |= {(name, None) for name in could}
        found += _of_mains(here, then)
        if len(here.cycles.at_s):
            judged |= {("mains-dip", None), ("mains-swell", None)}
    for door in sorted({*here.doors, *(then.doors if then else {}), *(one.door for one in sheet.doors)}):
        seen = _door_seen(door, here, then, sheet)
        if not unfed:
            found += buttons.findings(seen, sheet)
        judged |= {(name, door) for name in _judged_by_presses(seen)}
    told = sorted((f for f in found if f.likelihood >= _told_from(f)), key=lambda f: -f.likelihood)
    told = [replace(f, since_s=f.since_s or _begins(now)) for f in told]
    if len(here.cycles.at_s) > buttons_cycles(hertz):
        judged |= {("button-diode-open", None), ("button-diode-reversed", None)}
    return Verdict(
        quantities=_quantities(here, then, sheet),
        findings=tuple(told),
        judged=frozenset(judged),
        missing=tuple(_missing(here, then, sheet)),
        surveyed=_surveyed(here, sheet),
        commissioned=_surveyed(then, sheet) if then else None,
    )


def surveyed(evidence: Evidence, then: Side | None, sheet: FitOut) -> Surveyed | None:
    """What the newest survey of a stretch measured, judging nothing; None where it has none that can be fitted."""
    hertz = _nominal_hz(evidence, then.evidence if then else None, sheet)
    return _surveyed(_side(evidence, sheet, _basis(sheet), hertz, then.fit if then else None), sheet)


def _told_from(finding: Finding) -> float:
    """Of two that cannot be told apart the likelier is told, though neither may be likelier than not."""
    return TOLD_FROM / (1 + len(finding.also_possible))


def buttons_cycles(hertz: float) -> int:
    """Cycles of the rail that show whether it is fed."""
    return int(hertz)


# ── the sides ───────────────────────────────────────────────────────────────────────────────────────────────────────────


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
    return Side(evidence, fit, cycles, doors, tuple(_unmatched(evidence, cycles)), watched, noise)


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


def _unmatched(evidence: Evidence, cycles: IdleCycles) -> list[Rise]:
    """Rises of the rail with no pulse of any door near them."""
    starts = [pairs for pairs in evidence.pulses.values() if len(pairs)]
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


def _door_seen(door: str, here: Side, then: Side | None, sheet: FitOut) -> buttons.DoorSeen:
    ratio, peak = 1.0, None
    if here.fit is not None:
        peak = float(np.sqrt(2.0)) * here.fit.identified.value("v")
        if then is not None and then.fit is not None:
            ratio = here.fit.identified.value("v") / then.fit.identified.value("v")
    elif then is not None and then.fit is not None:
        peak = float(np.sqrt(2.0)) * then.fit.identified.value("v")
    return buttons.DoorSeen(
        door,
        here.doors.get(door),
        then.doors.get(door) if then else None,
        _has_diode(door, here, then, sheet),
        here.fit.identified.mains_hz if here.fit else sheet.mains_hz or 1.0 / here.cycles.cycle_s,
        ratio,
        peak,
        here.noise_v,
        here.unmatched,
        sum(r.end_s - r.start_s >= buttons.SEEN_SHORTEST_S for r in then.unmatched) / max(then.watched_s, 1.0)
        if then
        else 0.0,
        here.watched_s,
    )


def _has_diode(door: str, here: Side, then: Side | None, sheet: FitOut) -> bool:
    """By the sheet; else by whether its presses lifted the rail at commissioning; else a lone door has it."""
    said = {one.door: one.diode for one in sheet.doors}.get(door)
    if said is not None:
        return said
    if then is not None and door in then.doors and then.doors[door].long_presses:
        return max(press.rise_v for press in then.doors[door].long_presses) > 0.3
    return len({*here.doors, *(then.doors if then else {})}) <= 1


# ── the supply ──────────────────────────────────────────────────────────────────────────────────────────────────────────


def _unfed(fed: Feeding, door: str | None) -> Finding:
    name = "button-diode-reversed" if fed.pulses_while_falling > 0.6 else "button-diode-open"
    lines = (
        EvidenceLine("fed_without_press_s", round(fed.fed_still_s, 3)),
        EvidenceLine("falling_s", round(fed.falling_pulsed_s + fed.falling_still_s, 3), expected=0.0),
        EvidenceLine("pulsed_while_falling_share", round(fed.pulses_while_falling, 3)),
    )
    return Finding(name, SURE if fed.lost else LIKELY, door, (), fed.since_s, lines)


def _fed_door(here: Side, sheet: FitOut) -> str | None:
    """The door whose diode feeds the chime, where there is one such."""
    feeding_doors = [one.door for one in sheet.doors if one.diode]
    if len(feeding_doors) == 1:
        return feeding_doors[0]
    return next(iter(here.doors)) if len(here.doors) == 1 else None


def _free_fall(side: Side) -> float | None:
    """How fast the rail falls under the idle load when nothing recharges it [V/s]."""
    if side.fit is None or "idle" not in side.fit.identified.load_a:
        return None
    return side.fit.identified.load_a["idle"] / side.fit.identified.value("c")


def _stopped(evidence: Evidence, load: LoadState) -> bool:
    """Whether the chime stopped under this load, and started anew."""
    for before, after in pairwise(evidence.powered):
        said = [state for moment, state in evidence.loads if before.start_s <= moment <= before.last_heard_s + 0.05]
        if said and said[-1] == load and after.start_s - before.last_heard_s < GONE_S:
            return True
    return False


def _of_mains(here: Side, then: Side | None) -> list[Finding]:
    found = []
    grouped: dict[str, list[MainsEvent]] = {}
    for event in _events(here, then):
        if "own load" not in event.also_possible:
            name = "mains-swell" if event.kind in ("swell", "overvoltage") else "mains-dip"
            grouped.setdefault(name, []).append(event)
    for name, events in grouped.items():
        worst = max(events, key=lambda e: abs(1.0 - (e.residual if e.residual is not None else 1.0)))
        lines = [EvidenceLine("events", float(len(events)), expected=0.0)]
        if worst.residual is not None:
            lines.append(EvidenceLine("residual_share", worst.residual, worst.residual_low, worst.residual_high, 1.0))
        lines.append(EvidenceLine("duration_s", worst.duration_s))
        likelihood = 1.0 - prod(1.0 - (PROVEN if event.proven else PAUSED) for event in events)
        found.append(Finding(name, likelihood, None, (), events[0].start_s, tuple(lines)))
    return found


def _events(here: Side, then: Side | None) -> list[MainsEvent]:
    evidence = here.evidence
    if not len(here.cycles.at_s):
        return []
    presses = [(float(run[0, 0]), float(run[-1, 1])) for pairs in evidence.pulses.values() for run in _runs(pairs)]
    fit = here.fit or (then.fit if then else None)
    fall, drop, steady = {}, {}, {}
    if fit is not None:
        found = fit.identified
        peak = found.value("v") * float(np.sqrt(2.0))
        for kind, load in found.load_a.items():
            fall[kind] = load / found.value("c")
            drop[kind] = max(peak - found.rail_max_v[kind], 0.0)
            if fit is here.fit:
                steady[kind] = found.rail_max_v[kind]
    doings = Doings(
        loads=evidence.loads,
        radio=evidence.radio,
        presses=presses,
        power_ups=[powered.start_s for powered in evidence.powered],
        steady_v=steady,
        fall_v_per_s=fall,
        drop_v=drop,
    )
    series = CycleMaxima(here.cycles.at_s, here.cycles.maxima_v, here.cycles.cycle_s)
    # of a load whose level no survey tells, a few seconds of cycles prove nothing
    return [event for event in mains_events.events(series, doings) if event.load in steady or not steady]


def _runs(pairs: Floats) -> list[Floats]:
    return np.split(pairs, np.flatnonzero(pairs[1:, 0] - pairs[:-1, 1] >= JOIN_S) + 1) if len(pairs) else []


# ── what could be judged, and what could not be given ───────────────────────────────────────────────────────────────────


def _judged_by_presses(seen: buttons.DoorSeen) -> list[str]:
    now = seen.now
    if now is None or not (now.presses or now.standing_share):
        return []
    names = ["button-diode-shorted", "contact-stuck", "lamp-in-button", "leak-across-button", "detector-dead"]
    if now.presses:
        names += ["contact-drops-out", "contact-bounce"]
    if now.long_presses:
        names.append("contact-resistance")
    return names


def _quantities(here: Side, then: Side | None, sheet: FitOut) -> dict[str, Measured]:
    fit = here.fit or (then.fit if then and not here.evidence.surveys else None)
    if fit is None:
        return {}
    if not (fit.survey.bursts or fit.survey.figures):
        return from_windows(here.evidence, sheet, _basis(sheet), _nominal_hz(here.evidence, None, sheet))
    return quantities(fit, sheet)


def _surveyed(side: Side, sheet: FitOut) -> Surveyed | None:
    if side.fit is None:
        return None
    survey = side.fit.survey
    warm = survey.temperature_c if survey.temperature_c is not None else side.evidence.temperature_c
    at_s = survey.at_s
    if not (survey.bursts or survey.figures):
        at_s -= at_s % 86_400.0  # windows come all day; those of one day stand for one survey
    return Surveyed(at_s, _quantities(side, None, sheet), warm)


def _missing(here: Side, then: Side | None, sheet: FitOut) -> list[str]:
    said = []
    if here.fit is None:
        said.append("No bursts: reservoir, source resistance and loads cannot be told from this chime's level.")
    elif not (here.fit.survey.bursts or here.fit.survey.figures):
        said.append(
            "Windows of the rail only: the reservoir cannot be told, and what loads the rail only by the sheet."
        )
    elif "test" not in here.fit.identified.rail_max_v:
        said.append("No burst with the test load: the reservoir cannot be told from the fall of the rail.")
    if then is None:
        said.append("No commissioning record: what was found is compared with the fit-out sheet, more coarsely.")
    if sheet.dropout_v is None:
        said.append("The fit-out sheet has no dropout_v: headroom cannot be told.")
    return said


def _basis(sheet: FitOut) -> Basis | None:
    try:
        return basis_of(sheet)
    except SettingError:
        return None


def _nominal_hz(now: Evidence, commissioning: Evidence | None, sheet: FitOut) -> float:
    if sheet.mains_hz:
        return sheet.mains_hz
    for evidence in (commissioning, now):
        for survey in evidence.surveys if evidence else ():
            if survey.mains_hz:
                return survey.mains_hz
        if evidence and evidence.cycle_s:
            return 1.0 / evidence.cycle_s
    return 50.0


def _begins(evidence: Evidence) -> float | None:
    return min((powered.start_s for powered in evidence.powered), default=None)
