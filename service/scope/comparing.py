"""Measured against predicted, figure by figure, and what a difference means. Knows no file."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from service.scope.expected import Prediction, Quantity
from service.scope.naming import Named, Point
from service.supply.envelope import Span, State

INSTRUMENT_SHARE = 0.03
"""Gain of an oscilloscope's channel with its probe (common practice, no source)."""

INSTRUMENT_V = 0.1

Verdict = Literal["as predicted", "lower", "higher"]


@dataclass(frozen=True, slots=True)
class Line:
    """One figure. `means`: what the difference can mean, empty where there is none."""

    quantity: Quantity
    measured: float
    expected: Span
    verdict: Verdict
    means: str = ""


@dataclass(frozen=True, slots=True)
class Comparison:
    """Of one stretch with the state that fits it best. `state`: of the prediction."""

    state: State
    lines: tuple[Line, ...]
    prediction: Prediction


def compare(named: Named, point: Point, predicted: Sequence[Prediction]) -> Comparison | None:
    """None where there is nothing to compare with, or the figures are no volts."""
    if not named.figures.scaled and point != "detector":
        return None
    suited = [one for one in predicted if _suits(named, one)]
    if not suited:
        return None
    compared = [_compared(named, one) for one in suited]
    return min(compared, key=_distance)


def _suits(named: Named, one: Prediction) -> bool:
    if named.pressed is None:
        return True
    return (one.state == "pressed") == (named.pressed == "pressed")


def figures_of(named: Named, point: Point) -> dict[Quantity, float]:
    """What is compared at a point: of a half-wave the height, whichever way up the probe was."""
    one = named.figures
    high, low, mean = one.peak_v, one.lowest_v, one.mean_v
    if point in ("terminal", "transformer") and abs(low) > abs(high):
        high, low, mean = -low, -high, -mean
    if point in ("terminal", "transformer"):
        high = max(high, -low)  # of either half
    every: dict[Quantity, float] = {
        "peak_v": high,
        "lowest_v": low,
        "mean_v": mean,
        "rms_v": one.rms_v,
        "ripple_v": one.ripple_v,
        "pulses_per_cycle": (one.pulses_per_cycle or 0.0) if named.shape == "square pulses" else 0.0,
    }
    if one.mains_hz:
        every["mains_hz"] = one.mains_hz
        if one.duty is not None and named.shape == "square pulses":
            every["pulse_s"] = min(one.duty, 1.0 - one.duty) / one.mains_hz
    return every


COMPARED: dict[Point, tuple[Quantity, ...]] = {
    "transformer": ("rms_v", "peak_v", "mains_hz"),
    "terminal": ("peak_v", "rms_v", "mains_hz"),
    "rectifier": ("peak_v", "lowest_v", "ripple_v", "mains_hz"),
    "regulated": ("mean_v", "ripple_v"),
    "detector": ("pulses_per_cycle", "pulse_s", "mains_hz"),
}


def _compared(named: Named, prediction: Prediction) -> Comparison:
    measured = figures_of(named, prediction.point)
    lines = []
    for quantity in COMPARED[prediction.point]:
        if quantity not in measured or quantity not in prediction.figures:
            continue
        value, span = measured[quantity], prediction.figures[quantity]
        slack = 0.0 if quantity == "mains_hz" else INSTRUMENT_SHARE * abs(span.value)
        if quantity in ("peak_v", "lowest_v", "ripple_v"):
            slack += 2.0 * named.figures.resolution_v + 3.0 * named.figures.noise_v * (
                named.figures.wave is None or quantity != "ripple_v"
            )
        slack += INSTRUMENT_V if quantity.endswith("_v") else 0.05 if quantity == "pulses_per_cycle" else 0.0
        verdict: Verdict = (
            "lower" if value < span.low - slack else "higher" if value > span.high + slack else "as predicted"
        )
        means = (
            "" if verdict == "as predicted" else MEANINGS.get((prediction.point, quantity, verdict), OTHERWISE[verdict])
        )
        lines.append(Line(quantity, value, span, verdict, means))
    return Comparison(prediction.state, tuple(lines), prediction)


