"""The fit-out sheet: what was built in, as the installer wrote it down. Checks that each number can be.

Refuses to know what was measured, and what the absence of a figure costs.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, Literal

import msgspec

from service.errors import SettingError

BOUNDS: dict[str, tuple[float, float, str]] = {
    # 16.7 Hz railways to 400 Hz aircraft (common practice, no source)
    "mains_hz": (16.0, 410.0, "Hz"),
    # EN/IEC 61558-2-8: bell transformers to 24 V rated and 100 VA (from a secondary page); the rest is room for others
    "transformer_v": (1.0, 60.0, "V"),
    "transformer_va": (0.1, 1000.0, "VA"),
    "wire_loop_m": (0.0, 2000.0, "m"),
    "reservoir_f": (1e-6, 1.0, "F"),
    "reservoir_rated_v": (1.0, 1000.0, "V"),
    # class 2 supplies give 5 A at most (NEC chapter 9 table 11(A), from a secondary page)
    "idle_a": (0.0, 5.0, "A"),
    "sound_a": (0.0, 5.0, "A"),
    "test_a": (1e-5, 5.0, "A"),
    "test_ohm": (0.1, 1e6, "Ohm"),
    "rail_rated_v": (1.0, 100.0, "V"),
    "regulator_v": (0.5, 60.0, "V"),
    "dropout_v": (0.5, 100.0, "V"),
    "detector_ohm": (0.0, 1e6, "Ohm"),
    "detector_on_a": (1e-6, 1.0, "A"),
    # what the fit-out check can use beside it
    "transformer_open_v": (1.0, 100.0, "V"),
    "regulator_r1_ohm": (1.0, 1e6, "Ohm"),
    "regulator_r2_ohm": (0.0, 1e7, "Ohm"),
    "regulator_k_per_w": (0.1, 1000.0, "K/W"),
    "detector_w": (0.01, 100.0, "W"),
    "board_diode_v": (1.0, 10_000.0, "V"),
    "button_diode_v": (1.0, 10_000.0, "V"),
}
"""Lowest, highest, unit: what can be in a bell installation, generously."""

CHOICES: dict[str, tuple[str, ...]] = {"regulator": ("linear", "switching"), "optocoupler": ("fast", "transistor")}

MEANING: dict[str, str] = {
    "mains_hz": "frequency of the mains",
    "transformer_v": "secondary voltage on the label of the transformer, rms",
    "transformer_va": "apparent power on its label",
    "transformer_open_v": "secondary voltage with nothing connected, rms, as measured",
    "wire_loop_m": "length of the wire there and back",
    "wire": "AWG 20, 0.5 mm2 (cross-section) or 0.8 mm (diameter)",
    "reservoir_f": "capacitance of the reservoir",
    "reservoir_rated_v": "its rated voltage",
    "idle_a": "what the chime draws at rest",
    "sound_a": "what it draws while it sounds",
    "test_a": "the test load, as a current, or",
    "test_ohm": "the test load, as a resistor across the rail",
    "regulator": "linear (draws a constant current) or switching (a constant power)",
    "rail_rated_v": "rail at which the currents of a switching regulator hold",
    "regulator_v": "voltage behind the regulator",
    "dropout_v": "rail below which the regulator drops out",
    "regulator_r1_ohm": "adjustable regulator: from its output to its adjusting pin",
    "regulator_r2_ohm": "adjustable regulator: from its adjusting pin to common",
    "regulator_k_per_w": "regulator to air, with whatever it is screwed to",
    "detector_ohm": "resistor before the LED of the press detector",
    "detector_on_a": "LED current that turns the detector on",
    "detector_w": "rated power of that resistor",
    "detector_diode": "true where a diode across the LED, or in series, keeps reverse voltage from it",
    "optocoupler": "fast (6N137 class) or transistor (PC817 class)",
    "board_diode_v": "reverse voltage for which the chime's own rectifier diode is rated",
    "button_diode_v": "the same for the diode across the button",
    "doors": 'the buttons by name, such as {"front": {"diode": true}}: whether a diode lies across each',
}
"""Every field in words, in the order in which an installer meets them."""

_WIRE = re.compile(r"AWG \d{1,2}|\d{1,2} AWG|\d{1,2}(\.\d{1,3})? mm2?")  # gauge, cross-section or diameter
_DOOR = re.compile(r"[a-z0-9]{1,16}")


@dataclass(frozen=True, slots=True)
class FittedDoor:
    """A button; `diode`: whether a diode lies across it (None: not said)."""

    door: str
    diode: bool | None = None


@dataclass(frozen=True, slots=True)
class FitOut:
    """A fit-out sheet. None: not said."""

    mains_hz: float | None = None
    transformer_v: float | None = None  # rated secondary, rms
    transformer_va: float | None = None
    wire_loop_m: float | None = None  # there and back
    wire: str | None = None  # "AWG 20", "0.5 mm2" (cross-section), "0.8 mm" (diameter)
    reservoir_f: float | None = None
    reservoir_rated_v: float | None = None
    idle_a: float | None = None
    sound_a: float | None = None
    test_a: float | None = None  # the test load as an extra current, or
    test_ohm: float | None = None  # as a resistor across the rail
    regulator: Literal["linear", "switching"] | None = None  # constant current, constant power
    rail_rated_v: float | None = None  # rail at which the currents of a switching regulator hold
    regulator_v: float | None = None
    dropout_v: float | None = None  # rail below which the regulator drops out
    detector_ohm: float | None = None
    detector_on_a: float | None = None  # LED current that turns the detector on
    transformer_open_v: float | None = None  # open secondary as measured, rms
    regulator_r1_ohm: float | None = None  # adjustable regulator, output to adjusting pin
    regulator_r2_ohm: float | None = None  # adjusting pin to common
    regulator_k_per_w: float | None = None  # to air
    detector_w: float | None = None  # rated power of the detector's resistor
    detector_diode: bool | None = None  # whether a diode keeps reverse voltage from its LED
    optocoupler: Literal["fast", "transistor"] | None = None
    board_diode_v: float | None = None  # rated reverse voltages
    button_diode_v: float | None = None
    doors: tuple[FittedDoor, ...] = ()
    unknown: tuple[str, ...] = ()  # fields that the contract does not know, perhaps mistyped


def read_fitout(text: str | bytes, changes: Iterable[str] = ()) -> FitOut:
    """A sheet from its JSON, with `changes` such as "reservoir_f=1e-3" made to it ("reservoir_f=" takes a field away).

    Raises SettingError with the field, its value and the rule.

    >>> read_fitout('{"transformer_v": 16, "doors": {"front": {"diode": true}}}').doors
    (FittedDoor(door='front', diode=True),)
    >>> read_fitout('{"reservoir_f": 470e-6}', ["reservoir_f=1e-3", "wire=AWG 20"]).reservoir_f
    0.001
    """
    sheet = _object(text)
    for change in changes:
        name, value = _change(change)
        for other in OTHERWISE.get(name, ()):
            sheet.pop(other, None)
        sheet[name] = value
    given = {name: value for name, value in sheet.items() if name in MEANING and value is not None}
    checked = {name: _checked(name, value) for name, value in given.items()}
    if "test_a" in checked and "test_ohm" in checked:
        raise SettingError("The fit-out sheet has test_a and test_ohm; the test load is a current or a resistor.")
    return FitOut(**checked, unknown=tuple(sorted(sheet.keys() - MEANING.keys())))


OTHERWISE: dict[str, tuple[str, ...]] = {"test_a": ("test_ohm",), "test_ohm": ("test_a",)}
"""Fields of which one replaces the other."""


def nearest(name: str) -> str | None:
    """The field that was perhaps meant.

    >>> nearest("reservoir_uf")
    'reservoir_f'
    """
    close = get_close_matches(name, MEANING, 1)
    return close[0] if close else None


def _object(text: str | bytes) -> dict[str, Any]:
    try:
        sheet = msgspec.json.decode(text)
    except (msgspec.MsgspecError, ValueError, RecursionError) as error:
        raise SettingError(f"The fit-out sheet is not JSON: {error}.") from None
    if not isinstance(sheet, dict):
        raise SettingError("The fit-out sheet is not one JSON object.")
    return sheet


def _change(change: str) -> tuple[str, Any]:
    """A field and its new value: what reads as JSON is taken as such, anything else as words."""
    name, sign, value = (part.strip() for part in change.partition("="))
    if not sign:
        raise SettingError(f"{change[:60]!r} changes nothing; write it as reservoir_f=1e-3.")
    if name not in MEANING:
        meant = nearest(name)
        raise SettingError(
            f"The fit-out sheet has no field {name[:60]!r}" + (f"; perhaps {meant} is meant." if meant else ".")
        )
    if not value:
        return name, None
    try:
        return name, msgspec.json.decode(value)
    except (msgspec.MsgspecError, ValueError, RecursionError):
        return name, value


def _checked(name: str, value: Any) -> Any:
    if name == "doors":
        return _doors(value)
    if name in CHOICES:
        if value not in CHOICES[name]:
            raise _wrong(name, value, " or ".join(CHOICES[name]))
        return value
    if name == "detector_diode":
        if not isinstance(value, bool):
            raise _wrong(name, value, "true or false")
        return value
    if name == "wire":
        if not isinstance(value, str) or not _WIRE.fullmatch(value):
            raise _wrong(name, value, "a wire such as AWG 20, 0.5 mm2 (cross-section) or 0.8 mm (diameter)")
        return value
    low, high, unit = BOUNDS[name]
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise _wrong(name, value, f"a number from {low:g} to {high:g} {unit}")
    return float(value)


def _doors(value: Any) -> tuple[FittedDoor, ...]:
    rule = "doors by name (1 to 16 of a-z and 0-9), each an object, with diode true or false where it is known"
    if not isinstance(value, dict):
        raise _wrong("doors", value, rule)
    found = []
    for door, said in value.items():
        diode = said.get("diode") if isinstance(said, dict) else said
        if not isinstance(said, dict) or not _DOOR.fullmatch(door) or not (diode is None or isinstance(diode, bool)):
            raise _wrong("doors", {door: said}, rule)
        found.append(FittedDoor(door, diode))
    return tuple(found)


def _wrong(name: str, value: Any, rule: str) -> SettingError:
    return SettingError(f"{name} of the fit-out sheet is {str(value)[:60]!r}; it must be {rule}.")
