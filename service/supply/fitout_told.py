"""A fit-out check as plain data: for JSON, and the figures that a change of the sheet is judged by. Knows no wording of pages."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from math import isfinite
from typing import Any

from service.supply.assumptions import TYPICAL, Basis
from service.supply.detector import led_mean_a, led_peak_a, resistor_w, threshold_v, window_s
from service.supply.envelope import Condition, Envelope, State, detector_of, span
from service.supply.fitout import FitOut
from service.supply.fitout_rules import Check
from service.supply.remark import Remark

CAUTION = (
    "The mains side of a bell transformer is for a licensed electrician, under the local code. Isolate before touching wiring; a reservoir "
    "capacitor stays charged after the supply is off. These figures are calculated from the sheet, not measured. A bell circuit is no "
    "alarm, no emergency call and no medical aid."
)


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure that sums a fit-out up. `value` None: the sheet does not allow it."""

    name: str
    words: str
    unit: str
    value: float | None


def told(check: Check, before: Check | None = None, changes: Sequence[str] = ()) -> dict[str, Any]:
    """The whole check. With `before`, the sheet without `changes`, also what they change. No infinity and no NaN."""
    envelope, basis = check.envelope, check.basis
    answer: dict[str, Any] = {
        "fits": check.fits,
        "remarks": [asdict(remark) for remark in check.remarks],
        "assumptions": [asdict(assumption) for assumption in check.assumptions],
        "circuit": _circuit(basis) if basis else None,
        "conditions": [asdict(condition) for condition in envelope.conditions] if envelope else [],
        "largest_load_a": _or_none(envelope and envelope.largest_load_a),
        "largest_load_nominal_a": _or_none(envelope and envelope.largest_load_nominal_a),
        "hold_up_s": {state: asdict(found) for state, found in envelope.hold_up_s.items()} if envelope else {},
        "shortest_sure_press_s": _or_none(envelope and envelope.shortest_sure_press_s),
        "detector": _detector(check.sheet, basis) if basis else None,
        "figures": [asdict(figure) for figure in figures(check)],
        "what_if": _what_if(check, before, changes) if before else None,
        "caution": CAUTION,
    }
    finite = _finite(answer)
    assert isinstance(finite, dict)
    return finite


def figures(check: Check) -> list[Figure]:
    """What sums a fit-out up, in a fixed order: for comparing two."""
    envelope = check.envelope
    idle, sounding = lowest(envelope, "idle", "nominal"), lowest(envelope, "sounding", "nominal")
    idle_high, sounding_low = highest(envelope, "idle"), lowest(envelope, "sounding", "low")
    most = envelope.largest_load_a if envelope else None
    sure = envelope.shortest_sure_press_s if envelope else None
    hold = envelope.hold_up_s if envelope else {}
    return [
        Figure("rail_idle_v", "mean rail at rest", "V", idle.rail_mean_v.value if idle else None),
        Figure("rail_highest_v", "highest rail at rest, mains high", "V", idle_high.rail_max_v.value if idle_high else None),
        Figure(
            "rail_sounding_low_v",
            "lowest rail while it sounds, mains low",
            "V",
            sounding_low.rail_min_v.value if sounding_low else None,
        ),
        Figure(
            "headroom_low_v",
            "head-room while it sounds, mains low",
            "V",
            sounding_low.headroom_v.value if sounding_low and sounding_low.headroom_v else None,
        ),
        Figure("ripple_idle_v", "ripple at rest", "V", idle.ripple_v.value if idle else None),
        Figure("ripple_sounding_v", "ripple while it sounds", "V", sounding.ripple_v.value if sounding else None),
        Figure("secondary_rms_a", "secondary current while it sounds, rms", "A", sounding.secondary_a.value if sounding else None),
        Figure("largest_load_a", "largest load, mains low", "A", most.value if most else None),
        Figure("hold_up_idle_s", "hold-up at rest", "s", hold["idle"].value if "idle" in hold else None),
        Figure("hold_up_sounding_s", "hold-up while it sounds", "s", hold["sounding"].value if "sounding" in hold else None),
        Figure("shortest_sure_press_s", "shortest press always seen, mains low", "s", sure.high if sure else None),
        Figure("led_peak_a", "peak current of the detector's LED", "A", _led_peak(check)),
    ]  # fmt: skip


def lowest(envelope: Envelope | None, state: State, mains: str) -> Condition | None:
    """Of the frequencies calculated, the one with the lower rail."""
    found = [one for one in envelope.conditions if one.state == state and one.mains == mains] if envelope else []
    return min(found, key=lambda one: one.rail_min_v.value) if found else None


def highest(envelope: Envelope | None, state: State) -> Condition | None:
    """At high mains, of the frequencies calculated, the one with the higher rail."""
    found = envelope.at(state, "high") if envelope else ()
    return max(found, key=lambda one: one.rail_max_v.value) if found else None


def differences(before: Check, after: Check) -> tuple[list[Remark], list[Remark]]:
    """Remarks that a change takes away, and those it brings; a field and a rule make the same remark, at the same severity."""
    old = {_same(remark): remark for remark in before.remarks}
    new = {_same(remark): remark for remark in after.remarks}
    return [old[key] for key in old if key not in new], [new[key] for key in new if key not in old]


def _same(remark: Remark) -> tuple[str, str, str]:
    return remark.field, remark.rule, remark.severity


def _what_if(check: Check, before: Check, changes: Iterable[str]) -> dict[str, Any]:
    gone, brought = differences(before, check)
    return {
        "changes": list(changes),
        "fitted_before": before.fits,
        "figures": [
            {"name": new.name, "words": new.words, "unit": new.unit, "before": old.value, "after": new.value}
            for old, new in zip(figures(before), figures(check), strict=True)
        ],
        "remarks_gone": [asdict(remark) for remark in gone],
        "remarks_new": [asdict(remark) for remark in brought],
    }


def _circuit(basis: Basis) -> dict[str, Any]:
    return {
        "mains_hz": list(basis.mains_hz),
        "open_circuit_v": asdict(span(basis.open_circuit_v)),
        "source_ohm": asdict(span(basis.source_ohm)),
        "wire_ohm": basis.wire_ohm,
        "regulator": basis.regulator,
        "dropout_v": basis.dropout_v,
        "loads_a": basis.loads_a,
        "standing": basis.standing,
    }


def _detector(sheet: FitOut, basis: Basis) -> dict[str, Any] | None:
    """At nominal mains, at the first frequency."""
    fitted = detector_of(sheet, basis)
    if fitted is None:
        return None
    return {
        "threshold_v": asdict(span(threshold_v(fitted))),
        "window_s": asdict(span(window_s(fitted, basis.peak_v, basis.mains_hz[0]))),
        "led_peak_a": asdict(span(led_peak_a(fitted, basis.peak_v))),
        "led_mean_a": asdict(span(led_mean_a(fitted, basis.peak_v))),
        "resistor_w": asdict(span(resistor_w(fitted, basis.peak_v))),
    }


def _led_peak(check: Check) -> float | None:
    fitted = detector_of(check.sheet, check.basis) if check.basis else None
    return float(led_peak_a(fitted, check.basis.peak_v)[TYPICAL]) if fitted and check.basis else None


def _or_none(found: Any) -> dict[str, Any] | None:
    return asdict(found) if found else None


def _finite(value: Any) -> Any:
    """Without infinities and NaN, which JSON does not have: None in their place."""
    if isinstance(value, dict):
        return {name: _finite(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(part) for part in value]
    return None if isinstance(value, float) and not isfinite(value) else value
