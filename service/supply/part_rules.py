"""Rules on parts: reservoir voltage, the two diodes, the detector's LED and its resistor. Each judges one field of a fit-out sheet.

What a data sheet says of a class of parts is used, never that of one part.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from service.supply.assumptions import SOFT, STIFF, TYPICAL, Basis
from service.supply.detector import Detector, led_mean_a, led_peak_a, resistor_w, reverse_v
from service.supply.envelope import LEVELS, detector_of
from service.supply.fitout import FitOut
from service.supply.remark import PRACTICE, Remark, Severity, quantity

USUAL_RATED_V = (6.3, 10.0, 16.0, 25.0, 35.0, 50.0, 63.0, 80.0, 100.0)
"""Rated voltages that electrolytic capacitors come in (common practice, no source)."""

USUAL_W = (0.125, 0.25, 0.5, 1.0, 2.0, 5.0)

RESERVOIR_SOURCE = "common practice, no source"
DIODE_SOURCE = "data sheets of the 1N400x family (1N4007: 1000 V), from a secondary page; the rule is common practice"
USUAL_DIODES = (("1N4001", 50.0), ("1N4002", 100.0), ("1N4004", 400.0), ("1N4007", 1000.0))
"""Reverse voltages of the family (from memory but for the last)."""

DIODE_MARGIN = 1.25
ON_MARGIN = 1.5


@dataclass(frozen=True, slots=True)
class Optocoupler:
    """Limits of a class of optocouplers. `sure_on_a`: current at which every part of the class is on; None: not a matter of the LED."""

    words: str
    mean_a: float
    stands_v: float
    sure_on_a: float | None
    source: str


FAST = Optocoupler(
    "a fast optocoupler (6N137 class)", 20e-3, 5.0, 5e-3, "data sheets of the 6N137 class, from a secondary page"
)
TRANSISTOR = Optocoupler(
    "a transistor optocoupler (PC817 class)", 50e-3, 6.0, None, "data sheets of the PC817 class, from a secondary page"
)


def reservoir_voltage(sheet: FitOut, basis: Basis) -> Iterator[Remark]:
    """At high mains, with next to no load, the reservoir charges to the crest of the open secondary."""
    crests = LEVELS["high"] * basis.peak_v
    typical, most = float(crests[TYPICAL]), float(crests[SOFT])
    enough = next((rated for rated in USUAL_RATED_V if rated >= most), USUAL_RATED_V[-1])
    values = {"open_crest_high_v": typical, "open_crest_high_most_v": most}
    rule = "a reservoir is rated for at least the crest of the open secondary at high mains"
    rated = sheet.reservoir_rated_v
    if rated is None:
        text = f"The reservoir must be rated for at least {quantity(most, 'V')}; {enough:g} V is the next usual rating."
        yield Remark("reservoir_rated_v", "note", text, rule, RESERVOIR_SOURCE, values)
        return
    values["reservoir_rated_v"] = rated
    if rated < typical:
        text = f"A reservoir rated {rated:g} V is charged to {quantity(typical, 'V')} at high mains and no load; fit one for {enough:g} V."
        yield Remark("reservoir_rated_v", "wrong", text, rule, RESERVOIR_SOURCE, values)
    elif rated < most:
        text = (
            f"A reservoir rated {rated:g} V may be charged to {quantity(most, 'V')} at high mains, if the transformer is a soft one; "
            f"measure its open voltage, or fit one for {enough:g} V."
        )
        yield Remark("reservoir_rated_v", "doubtful", text, rule, RESERVOIR_SOURCE, values)


def diode_voltage(sheet: FitOut, basis: Basis) -> Iterator[Remark]:
    """While pressed the chime's diode stands the crest and the rail together. Released, nothing shares it out evenly between two."""
    crest = LEVELS["high"] * float(basis.peak_v[SOFT])
    both = 2.0 * crest
    rule = "each of two diodes in series stands the crest and the rail together, for how they share it is left to their leakage"
    for field, rated, words in (
        ("board_diode_v", sheet.board_diode_v, "The chime's rectifier diode"),
        ("button_diode_v", sheet.button_diode_v, "The diode across the button"),
    ):
        values = {"reverse_v": both, "open_crest_high_v": crest}
        if rated is None:
            part, part_v = next((one for one in USUAL_DIODES if one[1] >= DIODE_MARGIN * both), USUAL_DIODES[-1])
            text = f"{words} must stand {quantity(both, 'V')} backwards; a {part} ({part_v:g} V) has some to spare."
            yield Remark(field, "note", text, rule, DIODE_SOURCE, values)
            continue
        values["rated_v"] = rated
        if rated < both:
            text = f"{words} is rated for {rated:g} V and must stand {quantity(both, 'V')} backwards at high mains."
            # the button's diode has only the crest to itself as long as the detector holds the terminal
            severity: Severity = "doubtful" if field == "button_diode_v" and rated >= crest else "wrong"
            yield Remark(field, severity, text, rule, DIODE_SOURCE, values)


