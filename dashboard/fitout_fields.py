"""The blanks of a fit-out sheet: what each is called, in which unit a person writes it, and how that becomes the sheet. Knows no page."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from dashboard.language import marked, say
from service.errors import Refused


@dataclass(frozen=True, slots=True)
class Blank:
    """`times`: from what is written to the unit of the sheet. `choices`: (value, words), where there is nothing to write."""

    name: str
    text: str
    unit: str = ""
    times: float = 1.0
    choices: tuple[tuple[str, str], ...] = ()
    words: bool = False  # written as words, not as a number


NOT_SAID = ("", marked("not said"))
YES_NO = (NOT_SAID, ("true", marked("yes")), ("false", marked("no")))

GROUPS: tuple[tuple[str, tuple[Blank, ...]], ...] = (
    (
        marked("Transformer and wire"),
        (
            Blank("mains_hz", marked("Frequency of the mains"), "Hz"),
            Blank("transformer_v", marked("Secondary voltage on the label"), "V"),
            Blank("transformer_va", marked("Apparent power on the label"), "VA"),
            Blank("transformer_open_v", marked("Secondary voltage, nothing connected, as measured"), "V"),
            Blank("wire", marked("Wire, as AWG 20, 0.5 mm2 or 0.8 mm"), words=True),
            Blank("wire_loop_m", marked("Length of the wire, there and back"), "m"),
        ),
    ),
    (
        marked("Reservoir"),
        (
            Blank("reservoir_f", marked("Capacitance"), "µF", 1e-6),
            Blank("reservoir_rated_v", marked("Rated voltage"), "V"),
            Blank("board_diode_v", marked("Rectifier diode on the board, rated reverse voltage"), "V"),
        ),
    ),
    (
        marked("Regulator and loads"),
        (
            Blank(
                "regulator",
                marked("Regulator"),
                choices=(NOT_SAID, ("linear", marked("linear")), ("switching", marked("switching"))),
            ),
            Blank("regulator_v", marked("Voltage behind it"), "V"),
            Blank("dropout_v", marked("Rail below which it drops out"), "V"),
            Blank("rail_rated_v", marked("Rail at which the currents of a switching one hold"), "V"),
            Blank("regulator_r1_ohm", marked("Adjustable: resistor from output to adjusting pin"), "Ω"),
            Blank("regulator_r2_ohm", marked("Adjustable: resistor from adjusting pin to common"), "Ω"),
            Blank("regulator_k_per_w", marked("Regulator to air"), "K/W"),
            Blank("idle_a", marked("Current at rest"), "mA", 1e-3),
            Blank("sound_a", marked("Current while it sounds"), "mA", 1e-3),
            Blank("test_a", marked("Test load, as a current"), "mA", 1e-3),
            Blank("test_ohm", marked("or as a resistor across the rail"), "Ω"),
        ),
    ),
    (
        marked("Press detector"),
        (
            Blank("detector_ohm", marked("Resistor before the LED"), "Ω"),
            Blank("detector_w", marked("its rated power"), "W"),
            Blank("detector_on_a", marked("LED current that turns it on"), "mA", 1e-3),
            Blank("detector_diode", marked("A diode keeps reverse voltage from the LED"), choices=YES_NO),
            Blank(
                "optocoupler",
                marked("Optocoupler"),
                choices=(NOT_SAID, ("fast", marked("fast")), ("transistor", marked("transistor"))),
            ),
        ),
    ),
    (marked("Buttons"), (Blank("button_diode_v", marked("Diode across the button, rated reverse voltage"), "V"),)),
)

BLANKS = {blank.name: blank for _, blanks in GROUPS for blank in blanks}
DOOR = "door-"
DOOR_CHOICES = (NOT_SAID, ("true", marked("a diode lies across it")), ("false", marked("no diode across it")))

TRIED = (
    ("reservoir_f", marked("Capacitance of the reservoir")),
    ("idle_a", marked("Current at rest")),
    ("sound_a", marked("Current while it sounds")),
    ("transformer_v", marked("Voltage of the transformer")),
    ("wire_loop_m", marked("Length of the wire")),
    ("detector_ohm", marked("Resistor of the detector")),
)
"""What the slider can change."""


def written(sheet: Mapping[str, Any]) -> dict[str, str]:
    """A sheet as its blanks would be filled in.

    >>> written({"reservoir_f": 470e-6, "detector_diode": True, "doors": {"front": {"diode": True}}})
    {'reservoir_f': '470', 'detector_diode': 'true', 'door-front': 'true'}
    """
    found: dict[str, str] = {}
    for name, value in sheet.items():
        if name == "doors" and isinstance(value, Mapping):
            for door, said in value.items():
                diode = said.get("diode") if isinstance(said, Mapping) else None
                found[DOOR + door] = "" if diode is None else str(diode).lower()
        elif name in BLANKS and value is not None:
            found[name] = _shown(BLANKS[name], value)
    return found


def _shown(blank: Blank, value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value / blank.times:.6g}" if isinstance(value, int | float) else str(value)


def sheet_of(filled: Iterable[tuple[str, str]]) -> dict[str, Any]:
    """The sheet that filled-in blanks make. Raises Refused with the blank and what stands in it.

    >>> sheet_of([("reservoir_f", "470"), ("wire", ""), ("door-front", "true")])
    {'reservoir_f': 0.00047, 'doors': {'front': {'diode': True}}}
    """
    sheet: dict[str, Any] = {}
    doors: dict[str, dict[str, bool]] = {}
    for name, text in filled:
        text = text.strip()
        if name.startswith(DOOR):
            doors[name.removeprefix(DOOR)] = {} if not text else {"diode": text == "true"}
        elif name in BLANKS and text:
            sheet[name] = _value(BLANKS[name], text)
    return sheet | ({"doors": doors} if doors else {})


def _value(blank: Blank, text: str) -> Any:
    if blank.choices is YES_NO:
        return text == "true"
    if blank.choices or blank.words:
        return text
    try:
        # a decimal comma is a point; twelve digits, so that 470 µF is what a sheet says, and not what binary fractions make of it
        return float(f"{float(text.replace(',', '.').replace('−', '-')) * blank.times:.12g}")
    except ValueError:
        raise Refused(say("{text}: {text2} is no number.", text=say(blank.text), text2=f"{text[:40]!r}")) from None
