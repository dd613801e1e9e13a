"""The judge: what a stretch of testimony, beside the commissioning record and the fit-out sheet, says about an installation.

Puts together the fitted surveys, the signs of the doors and the events of the mains, and ranks what they are evidence for. Knows
no store, no clock and no wording.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np

from service.findings import buttons, mains, shifts
from service.findings.feeding import Feeding, feeding, only_in_snatches, only_while_pulsed
from service.findings.sides import Side, basis_or_none, measured, nominal_hz, sides_of, surveyed_of, unmatched
from service.findings.testimony import Evidence
from service.findings.verdict import EvidenceLine, Finding, Verdict
from service.model import LoadState
from service.supply.fitout import FitOut

TOLD_FROM = 0.55
"""A finding is told when it is likelier than not, by a margin: no finding is better than a wrong one on a healthy house."""

SURE, LIKELY = 0.97, 0.8

GONE_S = 30.0
"""A chime that stopped under a load is back within this."""


def judge(now: Evidence, commissioning: Evidence | None, sheet: FitOut) -> Verdict:
    """Findings, quantities, and about what the evidence sufficed to judge."""
    return weighed(*sides_of(now, commissioning, sheet), sheet)


def weighed(here: Side, then: Side | None, sheet: FitOut) -> Verdict:
    """`judge`, from sides that are at hand."""
    now, basis = here.evidence, basis_or_none(sheet)
    hertz = nominal_hz(now, then.evidence if then else None, sheet)
    found: list[Finding] = []
    judged: set[tuple[str, str | None]] = set()
    fed = feeding(now, here.cycles.cycle_s, _free_fall(then or here))
    unfed = fed.lost or only_in_snatches(now) or (surveyed_before(then) and only_while_pulsed(now, hertz))
    if unfed:
        found.append(_unfed(fed, _fed_door(here, sheet)))
    else:
        moved, could = shifts.findings(here.fit, then.fit if then else None, sheet, basis, _stops(here, then))
        found += moved
        judged |= {(name, None) for name in could}
        found += mains.findings(here, then)
        if len(here.cycles.at_s):
            judged |= {("mains-dip", None), ("mains-swell", None)}
    for door in sorted({*here.doors, *(then.doors if then else {}), *(one.door for one in sheet.doors)}):
        seen = _door_seen(door, here, then, sheet)
        if not unfed:
            found += buttons.findings(seen, sheet)
        judged |= {(name, door) for name in _judged_by_presses(seen)}
    told = sorted((f for f in found if f.likelihood >= _told_from(f)), key=lambda f: -f.likelihood)
    told = [replace(f, since_s=f.since_s or _begins(now)) for f in told]
    if len(here.cycles.at_s) > hertz:  # a second of cycles shows whether the rail is fed
        judged |= {("button-diode-open", None), ("button-diode-reversed", None)}
    return Verdict(
        quantities=measured(here, then, sheet),
        findings=tuple(told),
        judged=frozenset(judged),
        missing=tuple(_missing(here, then, sheet)),
        surveyed=surveyed_of(here, sheet),
        commissioned=surveyed_of(then, sheet) if then else None,
    )


def surveyed_before(then: Side | None) -> bool:
    """Whether the chime has been awake for long enough to survey its supply."""
    return then is not None and bool(then.evidence.surveys)


def _told_from(finding: Finding) -> float:
    """Of two that cannot be told apart the likelier is told, though neither may be likelier than not."""
    return TOLD_FROM / (1 + len(finding.also_possible))


def _door_seen(door: str, here: Side, then: Side | None, sheet: FitOut) -> buttons.DoorSeen:
    ratio, peak = 1.0, None
    if here.fit is not None:
        peak = float(np.sqrt(2.0)) * here.fit.identified.value("v")
        if then is not None and then.fit is not None:
            ratio = here.fit.identified.value("v") / then.fit.identified.value("v")
    elif then is not None and then.fit is not None:
        peak = float(np.sqrt(2.0)) * then.fit.identified.value("v")
    signs = here.doors.get(door)
    stands = signs is not None and signs.standing_from_s is not None
    return buttons.DoorSeen(
        door,
        signs,
        then.doors.get(door) if then else None,
        _has_diode(door, here, then, sheet),
        here.fit.identified.mains_hz if here.fit else sheet.mains_hz or 1.0 / here.cycles.cycle_s,
        ratio,
        peak,
        here.noise_v,
        unmatched(here.evidence, here.cycles, door) if stands else here.unmatched,
        then.unmatched if then else (),
        here.watched_s,
        then.watched_s if then else 0.0,
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


def _stops(here: Side, then: Side | None) -> shifts.Stops:
    before = then is not None and _stopped(then.evidence, "sound")
    return shifts.Stops(_stopped(here.evidence, "sound"), _stopped(here.evidence, "test"), before)


def _stopped(evidence: Evidence, load: LoadState) -> bool:
    """Whether the chime stopped under this load, and started anew."""
    for before, after in pairwise(evidence.powered):
        said = [state for moment, state in evidence.loads if before.start_s <= moment <= before.last_heard_s + 0.05]
        if said and said[-1] == load and after.start_s - before.last_heard_s < GONE_S:
            return True
    return False


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


def _begins(evidence: Evidence) -> float | None:
    return min((powered.start_s for powered in evidence.powered), default=None)
