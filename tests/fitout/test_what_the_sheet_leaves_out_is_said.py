"""Promise: every field may be absent; what is taken instead, and what that costs, is said in a sentence, and nothing fails."""

import json

import pytest

from service.errors import SettingError
from service.supply.fitout import read_fitout
from service.supply.fitout_rules import check
from service.supply.fitout_told import told
from service.supply.fitout_words import text_of_check
from tests.fitout.conftest import SHEET, Checked


@pytest.mark.parametrize("field", [*SHEET, "transformer_open_v"])
def test_each_field_may_be_absent(checked: Checked, field: str) -> None:
    found = checked(**{field: None})
    json.dumps(told(found), allow_nan=False)
    assert text_of_check(found)


# (field, what its absence costs): what the sentence must say
COSTS = [
    ("transformer_va", "source resistance is taken as that of a 10 VA transformer"),
    ("transformer_open_v", "15 to 30 % above the label"),
    ("wire_loop_m", "no resistance"),
    ("wire", "AWG 20 is taken"),
    ("mains_hz", "50 and 60 Hz"),
    ("idle_a", "10 mA at rest are taken"),
    ("sound_a", "while the chime sounds"),
    ("dropout_v", "2 V above its output"),
    ("regulator", "a linear one is taken"),
    ("reservoir_f", "neither the rail nor its ripple"),
    ("doors", "a diode across a button is taken"),
]


@pytest.mark.parametrize(("field", "said"), COSTS)
def test_its_cost_is_said(checked: Checked, field: str, said: str) -> None:
    costs = {assumption.field: assumption.cost for assumption in checked(**{field: None}).assumptions}
    assert costs[field].startswith(f"Without {field} ")
    assert said in costs[field]


def test_a_whole_sheet_leaves_out_nothing(checked: Checked) -> None:
    assert checked(transformer_open_v=14.6).assumptions == ()


def test_without_a_detector_no_shortest_press(checked: Checked) -> None:
    found = checked(detector_on_a=None)
    assert found.envelope is not None
    assert found.envelope.shortest_sure_press_s is None
    assert any("shortest press" in assumption.cost for assumption in found.assumptions)


def test_without_regulator_and_drop_out_neither_head_room_nor_largest_load(checked: Checked) -> None:
    found = checked(regulator_v=None, dropout_v=None)
    assert found.envelope is not None
    assert found.envelope.largest_load_a is None
    assert {one.headroom_v for one in found.envelope.conditions} == {None}


def test_an_unknown_transformer_widens_the_range(checked: Checked) -> None:
    def width(**changes: object) -> float:
        found = checked(**changes).envelope
        assert found is not None
        span = found.at("sounding", "low")[0].rail_min_v
        return span.high - span.low

    assert width(transformer_va=None) > width() > width(transformer_open_v=14.6)


def test_an_open_voltage_serves_for_a_label(checked: Checked) -> None:
    found = checked(transformer_v=None, transformer_open_v=14.9)
    assert found.basis is not None
    assert any("a label of 12 V is taken" in assumption.cost for assumption in found.assumptions)


def test_a_sheet_that_says_nothing_is_told_what_it_lacks() -> None:
    found = check(read_fitout("{}"))
    assert (found.fits, found.envelope) == (None, None)
    assert "transformer_v" in found.assumptions[0].cost
    assert "too little" in text_of_check(found)


def test_a_wire_that_is_none_is_refused_even_without_its_length(checked: Checked) -> None:
    with pytest.raises(SettingError, match="AWG 44"):
        checked(wire="AWG 44", wire_loop_m=None)
