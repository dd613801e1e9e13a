"""The press detector: a diode, a resistor and the LED of an optocoupler across the chime's terminal.

While the button is pressed the half-cycle that the standing supply does not use comes back to the terminal, and the LED lights for
a part of it: the window. What follows from that window for pulses and presses is here. Every argument may be an array; they
broadcast together. Refuses to know pulses that were measured.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.floating[Any]]

SHORTEST_PULSE_S = 0.2e-3
"""A chime need not send shorter pulses (contract, "Edges")."""

LED_V = 1.2
"""Infrared LED of a transistor optocoupler at some mA; fast ones reach 1.5 V (typical of data sheets, from memory)."""

DIODE_V = 0.6
"""Silicon diode at some mA: 1N4007, 0.572 V at 1 mA, 0.678 V at 10 mA (ngspice 39.3, measured)."""


@dataclass(frozen=True, slots=True)
class Detector:
    """`series_ohm`: the resistor [Ohm]; `on_a`: LED current that turns it on [A]; `source_ohm`: transformer and wire [Ohm]."""

    series_ohm: ArrayLike
    on_a: ArrayLike
    source_ohm: ArrayLike = 0.0
    led_v: ArrayLike = LED_V
    diode_v: ArrayLike = DIODE_V
    shortest_pulse_s: float = SHORTEST_PULSE_S


def threshold_v(detector: Detector) -> Floats:
    """Source voltage at which the detector turns on [V]: V_th = I_th (R_series + R_source) + V_diode + V_LED.

    >>> round(float(threshold_v(Detector(series_ohm=2200.0, on_a=1e-3))), 2)
    4.0
    """
    drop = np.asarray(detector.diode_v) + np.asarray(detector.led_v)
    result: Floats = np.asarray(detector.on_a, float) * _loop_ohm(detector) + drop
    return result


def window_s(detector: Detector, peak_v: ArrayLike, mains_hz: ArrayLike) -> Floats:
    """How long the detector is on in each cycle of a sine of this crest [s]: w = (T / pi) acos(V_th / V_peak); 0 where never.

    By hand: a threshold of half the crest leaves acos(0.5) = 60 degrees on either side of it, a third of the cycle.

    >>> half = Detector(series_ohm=0.0, on_a=0.0, led_v=10.0, diode_v=0.0)
    >>> round(float(window_s(half, 20.0, 50.0)), 5)
    0.00667
    """
    ratio = np.minimum(threshold_v(detector) / np.maximum(np.asarray(peak_v, float), 1e-9), 1.0)
    result: Floats = np.arccos(ratio) / (np.pi * np.asarray(mains_hz, float))
    return result


def led_peak_a(detector: Detector, peak_v: ArrayLike) -> Floats:
    """Current through the LED at the crest [A]; it does not exceed this while a button is held."""
    result: Floats = np.maximum(np.asarray(peak_v, float) - _drop_v(detector), 0.0) / _loop_ohm(detector)
    return result


def led_mean_a(detector: Detector, peak_v: ArrayLike) -> Floats:
    """Mean over whole cycles of the LED current while a button is held [A].

    A sine less a constant drop, over the part of the half-cycle where it is positive.
    """
    crest, drop, start = _conduction(detector, peak_v)
    area = 2.0 * crest * np.cos(start) - drop * (np.pi - 2.0 * start)
    result: Floats = area / (2.0 * np.pi * _loop_ohm(detector))
    return result


def resistor_w(detector: Detector, peak_v: ArrayLike) -> Floats:
    """What the series resistor turns into heat while a button is held [W], mean over whole cycles."""
    crest, drop, start = _conduction(detector, peak_v)
    angle = np.pi - 2.0 * start
    square = (
        crest**2 * (angle + np.sin(2.0 * start)) / 2.0  # the integral of sin^2 from start to pi - start
        - 4.0 * crest * drop * np.cos(start)
        + drop**2 * angle
    )
    rms_square = np.maximum(square, 0.0) / (2.0 * np.pi * _loop_ohm(detector) ** 2)
    result: Floats = rms_square * np.asarray(detector.series_ohm, float)
    return result


def reverse_v(peak_v: ArrayLike, protected: bool) -> Floats:
    """Voltage that the LED must stand backwards on the other half-cycle [V].

    Without a diode of its own, all of the crest: the resistor carries no current, so nothing falls across it. With one across it or in
    series, about a diode drop.
    """
    crest = np.asarray(peak_v, float)
    return np.minimum(crest, DIODE_V) if protected else crest


def shortest_sure_press_s(detector: Detector, peak_v: ArrayLike, mains_hz: ArrayLike) -> Floats:
    """Shortest press that leaves a pulse whenever it comes [s]: T - w + 2 t_min; inf where the window is too short for any.

    It may begin just too late for the rest of a window, and must reach far enough into the next.
    """
    window = window_s(detector, peak_v, mains_hz)
    sure = 1.0 / np.asarray(mains_hz, float) - window + 2.0 * detector.shortest_pulse_s
    result: Floats = np.where(window >= detector.shortest_pulse_s, sure, np.inf)
    return result


def chance_of_seeing(detector: Detector, press_s: ArrayLike, peak_v: ArrayLike, mains_hz: ArrayLike) -> Floats:
    """Probability that a press of this length leaves a pulse, when it may begin at any moment: (L + w - 2 t_min) / T, 0 to 1."""
    window, press = window_s(detector, peak_v, mains_hz), np.asarray(press_s, float)
    chance = np.clip((press + window - 2.0 * detector.shortest_pulse_s) * np.asarray(mains_hz, float), 0.0, 1.0)
    possible = (window >= detector.shortest_pulse_s) & (press >= detector.shortest_pulse_s)
    result: Floats = np.where(possible, chance, 0.0)
    return result


def largest_gap_s(detector: Detector, open_s: ArrayLike, peak_v: ArrayLike, mains_hz: ArrayLike) -> Floats:
    """Longest time between two pulses of one held press whose contact opens for `open_s` [s]: d + 2 (T - w) + 2 t_min.

    Reached where the opening takes away all but two ends, too short to be sent, of the windows that it meets.
    """
    rest = 1.0 / np.asarray(mains_hz, float) - window_s(detector, peak_v, mains_hz)
    result: Floats = np.asarray(open_s, float) + 2.0 * rest + 2.0 * detector.shortest_pulse_s
    return result


def _loop_ohm(detector: Detector) -> Floats:
    """A detector without a resistor has at least its own leads: 1 mOhm, so that nothing divides by zero."""
    result: Floats = np.maximum(np.asarray(detector.series_ohm, float) + np.asarray(detector.source_ohm, float), 1e-3)
    return result


def _drop_v(detector: Detector) -> Floats:
    result: Floats = np.asarray(detector.diode_v, float) + np.asarray(detector.led_v, float)
    return result


def _conduction(detector: Detector, peak_v: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Crest [V], drop [V], and the angle at which the LED begins to conduct [rad]."""
    crest, drop = np.asarray(peak_v, float), _drop_v(detector)
    return crest, drop, np.arcsin(np.minimum(drop / np.maximum(crest, 1e-9), 1.0))
