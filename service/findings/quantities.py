"""The measured quantities of a chime with their 90 % intervals, from a fitted survey. Knows no faults."""

from typing import Any

import numpy as np

from service.findings.fitting import Fitted
from service.findings.verdict import Measured
from service.supply.fitout import FitOut
from service.supply.unknowns import BROAD, NAMES, Kind

HALF_WIDTH = 1.645
"""Standard deviations on either side of a 90 % interval of a normal distribution."""

INFLATION = {"c": 1.3, "r": 1.2, "v": 1.3, "idle": 1.3, "sound": 1.3}
"""Samples of one burst are not independent, and the model is not the circuit: factors on the fit's own standard deviations where two
surveys are compared. Of a single figure the fit's own deviation is right, with what stands beside it."""

BESIDE = {"c": 0.0098, "r": 0.017, "v": 0.0105, "idle": 0.006, "sound": 0.0105}
"""What no fit can know, as standard deviations of logarithms: gain of the converter, tolerance of the test load, what the model
leaves out of transformer and reservoir."""

RADIO_BESIDE = {"c": 0.0, "r": 0.045, "v": 0.014, "idle": 0.0, "sound": 0.022}
"""The same on top where a radio was seen to send while the rail was sampled: its packets fall at any phase of a cycle, and the fit knows
only their mean."""

DIODE_SD_V = 0.20
"""Spread of the diodes' drops together [V] (1N4007 and Schottky diodes, 0 to 50 C; common practice, no source)."""

IDLE_BESIDE_A = 0.10e-3
"""Leakage of the reservoir and what the model leaves out [A]."""

DIVIDER_OHM, DIVIDER_SHARE = 180e3, 0.5
"""The divider that measures the rail is no load of the chime's own; 90 to 330 kOhm (common practice, no source)."""

NEEDS: dict[str, set[Kind]] = {"c": {"idle", "test"}, "r": {"idle", "test"}, "v": {"idle"}}
"""Bursts without which a quantity is only a guess."""

RADIO_TAKEN, RADIO_SHARE = 0.6, 0.7
"""The charge of radio packets within a burst is partly in the fit already, and poorly known (simulated surveys)."""

CLIMB_SHARE = 0.5
"""While a rail is still on its way, what charges the reservoir may be mistaken for load by this share."""

TOLD_BELOW = 0.75
"""A quantity is told when the bursts have narrowed its prior to less than this share."""

CLOCK_SHARE = 25e-6
"""A chime's crystal is off by some tens of ppm, and the mains frequency is counted by it (common practice, no source)."""


def quantities(fit: Fitted, sheet: FitOut) -> dict[str, Measured]:
    """By the names of the contract; absent: cannot be told from this survey."""
    found = fit.identified
    result = {"mains_hz": _around(found.mains_hz, np.hypot(1.3 * found.mains_hz_error, CLOCK_SHARE * found.mains_hz))}
    for name, key in (("reservoir_f", "c"), ("source_ohm", "r"), ("open_circuit_v", "v")):
        if found.sd(key) < TOLD_BELOW * float(BROAD.sd[NAMES.index(key)]) and NEEDS[key] <= set(found.load_a):
            result[name] = _scaled(found.value(key), spread(fit, key))
    if "idle" in found.load_a:
        radio = RADIO_TAKEN * found.radio_a.get("idle", 0.0)
        divider = found.rail_max_v["idle"] / DIVIDER_OHM
        idle = max(found.load_a["idle"] + radio - divider, 0.3 * found.load_a["idle"])
        climbing = CLIMB_SHARE * found.value("c") * abs(found.drift_v_per_s.get("idle", 0.0))
        beside = float(
            np.sqrt(IDLE_BESIDE_A**2 + (DIVIDER_SHARE * divider) ** 2 + (RADIO_SHARE * radio) ** 2 + climbing**2)
        ) / max(idle, 1e-4)
        result["idle_a"] = _scaled(idle, float(np.hypot(spread(fit, "idle"), beside)))
    if "sound" in found.load_a:
        radio = RADIO_TAKEN * found.radio_a.get("sound", 0.0)
        sound = found.load_a["sound"] + radio
        result["sound_a"] = _scaled(sound, float(np.hypot(spread(fit, "sound"), RADIO_SHARE * radio / sound)))
    elif fit.sound_a is not None:
        result["sound_a"] = _scaled(fit.sound_a, 0.15)
    if "idle" in found.rail_max_v:
        ripple = found.rail_max_v["idle"] - found.rail_min_v["idle"]
        result["ripple_v"] = _around(ripple, 0.03 * ripple + 4e-3)
    lowest = found.rail_min_v.get("sound", fit.lowest_sounding_v)
    if lowest is not None and sheet.dropout_v is not None:
        result["headroom_v"] = _around(lowest - sheet.dropout_v, 0.01 * lowest)
    if found.sd("esr") < TOLD_BELOW * float(BROAD.sd[NAMES.index("esr")]):
        result["esr_ohm"] = _scaled(found.value("esr"), float(np.hypot(1.5 * found.sd("esr"), 0.3)))
    return result


def spread(fit: Fitted, key: str) -> float:
    """Standard deviation of the logarithm of a fitted quantity, everything counted."""
    sends = any(amps > 0.0 for amps in fit.identified.radio_a.values())
    beside = float(np.hypot(BESIDE[key], RADIO_BESIDE[key] if sends else 0.0))
    if key == "v":  # which diode is on the board nobody says; a Schottky diode drops some 0.35 V less
        beside = float(np.hypot(beside, DIODE_SD_V / np.sqrt(2.0) / fit.identified.value("v")))
    return float(np.hypot(fit.identified.sd(key), beside))


def covariance(fit: Fitted, keys: tuple[str, ...]) -> Any:
    """Of the logarithms, as the fit leaves them, inflated; without what is the same at every survey of one chime."""
    index = [NAMES.index(key) for key in keys]
    factors = np.array([INFLATION[key] for key in keys])
    return fit.identified.covariance[np.ix_(index, index)] * np.outer(factors, factors)


def _around(value: float, sd: float) -> Measured:
    return Measured(value, value - HALF_WIDTH * sd, value + HALF_WIDTH * sd)


def _scaled(value: float, sd: float) -> Measured:
    factor = float(np.exp(HALF_WIDTH * sd))
    return Measured(value, value / factor, value * factor)