def detector_current(sheet: FitOut, basis: Basis) -> Iterator[Remark]:
    """The LED must turn on with margin at low mains, and keep within its limits at high mains while a button is held or stuck."""
    fitted = detector_of(sheet, basis)
    if fitted is None or sheet.detector_on_a is None:
        return
    kind = _kind(sheet)
    on_a = sheet.detector_on_a
    if kind is not None and kind.sure_on_a is not None and on_a < kind.sure_on_a:
        text = f"{kind.words[:1].upper()}{kind.words[1:]} is sure to be on from {quantity(kind.sure_on_a, 'A')}, not {quantity(on_a, 'A')}."
        yield Remark(
            "detector_on_a", "doubtful", text, "the current at which every part of the class is on", kind.source,
            {"detector_on_a": on_a, "sure_on_a": kind.sure_on_a},
        )  # fmt: skip
        on_a = kind.sure_on_a
    yield from _on(fitted, on_a, basis)
    yield from _limits(fitted, kind or FAST, kind is None, basis)
    yield from _heat(fitted, sheet, basis)


def led_reverse(sheet: FitOut, basis: Basis) -> Iterator[Remark]:
    """On the other half-cycle the LED stands the crest backwards, unless a diode keeps it from it."""
    if sheet.detector_ohm is None or sheet.detector_diode:
        return
    kind = _kind(sheet) or FAST
    crest = float(reverse_v(LEVELS["high"] * basis.peak_v[STIFF], protected=False))
    if crest <= kind.stands_v:
        return
    values = {"led_reverse_v": crest, "led_stands_v": kind.stands_v}
    rule = "an LED that stands less than the crest backwards has a diode in series with it or across it, the other way round"
    if sheet.detector_diode is None:
        text = (
            f"The sheet does not say whether a diode keeps reverse voltage from the detector's LED: it stands {kind.stands_v:g} V, and "
            f"the other half-cycle brings {quantity(crest, 'V')}."
        )
        yield Remark("detector_diode", "doubtful", text, rule, kind.source, values)
    else:
        text = (
            f"The detector's LED has no diode of its own: the other half-cycle brings {quantity(crest, 'V')} backwards, and it stands "
            f"{kind.stands_v:g} V."
        )
        yield Remark("detector_diode", "wrong", text, rule, kind.source, values)


def fast_supply(sheet: FitOut, basis: Basis) -> Iterator[Remark]:
    """A fast optocoupler has a logic side with a supply of its own, usually the regulated rail."""
    if sheet.optocoupler != "fast" or sheet.regulator_v is None or 4.5 <= sheet.regulator_v <= 5.5:
        return
    text = f"A fast optocoupler wants a supply of 4.5 to 5.5 V; the regulator gives {quantity(sheet.regulator_v, 'V')}."
    values = {"regulator_v": sheet.regulator_v}
    yield Remark("optocoupler", "doubtful", text, "supply of the 6N137 class: 4.5 to 5.5 V", FAST.source, values)


