"""What a fit-out sheet predicts at each point of the circuit: the waveform, and the figures read off it, with their ranges.

The rail comes from the model of the rectifier; what flows into it, and so the voltages before it, from its slope.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from service.scope.capture import Floats
from service.scope.naming import Point
from service.supply.assumptions import TYPICAL, Basis
from service.supply.detector import window_s
from service.supply.envelope import LEVELS, Mains, Span, State, detector_of, supply_of
from service.supply.fitout import FitOut
from service.supply.fitout_rules import Check
from service.supply.rectifier import SteadyState, steady_state

PLACES = 720
FLOATS_BELOW_V = 0.45
"""What the diode across the button takes while it carries nothing but an instrument's input (1N4007 at microamperes, ngspice 39.3)."""

REGULATED_SHARE = 0.04
"""Fixed three-terminal regulators hold their voltage within 4 % (typical of data sheets, from memory)."""

Quantity = Literal["peak_v", "lowest_v", "mean_v", "rms_v", "ripple_v", "mains_hz", "pulse_s", "pulses_per_cycle"]


@dataclass(frozen=True, slots=True)
class Prediction:
    """At one point in one state: figures with their ranges over mains 10 % low to 10 % high and a stiff to a soft transformer.

    `cycle` (PLACES,): volts over one mains cycle from the rising zero crossing of the source on, nominal and typical; empty where the sheet
    does not allow it.
    """

    point: Point
    state: State
    figures: dict[Quantity, Span]
    cycle: Floats


def predictions(check: Check, point: Point, mains_hz: float | None = None) -> list[Prediction]:
    """One for each state that the sheet allows: at rest, sounding, pressed. Empty where it names too little.

    `mains_hz`: as measured, for a sheet that does not say.
    """
    if check.basis is None or check.envelope is None:
        return []
    nominal = check.basis.mains_hz
    hertz = min(nominal, key=lambda hz: abs(hz - mains_hz)) if mains_hz else nominal[0]
    if point == "detector":
        return _detector(check.sheet, check.basis, hertz)
    if point == "regulated":
        return _regulated(check, hertz)
    states = [state for state in check.envelope.states() if state != "test"]
    found = []
    for state in states:
        levels: list[tuple[Mains, float]] = [(mains, hertz) for mains in LEVELS]
        steady = steady_state(supply_of(check.sheet, check.basis, state, levels))
        waves = _waves(check.basis, steady, point, state)
        found.append(Prediction(point, state, _figures(waves, hertz), waves[3 + TYPICAL]))
    return found


def _waves(basis: Basis, steady: SteadyState, point: Point, state: State) -> Floats:
    """(9, PLACES): three levels of the mains by three transformers."""
    turns = np.arange(PLACES) / PLACES
    rail = np.asarray(steady.rail_at(2.0 * np.pi * turns))
    if point == "rectifier":
        return rail
    crest = np.sqrt(2.0) * np.concatenate([level * basis.open_circuit_v for level in LEVELS.values()])
    source = crest[:, np.newaxis] * np.sin(2.0 * np.pi * turns)
    inside, outside = np.tile(basis.transformer_ohm, 3)[:, np.newaxis], basis.wire_ohm
    drops = 0.7 * (1.0 if state == "pressed" else 2.0)
    current = np.maximum(source - rail - drops, 0.0) / (inside + outside)
    if point == "transformer":
        return np.asarray(source - current * inside)
    before_button = source - current * (inside + outside)
    if state == "pressed":
        return np.asarray(before_button)
    # the half that the button's diode lets through, never below nothing; what charges the reservoir flattens its top
    return np.asarray(np.maximum(before_button - np.where(current > 0.0, 0.7, FLOATS_BELOW_V), 0.0))


def _figures(waves: Floats, hertz: float) -> dict[Quantity, Span]:
    return {
        "peak_v": _span(np.abs(waves).max(axis=1)),
        "lowest_v": _span(waves.min(axis=1)),
        "mean_v": _span(waves.mean(axis=1)),
        "rms_v": _span(np.sqrt((waves * waves).mean(axis=1))),
        "ripple_v": _span(np.ptp(waves, axis=1)),
        "mains_hz": _near(hertz),
    }


def _near(hertz: float) -> Span:
    """Grids keep within 1 % of nominal for 99.5 % of a year (EN 50160, from a secondary page)."""
    return Span(hertz, 0.99 * hertz, 1.01 * hertz)


def _span(values: Floats) -> Span:
    """Nominal and typical, with the least and the most of all levels and transformers."""
    return Span(float(values[3 + TYPICAL]), float(values.min()), float(values.max()))


def _regulated(check: Check, hertz: float) -> list[Prediction]:
    volts = check.sheet.regulator_v
    if volts is None or check.envelope is None:
        return []
    found = []
    for state in [one for one in check.envelope.states() if one != "test"]:
        at_nominal = check.envelope.at(state, "nominal")
        if any(condition.headroom_v is not None and condition.headroom_v.value < 0.0 for condition in at_nominal):
            continue  # it drops out by design; what is left behind it cannot be told
        figures: dict[Quantity, Span] = {
            "mean_v": Span(volts, (1 - REGULATED_SHARE) * volts, (1 + REGULATED_SHARE) * volts),
            "ripple_v": Span(0.0, 0.0, 0.02 * volts),
        }
        found.append(Prediction("regulated", state, figures, np.full(PLACES, volts)))
    return found


def _detector(sheet: FitOut, basis: Basis, hertz: float) -> list[Prediction]:
    """No pulse at rest; one in each cycle while pressed. Which level is the lit one the sheet does not say."""
    fitted = detector_of(sheet, basis)
    rest = Prediction("detector", "idle", {"pulses_per_cycle": Span(0.0, 0.0, 0.0)}, np.zeros(0))
    if fitted is None:
        return [rest]
    widths = np.concatenate([window_s(fitted, level * basis.peak_v, hertz) for level in LEVELS.values()])
    figures: dict[Quantity, Span] = {
        "pulses_per_cycle": Span(1.0, 1.0, 1.0),
        "pulse_s": _span(widths),
        "mains_hz": _near(hertz),
    }
    return [rest, Prediction("detector", "pressed", figures, np.zeros(0))]


def aligned(cycle: Floats, prediction: Sequence[float] | Floats) -> Floats:
    """The predicted cycle turned so that it lies over a measured one (of as many places), upside down where the probe was."""
    wanted = np.interp(
        np.arange(len(cycle)) / len(cycle), np.arange(PLACES) / PLACES, np.asarray(prediction), period=1.0
    )
    best, found = -np.inf, wanted
    for sign in (1.0, -1.0):
        spectrum = np.fft.rfft(cycle - cycle.mean()) * np.conj(np.fft.rfft(sign * (wanted - wanted.mean())))
        likeness = np.fft.irfft(spectrum, len(cycle))
        if likeness.max() > best * 1.02 + 1e-12:
            best, found = float(likeness.max()), np.roll(sign * wanted, int(np.argmax(likeness)))
    return np.asarray(found)