def _distance(one: Comparison) -> float:
    """From the prediction, in parts of its figures; what lies in range counts little."""
    total = 0.0
    for line in one.lines:
        width = max(line.expected.high - line.expected.low, 0.05 * abs(line.expected.value), 1e-6)
        off = abs(line.measured - line.expected.value) / width
        total += off if line.verdict == "as predicted" else 2.0 + off
    return total / max(len(one.lines), 1) if one.lines else np.inf


OTHERWISE: dict[Verdict, str] = {
    "lower": "Less than the sheet predicts. Check the instrument's and the probe's attenuation first.",
    "higher": "More than the sheet predicts. Check the instrument's and the probe's attenuation first.",
}
_CHARGE = "The sheet names more reservoir, or less load, than there is: an aged reservoir, or something else that draws current."

MEANINGS: dict[tuple[Point, Quantity, Verdict], str] = {
    (
        "transformer",
        "rms_v",
        "lower",
    ): "A transformer of lower voltage, a heavier load on it, or low mains. Measure it with nothing connected.",
    (
        "transformer",
        "rms_v",
        "higher",
    ): "A transformer of higher voltage than the sheet says, or high mains. Check the reservoir's rated voltage.",
    (
        "transformer",
        "peak_v",
        "lower",
    ): "A flattened crest: saturated iron, flat-topped mains, or a transformer too small for what it feeds.",
    (
        "transformer",
        "peak_v",
        "higher",
    ): "A transformer of higher voltage than the sheet says. Check the reservoir's rated voltage.",
    (
        "terminal",
        "peak_v",
        "lower",
    ): "Something in the wires or the button takes voltage: measure across each joint while the chime sounds.",
    (
        "terminal",
        "peak_v",
        "higher",
    ): "More arrives than the sheet allows: see whether the transformer is the one on the sheet.",
    (
        "terminal",
        "rms_v",
        "lower",
    ): "Resistance in the wires, a joint or the button's contact; while pressed, both halves should come back.",
    (
        "terminal",
        "rms_v",
        "higher",
    ): "More comes through than the button's diode should pass: a lamp across the button, a leak, or a diode that has failed.",
    (
        "rectifier",
        "peak_v",
        "lower",
    ): "Resistance before the rectifier, or a transformer of lower voltage. Compare with the capture at the terminal.",
    (
        "rectifier",
        "peak_v",
        "higher",
    ): "A transformer of higher voltage than the sheet says. Check the reservoir's rated voltage.",
    ("rectifier", "lowest_v", "lower"): _CHARGE,
    (
        "rectifier",
        "lowest_v",
        "higher",
    ): "Less load or a larger reservoir than the sheet says; nothing wrong by itself.",
    ("rectifier", "ripple_v", "higher"): _CHARGE,
    (
        "rectifier",
        "ripple_v",
        "lower",
    ): "Less load or a larger reservoir than the sheet says; or both halves charge it, as while the button is held by a fault.",
    (
        "regulated",
        "mean_v",
        "lower",
    ): "The regulator is starved or overloaded, or it is another one than the sheet says. Look at the rail before it.",
    (
        "regulated",
        "mean_v",
        "higher",
    ): "Another regulator than the sheet says, or its divider differs. Stop: parts behind it may take harm.",
    (
        "regulated",
        "ripple_v",
        "higher",
    ): "The rail falls below what the regulator needs, once in each cycle. Look at the rail before it.",
    (
        "detector",
        "pulses_per_cycle",
        "higher",
    ): "Pulses where none should be: a stuck contact, a failed diode across the button, a lamp or a leak.",
    (
        "detector",
        "pulses_per_cycle",
        "lower",
    ): "No pulse in each cycle: the detector's LED does not light. Measure the terminal while pressed.",
    (
        "detector",
        "pulse_s",
        "lower",
    ): "Narrower pulses: less voltage than the sheet says, more resistance, or an aged optocoupler.",
    (
        "detector",
        "pulse_s",
        "higher",
    ): "Wider pulses: more voltage than the sheet says, or a slow optocoupler with a weak pull-up.",
}
for _point, _values in COMPARED.items():
    if "mains_hz" in _values:
        MEANINGS[_point, "mains_hz", "lower"] = (
            "Not the mains frequency of the sheet; or the instrument's time base, or the step that was given, is off."
        )
        MEANINGS[_point, "mains_hz", "higher"] = MEANINGS[_point, "mains_hz", "lower"]
