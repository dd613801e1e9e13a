"""The Fit-out sheet: blanks beside their warnings, a prediction that follows what is written, and setting to work step by step."""

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest

from dashboard.fitout_fields import BLANKS, DOOR, sheet_of, written
from service.errors import Refused
from service.supply.fitout import MEANING
from tests.builders import PRESS, T0, arrival, pack
from tests.fitout.conftest import SHEET
from tests.opened_house import OpenedHouse, open_house

PAGE = "/house/tern-cottage/fitout"


@pytest.fixture
def house(tmp_path: Path) -> Iterator[OpenedHouse]:
    with open_house(tmp_path, [arrival(pack(0, PRESS), 100.0)], SHEET) as found:
        yield found


def test_every_field_of_a_sheet_has_its_blank() -> None:
    assert {*BLANKS, "doors"} == set(MEANING)


def test_what_is_written_becomes_the_sheet_and_the_sheet_what_is_written() -> None:
    assert sheet_of(written(SHEET).items()) == SHEET
    with pytest.raises(Refused, match="Capacitance: 'much' is no number"):
        sheet_of([("reservoir_f", "much")])
    assert sheet_of([("reservoir_f", "0,47")]) == {"reservoir_f": 0.47e-6}


def test_the_kept_sheet_stands_in_its_blanks_with_its_prediction(house: OpenedHouse) -> None:
    page = unescape(house.client.get(PAGE).text)
    assert 'name="reservoir_f" value="' in page
    assert re.search(rf'name="reservoir_f" value="{SHEET["reservoir_f"] * 1e6:g}"', page)
    assert page.count('class="predicted"') >= 3
    assert "At rest" in page
    assert "While it sounds" in page


def test_a_warning_stands_beside_its_blank(house: OpenedHouse) -> None:
    filled = {**written(SHEET), "reservoir_rated_v": "10", "asked": "1"}
    page = unescape(house.client.get(PAGE, params=filled).text)
    assert "It will not work as it is." in page
    beside = page[page.index('data-renew="beside-reservoir_rated_v"') :]
    assert beside[: beside.index("</div>")].count("Wrong.") == 1
    # nothing of it is kept
    assert house.store.reader().fitouts("tern-cottage", "hall")[0].sheet == SHEET


def test_the_figures_are_those_of_the_api(house: OpenedHouse) -> None:
    told = {one["name"]: one["value"] for one in house.client.post("/api/v1/fitout", json=SHEET).json()["figures"]}
    page = unescape(house.client.get(PAGE).text)
    row = re.search(r"Lowest rail while it sounds, mains low</th><td>([\d.]+)", page)
    assert row is not None
    assert float(row[1]) == pytest.approx(told["rail_sounding_low_v"], rel=5e-3)


def test_the_slider_shows_before_and_after(house: OpenedHouse) -> None:
    asked = {**written(SHEET), "asked": "1", "tried": "reservoir_f", "times": "1"}
    page = unescape(house.client.get(PAGE, params=asked).text)
    assert "What would change" in page
    assert 'class="before"' in page
    then, tried = re.search(r"Ripple at rest</th><td>([\d.]+)\W*mV</td><td>([\d.]+)\W*mV", page).groups()  # type: ignore[union-attr]
    assert float(tried) == pytest.approx(
        float(then) / 2.0, rel=0.05
    )  # twice the reservoir, half the ripple: V = I / (f C)
    empty = {"asked": "1", "transformer_v": "12", "tried": "reservoir_f", "times": "1"}
    assert "is blank, so it cannot be changed" in unescape(house.client.get(PAGE, params=empty).text)


def test_a_blank_that_cannot_be_read_is_named_and_nothing_is_lost(house: OpenedHouse) -> None:
    page = unescape(house.client.get(PAGE, params={"asked": "1", "transformer_v": "twelve", "wire": "AWG 20"}).text)
    assert "Secondary voltage on the label: 'twelve' is no number." in page
    assert 'value="twelve"' in page
    assert 'value="AWG 20"' in page
    page = unescape(house.client.get(PAGE, params={"asked": "1", "transformer_v": "9000"}).text)
    assert "transformer_v of the fit-out sheet is" in page


def test_it_is_kept_as_it_stands(house: OpenedHouse) -> None:
    filled = {**written(SHEET), "reservoir_f": "2200", f"{DOOR}garden": "false"}
    answer = house.client.post("/house/tern-cottage/chime/hall/fitout", data=filled, follow_redirects=False)
    assert answer.status_code == 303
    assert "The sheet is kept." in house.client.get(answer.headers["location"]).text
    sheet = house.store.reader().fitouts("tern-cottage", "hall")[0].sheet
    assert sheet["reservoir_f"] == 2200e-6
    assert sheet["doors"]["garden"] == {"diode": False}
    refused = house.client.post("/house/tern-cottage/chime/hall/fitout", data={"reservoir_f": "much"})
    assert refused.status_code == 400
    assert house.client.post("/house/tern-cottage/chime/loft/fitout", data={}).status_code == 404


def test_setting_to_work_follows_what_is_heard(house: OpenedHouse) -> None:
    begun = house.client.get(PAGE, params={"begin": "1"}, follow_redirects=False).headers["location"]
    page = house.client.get(begun).text
    assert page.count("no press so far".capitalize()) == 1
    since = re.search(r'name="since" value="(\d+)"', page)
    assert since is not None
    house.hear([arrival(pack(seq, PRESS, up_s=1000.0 + 20.0 * seq), 1000.0 + 20.0 * seq) for seq in range(1, 6)])
    house.clock[0] = T0 + 1200.0
    page = house.client.get(begun).text
    assert '<li class="done"><b>Front: press five times' in page
    assert '<li class="now" aria-current="step"><b>Let it sound' in page
    where = "/house/tern-cottage/chime/hall/setting"
    asked = house.client.post(where, data={"since": since[1], "wish": "survey"}, follow_redirects=False)
    assert "has been asked for a survey" in house.client.get(asked.headers["location"]).text
    assert house.asked == [("tern-cottage", "hall", "")]
    assert "Without a survey only the buttons are compared later" in house.client.get(begun).text
    kept = house.client.post(where, data={"since": since[1], "wish": "record"})
    assert "The commissioning record that counts was kept" in kept.text


def test_the_commissioning_sheet_for_paper(house: OpenedHouse) -> None:
    page = unescape(house.client.get(f"{PAGE}/paper").text)
    assert "Commissioning sheet of the hall chime" in page
    assert "No commissioning record has been kept." in page
    assert "licensed electrician" in page
    assert "Set to work by" in page


def test_an_empty_house_can_begin_with_it(tmp_path: Path) -> None:
    with open_house(tmp_path, [arrival(pack(0, PRESS), 100.0)]) as empty:
        page = unescape(empty.client.get(PAGE).text)
        assert "The sheet says too little to predict anything." in page
        assert "No sheet has been kept for this chime yet" in page
