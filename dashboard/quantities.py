"""Quantities by name: what they are called, and their figures in units that a person reads. Knows no record and no page."""

from dashboard import words
from dashboard.language import marked, point, say

NAMES = {
    "mains_hz": marked("Mains frequency"),
    "reservoir_f": marked("Capacity of the reservoir"),
    "source_ohm": marked("Resistance of transformer and wire"),
    "open_circuit_v": marked("Voltage of the transformer, open"),
    "idle_a": marked("Current at rest"),
    "sound_a": marked("Current while sounding"),
    "ripple_v": marked("Ripple"),
    "headroom_v": marked("Headroom of the regulator"),
    "shortest_sure_press_s": marked("Shortest press that is always seen"),
    "esr_ohm": marked("Inner resistance of the reservoir"),
    "across_button_ohm": marked("Resistance across the button"),
    "rise_at_press_v": marked("Rise of the rail at a press"),
    "rises_without_pulses": marked("Rises of the rail without a pulse"),
    "pulse_width_s": marked("Width of the pulses"),
    "standing_pulse_share": marked("Cycles with a pulse though nobody presses"),
    "fed_without_press_s": marked("Time fed though nobody pressed"),
    "falling_s": marked("Time in which the rail only fell"),
    "pulsed_while_falling_share": marked("Pulses while the rail fell"),
    "pulses_missing_per_press": marked("Pulses missing per press"),
    "gaps_per_press": marked("Gaps per press"),
    "supply_dip_v": marked("Supply dip"),
    "pulses_per_cycle": marked("Pulses per cycle"),
    "events": marked("Times it was seen"),
    "residual_share": marked("Voltage meanwhile"),
    "duration_s": marked("How long"),
}
"""Any other is called by its own name."""

_UNITS = {
    "f": ((0.1, 1e6, "µF"), (1e9, 1.0, "F")),
    "ohm": ((1e3, 1.0, "Ω"), (1e6, 1e-3, "kΩ"), (1e12, 1e-6, "MΩ")),
    "v": ((0.1, 1e3, "mV"), (1e9, 1.0, "V")),
    "a": ((1.0, 1e3, "mA"), (1e9, 1.0, "A")),
    "hz": ((1e9, 1.0, "Hz"),),
    "s": ((0.1, 1e3, "ms"), (1e9, 1.0, "s")),
    "w": ((1e9, 1.0, "W"),),
    "c": ((1e9, 1.0, "°C"),),
    "v_per_s": ((1e9, 1.0, "V/s"),),
    "share": ((1e9, 100.0, "%"),),
}
"""By the end of the name: below this size, times this, in this unit."""

_DIGITS = {"hz": 4}
"""Significant figures, where three are too few."""


def name_of(quantity: str) -> str:
    """
    >>> name_of("reservoir_f"), name_of("supply_dip_v"), name_of("pulses_per_cycle")
    ('Capacity of the reservoir', 'Supply dip', 'Pulses per cycle')
    """
    if quantity in NAMES:
        return say(NAMES[quantity])
    return quantity.removesuffix("_" + _unit_of(quantity)).replace("_", " ").capitalize()


def figure(quantity: str, value: float | None) -> str:
    """
    >>> told = {"reservoir_f": 3.104e-4, "leak_ohm": 4700.0, "ripple_v": -0.5, "residual_share": 0.62, "events": 6.0}
    >>> [figure(*one).replace(words.THIN, " ") for one in told.items()]
    ['310 µF', '4.70 kΩ', '−0.500 V', '62.0 %', '6']
    """
    if value is None:
        return "–"
    scale, unit = _scale(quantity, abs(value))
    if not unit and value.is_integer():
        return f"{value:.0f}"
    digits = _DIGITS.get(_unit_of(quantity), 3)
    return (_rounded(value * scale, digits) + (words.THIN + unit if unit else "")).replace("-", "−")


def between(quantity: str, low: float | None, high: float | None) -> str:
    """An interval, its unit told once.

    >>> between("reservoir_f", 3.0e-4, 3.2e-4).replace(words.THIN, " "), between("reservoir_f", None, None)
    ('300 to 320 µF', '–')
    """
    if low is None or high is None:
        return "–"
    first, last = figure(quantity, low), figure(quantity, high)
    unit = last.rpartition(words.THIN)[2]
    if words.THIN in last and first.endswith(words.THIN + unit):
        first = first.removesuffix(words.THIN + unit)
    return words.to(first, last)


def compared(value: float, expected: float | None) -> str:
    """
    >>> compared(3.1e-4, 4.7e-4).replace(words.THIN, " "), compared(7.5, 3.0), compared(4.69e-4, 4.7e-4), compared(1.0, None)
    ('34 % less', '2.5 times as much', 'as expected', '')
    """
    if not expected or value / expected <= 0.0:
        return ""
    ratio = value / expected
    if abs(ratio - 1.0) < 0.015:
        return say("as expected")
    if ratio >= 2.0:
        return say("{number} times as much", number=_rounded(ratio, 2))
    share = f"{100 * abs(ratio - 1.0):.0f}{words.THIN}%"
    return say("{share} more", share=share) if ratio > 1.0 else say("{share} less", share=share)


def _scale(quantity: str, size: float) -> tuple[float, str]:
    for below, scale, unit in _UNITS.get(_unit_of(quantity), ()):
        if size < below:
            return scale, unit
    return 1.0, ""


def _unit_of(quantity: str) -> str:
    """The end of the name that is a unit; empty where there is none."""
    ends = [unit for unit in _UNITS if quantity.endswith("_" + unit)]
    return max(ends, key=len, default="")


def _rounded(value: float, digits: int) -> str:
    """To significant figures, never with an exponent."""
    return _plain(value, digits).replace(".", point())


def _plain(value: float, digits: int) -> str:
    if value == 0.0:
        return "0"
    text = f"{value:.{digits}g}"
    if "e" in text:
        return f"{float(text):.0f}" if abs(value) >= 1.0 else f"{value:.{digits + 3}f}"
    return text if "." not in text and len(text.lstrip("-")) >= digits else f"{value:#.{digits}g}".rstrip(".")
