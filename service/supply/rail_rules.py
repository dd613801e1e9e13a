"""Rules on the whole supply: collapse between cycles, largest load, hold-up, wire, the shortest sure press.

The rules on single parts and on the regulator stand in rooms of their own.
"""

from collections.abc import Iterator
from math import inf, isfinite

import numpy as np

from service.supply.assumptions import TYPICAL, Basis
from service.supply.envelope import Condition, Envelope, supply_of
from service.supply.fitout import FitOut
from service.supply.rectifier import steady_state
from service.supply.remark import PRACTICE, Remark, Severity, quantity

USUAL_F = (100e-6, 220e-6, 330e-6, 470e-6, 1000e-6, 2200e-6, 3300e-6, 4700e-6, 10_000e-6)
RIPPLE_SHARE = 0.2
RESERVE_SHARE = 0.8
WIRE_SHARE = 0.1
SHORTEST_HOLD_S = 44e-3
"""Shortest of 607 key holds of one person in a public keystroke record, measured."""

STATE_WORDS = {
    "idle": "at rest",
    "test": "under the test load",
    "sounding": "while it sounds",
    "pressed": "while pressed",
}


def standing(sheet: FitOut, basis: Basis) -> Iterator[Remark]:
    """Without a diode across a button no half-cycle reaches the chime while nobody presses."""
    if basis.standing:
        return
    text = "No button has a diode across it, so the chime has no supply while nobody presses, and nothing of its rail can be told."
    yield Remark("doors", "wrong", text, "a diode across a button passes one half-cycle to the chime", PRACTICE)


def collapse(sheet: FitOut, basis: Basis, envelope: Envelope) -> Iterator[Remark]:
    """Between two crests the reservoir alone feeds the chime, for most of a cycle; half-wave, so only one crest comes per cycle."""
    if sheet.reservoir_f is None:
        return
    for state in ("sounding", "test", "idle"):
        found = [one for one in envelope.conditions if one.state == state and one.mains == "nominal"]
        if not found:
            continue
        worst = max(found, key=lambda one: one.ripple_v.value)
        share = worst.ripple_v.value / worst.rail_max_v.value
        if share <= RIPPLE_SHARE:
            continue
        short = not worst.carried
        severity: Severity = "wrong" if (short and basis.dropout_v is not None) or share > 0.5 else "doubtful"
        reservoir = quantity(sheet.reservoir_f, "F")
        text = (
            f"With {reservoir} the rail swings {quantity(worst.ripple_v.value, 'V')} in every cycle {STATE_WORDS[state]}, from "
            f"{quantity(worst.rail_max_v.value, 'V')} down to {quantity(worst.rail_min_v.value, 'V')}."
        )
        if severity == "wrong":
            text = f"{text[:-1]}: it collapses between cycles."
        values = {
            "ripple_v": worst.ripple_v.value,
            "rail_max_v": worst.rail_max_v.value,
            "rail_min_v": worst.rail_min_v.value,
            "ripple_share": share,
        }
        enough = _enough_f(sheet, basis, worst)
        if enough is not None:
            text += f" {quantity(enough, 'F')} would hold it."
            values["enough_f"] = enough
        elif basis.dropout_v is not None and short:
            text += " No usual reservoir would hold it: the load is too much for this transformer."
        rule = "half-wave: the reservoir feeds the load for most of a cycle; it swings less than a fifth of the rail"
        yield Remark("reservoir_f", severity, text, rule, PRACTICE, values)
        return  # the lesser states say the same of the same field


def load(sheet: FitOut, basis: Basis, envelope: Envelope) -> Iterator[Remark]:
    """What the standing supply can carry, and how near the sounding load comes to it."""
    most, nominal = envelope.largest_load_a, envelope.largest_load_nominal_a
    if most is None or nominal is None:
        return
    values = {
        "largest_load_low_a": most.value,
        "largest_load_low_least_a": most.low,
        "largest_load_nominal_a": nominal.value,
    }
    sounding = sheet.sound_a
    rule = "largest load at which the rail never falls below drop-out, at mains 10 % low"
    at = f" at a rail of {quantity(basis.rated_rail_v, 'V')}" if basis.regulator == "switching" else ""
    carries = f"The standing supply carries up to {quantity(most.value, 'A')}{at} at low mains, {quantity(nominal.value, 'A')} at nominal"
    if sounding is not None and RESERVE_SHARE * most.value < sounding <= most.value:
        text = f"{carries}; sounding takes {quantity(sounding, 'A')} of it, which leaves less than a fifth in reserve."
        yield Remark("sound_a", "doubtful", text, rule, PRACTICE, values | {"sound_a": sounding})
    else:
        yield Remark("sound_a", "note", f"{carries}.", rule, PRACTICE, values)


