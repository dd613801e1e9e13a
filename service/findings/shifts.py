"""Findings of the supply: how far its quantities have moved from the commissioning record, or lie from the fit-out sheet.

Turns two fits into a displacement, has it weighed (`axes`), and tells the result with its numbers. Knows no doors.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.findings import quantities
from service.findings.axes import AXES, Displacement, Judged, judge_axes
from service.findings.fitting import BELOW_DROPOUT, Fitted
from service.findings.scatter import HEALTHY_SD
from service.findings.verdict import EvidenceLine, Finding, Measured
from service.supply.assumptions import TYPICAL, Basis
from service.supply.fitout import FitOut
from service.supply.rectifier import Supply, steady_state
from service.supply.unknowns import NAMES, Kind

Floats = NDArray[np.floating[Any]]

PREDICTED_SD = 0.06
"""How sure a predicted rail minimum is, as a share of the drop-out voltage."""

GIVEN_WAY_SD = 0.3
"""By how much more than just too much a resistance may be under which the chime gave way (logarithm)."""

BETWEEN_LOOKS_SD = np.array(list(HEALTHY_SD.values()))
"""On `AXES`."""

AGAINST_SHEET_SD = np.array([0.09, 0.40, 0.07, 0.18, 0.10])
"""The same between a fit-out sheet and what was built by it: tolerance of an electrolytic, and a source resistance that no label tells."""

QUANTITY = {
    "reservoir-aged": ("reservoir_f",),
    "source-resistance-high": ("source_ohm",),
    "mains-low": ("open_circuit_v",),
    "wrong-transformer": ("open_circuit_v",),
    "load-high": ("idle_a", "sound_a"),
    "regulator-drops-out": ("headroom_v",),
}


@dataclass(frozen=True, slots=True)
class Stops:
    """Whether the chime stopped and started anew: while it sounded, under the test load, and while it sounded at commissioning."""

    sounding: bool = False
    testing: bool = False
    sounding_before: bool = False


def findings(
    now: Fitted | None, then: Fitted | None, sheet: FitOut, basis: Basis | None, stops: Stops
) -> tuple[list[Finding], tuple[str, ...]]:
    """Findings with their likelihood, and the names of those that could be judged."""
    if now is None:
        return [], ()
    dropped = dropped_out(now, sheet, stops.sounding)
    if dropped and then is not None and not stops.sounding and dropped_out(then, sheet, stops.sounding_before):
        dropped = None  # as low as it has always been, and the chime lives with it
    reference = then.identified.mean if then is not None else _expected(sheet, basis)
    seen = _displacement(now, then, reference, sheet, dropped)
    if dropped and then is not None:
        seen = replace(seen, explained=_explained(now, then))
    if stops.testing and then is not None:
        seen = _given_way(seen, now, then)
    scatter = BETWEEN_LOOKS_SD if then is not None else AGAINST_SHEET_SD
    judged = judge_axes(seen, np.diag(scatter**2))
    could = tuple(name for name, axis in _AXIS.items() if np.isfinite(seen.place[AXES.index(axis)]))
    return list(_told(now, then, reference, sheet, judged)), could


_AXIS = {
    "reservoir-aged": "c",
    "source-resistance-high": "r",
    "mains-low": "v",
    "wrong-transformer": "v",
    "load-high": "idle",
    "regulator-drops-out": "sound",
}


def dropped_out(now: Fitted, sheet: FitOut, stopped: bool) -> bool | None:
    """Whether the regulator dropped out while the chime sounded; None where it is not known to have sounded."""
    if now.broken_off or stopped:
        return True
    if now.lowest_sounding_v is None or sheet.dropout_v is None:
        return None
    return now.lowest_sounding_v < BELOW_DROPOUT * sheet.dropout_v


def _explained(now: Fitted, then: Fitted) -> float:
    """How likely the regulator drops out with the present source and reservoir under the sound of commissioning."""
    found, before = now.identified, then.identified
    chime = found.chime
    if "sound" not in before.load_a or chime.dropout_v <= 0.0:
        return 0.4
    state = steady_state(
        Supply(
            mains_hz=found.mains_hz,
            open_circuit_v=found.value("v"),
            source_ohm=found.value("r"),
            reservoir_f=found.value("c"),
            load_a=before.value("sound"),
            esr_ohm=found.value("esr"),
            leakage_h=found.value("l"),
            regulator=chime.regulator,
            rated_rail_v=chime.rated_rail_v,
            dropout_v=0.0 if chime.regulator == "linear" else chime.dropout_v,
        )
    )
    lowest = float(state.rail_min_v[0])
    if not bool(state.carried[0]):
        lowest = min(lowest, 0.9 * chime.dropout_v)
    return float(1.0 / (1.0 + np.exp((lowest / chime.dropout_v - 1.0) / PREDICTED_SD)))


def _given_way(seen: Displacement, now: Fitted, then: Fitted) -> Displacement:
    """The known test load was too much: the source resistance is at least what just cannot carry it, all else as it was."""
    found, chime = then.identified, then.identified.chime
    ratios = np.geomspace(1.0, 40.0, 60)
    carried = steady_state(
        Supply(
            mains_hz=found.mains_hz,
            open_circuit_v=now.identified.value("v"),
            source_ohm=found.value("r") * ratios,
            reservoir_f=found.value("c"),
            load_a=found.value("idle"),
            esr_ohm=found.value("esr"),
            regulator=chime.regulator,
            rated_rail_v=chime.rated_rail_v,
            dropout_v=chime.dropout_v,
            test_a=chime.test_a or 0.0,
            test_ohm=chime.test_ohm or np.inf,
        )
    ).carried
    least = float(ratios[np.count_nonzero(carried)]) if not carried.all() else float(ratios[-1])
    place, covariance = seen.place.copy(), seen.covariance.copy()
    index = AXES.index("r")
    place[index] = np.log(least) + GIVEN_WAY_SD
    covariance[index, :], covariance[:, index] = 0.0, 0.0
    covariance[index, index] = GIVEN_WAY_SD**2
    return replace(seen, place=place, covariance=covariance)


_TELLS: tuple[Kind, ...] = ("test", "test", "idle", "test", "sound")
"""The burst without which an axis is not known."""


def _displacement(
    now: Fitted, then: Fitted | None, reference: Floats, sheet: FitOut, dropped: bool | None
) -> Displacement:
    index = [NAMES.index(axis) for axis in AXES]
    place = (now.identified.mean - reference)[index]
    covariance = quantities.covariance(now, AXES)
    known = [kind in now.identified.load_a for kind in _TELLS]
    if then is not None:
        covariance = covariance + quantities.covariance(then, AXES)
        for i, kind in enumerate(_TELLS):
            known[i] = known[i] and kind in then.identified.load_a
    place = np.where(known, place, np.nan)
    reference_ohm = float(np.exp(reference[NAMES.index("r")])) if np.isfinite(reference[NAMES.index("r")]) else 5.0
    reference_idle = (
        float(np.exp(reference[NAMES.index("idle")])) if np.isfinite(reference[NAMES.index("idle")]) else 6e-3
    )
    return Displacement(place, covariance, reference_ohm, reference_idle, dropped)


def _expected(sheet: FitOut, basis: Basis | None) -> Floats:
    """The logarithms that the sheet leads one to expect; NaN where it is silent."""
    expected = np.full(len(NAMES), np.nan)
    for name, value in (("c", sheet.reservoir_f), ("idle", sheet.idle_a), ("sound", sheet.sound_a)):
        if value:
            expected[NAMES.index(name)] = np.log(value)
    if basis is not None:
        expected[NAMES.index("v")] = np.log(basis.open_circuit_v[TYPICAL])
        expected[NAMES.index("r")] = np.log(max(basis.source_ohm[TYPICAL], 0.5))
    return expected


def _told(now: Fitted, then: Fitted | None, reference: Floats, sheet: FitOut, judged: Judged) -> list[Finding]:
    measured = quantities.quantities(now, sheet)
    before = quantities.quantities(then, sheet) if then is not None else {}
    expected = {"reservoir_f": "c", "source_ohm": "r", "open_circuit_v": "v", "idle_a": "idle", "sound_a": "sound"}
    found = []
    for name, likelihood in judged.faults.items():
        lines = []
        for quantity in QUANTITY[name]:
            value = measured.get(quantity)
            if value is not None:
                lines.append(_line(quantity, value, before.get(quantity), reference, expected.get(quantity)))
        found.append(Finding(name, likelihood, None, (), now.survey.at_s, tuple(lines)))
    return found


def _line(quantity: str, value: Measured, before: Measured | None, reference: Floats, key: str | None) -> EvidenceLine:
    expected = before.value if before is not None else None
    if expected is None and key is not None and np.isfinite(reference[NAMES.index(key)]):
        expected = float(np.exp(reference[NAMES.index(key)]))
    return EvidenceLine(quantity, value.value, value.low, value.high, expected)