def _kind(sheet: FitOut) -> Optocoupler | None:
    return {"fast": FAST, "transistor": TRANSISTOR, None: None}[sheet.optocoupler]


def _on(fitted: Detector, on_a: float, basis: Basis) -> Iterator[Remark]:
    peaks = led_peak_a(fitted, LEVELS["low"] * basis.peak_v)
    typical, least = float(peaks[TYPICAL]), float(np.min(peaks))
    values = {"led_peak_low_a": typical, "led_peak_low_least_a": least, "on_a": on_a}
    rule = f"at low mains the LED's peak current is at least {ON_MARGIN:g} times that which turns the detector on; LEDs age"
    if typical < on_a:
        text = (
            f"At low mains the detector's LED gets {quantity(typical, 'A')} at the most and needs {quantity(on_a, 'A')}: a press "
            "would not be seen. A smaller resistor mends it."
        )
        yield Remark("detector_ohm", "wrong", text, rule, PRACTICE, values)
    elif least < ON_MARGIN * on_a:
        text = (
            f"At low mains the detector's LED gets {quantity(least, 'A')} at the most and needs {quantity(on_a, 'A')}: little is left "
            "for its ageing."
        )
        yield Remark("detector_ohm", "doubtful", text, rule, PRACTICE, values)


def _limits(fitted: Detector, kind: Optocoupler, guessed: bool, basis: Basis) -> Iterator[Remark]:
    crest = LEVELS["high"] * basis.peak_v
    mean, peak = float(np.max(led_mean_a(fitted, crest))), float(np.max(led_peak_a(fitted, crest)))
    values = {"led_mean_high_a": mean, "led_peak_high_a": peak, "limit_a": kind.mean_a}
    rule = f"{kind.words}: {quantity(kind.mean_a, 'A')} on average; half a cycle is long, so the crest should keep within it too"
    said = " The sheet does not say which optocoupler; the weaker class is taken." if guessed else ""
    if mean > kind.mean_a:
        text = (
            f"At high mains a held button drives {quantity(mean, 'A')} on average through the LED; "
            f"{quantity(kind.mean_a, 'A')} is its limit."
        )
        yield Remark("detector_ohm", "doubtful" if guessed else "wrong", text + said, rule, kind.source, values)
    elif peak > kind.mean_a:
        text = (
            f"At high mains the crest drives {quantity(peak, 'A')} through the LED, for which {quantity(kind.mean_a, 'A')} on average is "
            "the limit."
        )
        yield Remark("detector_ohm", "doubtful", text + said, rule, kind.source, values)


def _heat(fitted: Detector, sheet: FitOut, basis: Basis) -> Iterator[Remark]:
    heat = float(np.max(resistor_w(fitted, LEVELS["high"] * basis.peak_v)))
    rated = sheet.detector_w if sheet.detector_w is not None else 0.25
    values = {"detector_heat_w": heat, "rated_w": rated}
    rule = (
        "a resistor is worked at no more than half its rating; a stuck contact or a shorted diode heats it without end"
    )
    enough = next((usual for usual in USUAL_W if usual >= 2.0 * heat), USUAL_W[-1])
    said = "" if sheet.detector_w is not None else " if it is the usual quarter watt"
    if heat > rated:
        text = (
            f"A held button makes {quantity(heat, 'W')} in the detector's resistor, more than its {rated:g} W{said}; "
            f"{enough:g} W would do."
        )
        yield Remark("detector_w", "wrong" if sheet.detector_w else "doubtful", text, rule, PRACTICE, values)
    elif heat > 0.5 * rated:
        text = (
            f"A held button makes {quantity(heat, 'W')} in the detector's resistor, over half of its {rated:g} W{said}; "
            f"{enough:g} W would do."
        )
        yield Remark("detector_w", "doubtful" if sheet.detector_w else "note", text, rule, PRACTICE, values)