def hold_up(envelope: Envelope) -> Iterator[Remark]:
    """Loss of mains is bridged by the reservoir for a time."""
    idle = envelope.hold_up_s.get("idle")
    if idle is None or not isfinite(idle.value) or idle.value <= 0.0:
        return
    values = {"hold_up_idle_s": idle.value, "hold_up_idle_least_s": idle.low}
    text = f"Without mains the reservoir feeds the chime for {quantity(idle.value, 's')} at rest."
    sounding = envelope.hold_up_s.get("sounding")
    if sounding is not None and sounding.value > 0.0:
        text = (
            f"Without mains the reservoir feeds the chime for {quantity(idle.value, 's')} at rest "
            f"and for {quantity(sounding.value, 's')} while it sounds."
        )
        values["hold_up_sounding_s"] = sounding.value
    rule = "C × (lowest rail − drop-out) / load; a voltage dip of 0.1 s is an ordinary event"
    yield Remark("reservoir_f", "note" if idle.low >= 0.1 else "doubtful", text, rule, PRACTICE, values)


def wire(sheet: FitOut, basis: Basis, envelope: Envelope) -> Iterator[Remark]:
    """The current comes in short pulses, so the wire takes more than the mean current would."""
    found = [one for one in envelope.conditions if one.state in ("sounding", "idle") and one.mains == "nominal"]
    if basis.wire_ohm <= 0.0 or not found:
        return
    worst = max(found, key=lambda one: one.peak_a.value)
    drop = worst.peak_a.value * basis.wire_ohm
    share = drop / float(basis.peak_v[TYPICAL])
    if share <= WIRE_SHARE:
        return
    text = (
        f"The wire has {quantity(basis.wire_ohm, 'Ohm')} and takes {quantity(drop, 'V')} of the crest {STATE_WORDS[worst.state]}, "
        f"{share:.0%}; the current comes in pulses of {quantity(worst.peak_a.value, 'A')}."
    )
    values = {"wire_ohm": basis.wire_ohm, "wire_drop_v": drop, "peak_a": worst.peak_a.value}
    yield Remark("wire", "doubtful", text, "the wire takes less than a tenth of the crest", PRACTICE, values)


def sure_press(sheet: FitOut, envelope: Envelope) -> Iterator[Remark]:
    """A press shorter than the gap between two windows may fall into it."""
    sure = envelope.shortest_sure_press_s
    if sure is None or sure.value == inf:
        return  # that the LED never turns on is told by the rule on its current
    rule = "T − w + 2 t: the gap between two windows, and twice the shortest pulse that is sent"
    text = (
        f"A press of {quantity(sure.value, 's')} or longer is always seen, at low mains of {quantity(sure.high, 's')}; "
        "the shortest of 607 key strokes measured lasted 44 ms."
        if isfinite(sure.high)
        else f"A press of {quantity(sure.value, 's')} or longer is always seen, at nominal mains; at low mains none may be; "
        "the shortest of 607 key strokes measured lasted 44 ms."
    )
    severity: Severity = "note" if sure.high < SHORTEST_HOLD_S else "doubtful"
    values = {"shortest_sure_press_s": sure.value, "shortest_sure_press_low_s": sure.high}
    yield Remark("detector_ohm", severity, text, rule, "closed form; key strokes of a public record, measured", values)


def _enough_f(sheet: FitOut, basis: Basis, worst: Condition) -> float | None:
    """Smallest usual reservoir that keeps the regulator supplied at low mains and the ripple within its share; None: none does."""
    assert sheet.reservoir_f is not None
    larger = [farad for farad in USUAL_F if farad > sheet.reservoir_f]
    for farad in larger:
        supply = supply_of(sheet, basis, worst.state, [("low", worst.mains_hz)], reservoir_f=farad)
        steady = steady_state(supply)
        share = steady.ripple_v[TYPICAL] / steady.rail_max_v[TYPICAL]
        if bool(steady.carried[TYPICAL]) and share <= RIPPLE_SHARE and bool(np.isfinite(share)):
            return farad
    return None
