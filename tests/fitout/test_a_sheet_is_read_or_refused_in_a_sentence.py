"""Promise: a fit-out sheet is read as written, and a number that cannot be is refused in one sentence that names field and rule."""

import doctest
import json
from dataclasses import fields
from typing import Any

import pytest

from service.errors import SettingError
from service.supply import fitout
from service.supply.fitout import BOUNDS, CHOICES, MEANING, FitOut, FittedDoor, nearest, read_fitout
from tests.fitout.conftest import SHEET

CONTRACT = {
    # "Recordings" of the contract
    "mains_hz", "transformer_v", "transformer_va", "wire_loop_m", "wire", "reservoir_f", "reservoir_rated_v", "idle_a", "sound_a",
    "test_a", "test_ohm", "regulator", "rail_rated_v", "regulator_v", "dropout_v", "detector_ohm", "detector_on_a", "doors",
}  # fmt: skip


def test_the_examples_hold() -> None:
    tried = doctest.testmod(fitout)
    assert (tried.failed, tried.attempted > 2) == (0, True)


def test_every_field_of_the_contract_is_known_in_words_and_checked() -> None:
    known = {field.name for field in fields(FitOut)} - {"unknown"}
    assert set(MEANING) == known >= CONTRACT
    assert known - set(BOUNDS) - set(CHOICES) == {"wire", "doors", "detector_diode"}


def test_what_is_written_is_read() -> None:
    sheet = read_fitout(json.dumps(SHEET))
    assert (sheet.transformer_v, sheet.reservoir_f, sheet.wire, sheet.detector_diode) == (12.0, 1000e-6, "AWG 20", True)
    assert sheet.doors == (FittedDoor("front", True), FittedDoor("garden", False))
    assert sheet.dropout_v == 7.0
    assert sheet.optocoupler is None


def test_an_empty_sheet_is_a_sheet() -> None:
    assert read_fitout(b"{}") == FitOut()


def test_null_is_as_good_as_absent() -> None:
    assert read_fitout('{"transformer_v": null}').transformer_v is None


@pytest.mark.parametrize(
    ("name", "value"),
    [
        *((name, low * 0.9 - 1e-9) for name, (low, _, _) in BOUNDS.items()),
        *((name, high * 1.1) for name, (_, high, _) in BOUNDS.items()),
        *((name, value) for name in BOUNDS for value in ("12", True, [1], {})),
        ("regulator", "buck"),
        ("optocoupler", 4),
        ("detector_diode", "yes"),
        ("wire", "bell wire"),
        ("wire", 20),
        ("doors", ["front"]),
        ("doors", {"Front door": {}}),
        ("doors", {"front": True}),
        ("doors", {"front": {"diode": 1}}),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence_that_names_the_field(name: str, value: Any) -> None:
    with pytest.raises(SettingError) as refused:
        read_fitout(json.dumps({name: value}))
    sentence = str(refused.value)
    assert sentence.startswith(f"{name} of the fit-out sheet is ")
    assert "it must be" in sentence
    assert "\n" not in sentence


@pytest.mark.parametrize("text", ["", "[]", "12", "{", '{"idle_a": NaN}', "\x00", b"\xff\xfe", "[" * 5000])
def test_what_is_no_object_is_refused(text: str | bytes) -> None:
    with pytest.raises(SettingError, match="The fit-out sheet is not"):
        read_fitout(text)


def test_a_test_load_is_a_current_or_a_resistor() -> None:
    with pytest.raises(SettingError, match="test_a and test_ohm"):
        read_fitout('{"test_a": 0.05, "test_ohm": 220}')


def test_an_unknown_field_is_kept_by_name_and_not_used() -> None:
    assert read_fitout('{"reservoir_uf": 470, "colour": "white"}').unknown == ("colour", "reservoir_uf")
    assert nearest("reservoir_uf") == "reservoir_f"


def test_a_change_is_a_field_and_its_value() -> None:
    text = json.dumps(SHEET)
    changed = read_fitout(
        text, ["reservoir_f=470e-6", "wire = 0.5 mm2", "regulator=switching", 'doors={"side":{"diode":true}}']
    )
    assert (changed.reservoir_f, changed.wire, changed.regulator) == (470e-6, "0.5 mm2", "switching")
    assert changed.doors == (FittedDoor("side", True),)
    assert read_fitout(text, ["sound_a="]).sound_a is None
    assert (read_fitout(text, ["test_ohm=220"]).test_a, read_fitout(text, ["test_ohm=220"]).test_ohm) == (None, 220.0)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("reservoir_f", "write it as"),
        ("reservoir_uf=3", "perhaps reservoir_f"),
        ("colour=white", "no field"),
        ("reservoir_f=much", "it must be"),
    ],
)
def test_a_change_that_is_none_is_refused(change: str, said: str) -> None:
    with pytest.raises(SettingError, match=said):
        read_fitout("{}", [change])
