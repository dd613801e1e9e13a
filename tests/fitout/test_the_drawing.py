"""Promise: the drawing shows the predicted rail in the drawing language, reads in light and dark, and its words find room."""

import itertools
import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from dashboard.fitout_plot import HEIGHT, INKS, WIDTH, plot
from service.supply.fitout_curves import curves, pulses
from tests.fitout.conftest import Checked

BOXES = """[...document.querySelectorAll('text')].map(text => {
    const box = text.getBBox();
    return [box.x, box.y, box.x + box.width, box.y + box.height, text.textContent];
})"""

SVG = "{http://www.w3.org/2000/svg}"


def test_it_draws_the_rail_that_was_calculated(checked: Checked) -> None:
    check = checked()
    assert check.envelope is not None
    for curve in curves(check):
        found = check.envelope.at(curve.state, "nominal")[0]
        assert curve.volts["nominal"].max() == pytest.approx(found.rail_max_v.value, abs=0.02)
        assert curve.volts["nominal"].min() == pytest.approx(found.rail_min_v.value, abs=0.1)
        assert curve.times_s[-1] == pytest.approx(2 / 50.0)


def test_the_detectors_pulses_lie_in_the_half_cycle_that_comes_back(checked: Checked) -> None:
    assert len(pulses(checked())) == 2
    for cycle, (start, end) in enumerate(pulses(checked())):
        assert (cycle + 0.5) / 50.0 <= start < end <= (cycle + 1.0) / 50.0


def test_a_panel_each_with_its_marks(checked: Checked) -> None:
    root = ElementTree.fromstring(plot(checked(reservoir_rated_v=25)))
    classes = [element.get("class") for element in root.iter()]
    titles = [element.text for element in root.iter(f"{SVG}text") if element.get("class") == "title"]
    assert titles == ["At rest, 8 mA", "While it sounds, 150 mA", "While pressed, 8 mA"]
    assert classes.count("predicted") == 3
    assert classes.count("bound") == 6
    assert classes.count("limit") == classes.count("teeth") == 6  # drop-out and rating in each
    assert classes.count("lit") == 2
    assert "before" not in classes


def test_a_change_is_drawn_beside_what_it_changes(checked: Checked) -> None:
    root = ElementTree.fromstring(plot(checked(reservoir_f=470e-6, mains_hz=60), checked()))
    classes = [element.get("class") for element in root.iter()]
    assert classes.count("before") == 4  # three curves and their name


def test_it_says_in_words_what_it_shows(checked: Checked) -> None:
    root = ElementTree.fromstring(plot(checked()))
    words = root.findtext(f"{SVG}desc")
    assert words is not None
    assert "While it sounds: 13.3" in words
    assert "drops out below 7.00 V" in words


def test_without_a_rail_it_says_why(checked: Checked) -> None:
    root = ElementTree.fromstring(plot(checked(transformer_v=None)))
    assert any("Without transformer_v" in (element.text or "") for element in root.iter(f"{SVG}text"))


def test_nothing_from_the_sheet_is_taken_as_markup(checked: Checked) -> None:
    ElementTree.fromstring(plot(checked(**{"<script>": 1})))


@pytest.mark.parametrize("light", ["light", "dark"])
def test_its_inks_can_be_read(light: str) -> None:
    # WCAG 2.2: text 4.5 to 1, meaningful lines 3 to 1; relative luminance as defined there
    ink = INKS[light]
    for name, least in (("ink", 4.5), ("ink2", 4.5), ("madder", 4.5), ("prussian", 4.5), ("rule", 3.0)):
        assert _contrast(ink[name], ink["paper"]) >= least


@pytest.mark.parametrize("light", ["light", "dark"])
@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"reservoir_f": 100e-6, "mains_hz": 60, "reservoir_rated_v": 25},
        {"sound_a": None, "detector_ohm": None, "transformer_v": 24, "idle_a": 0.0123},
        {"transformer_v": None},
    ],
)
def test_its_words_find_room_and_keep_apart(
    checked: Checked, browser: Browser, tmp_path: Path, light: str, changes: dict[str, float]
) -> None:
    path = tmp_path / "rail.svg"
    path.write_text(plot(checked(**changes), checked() if changes else None))
    page = browser.new_page(color_scheme="dark" if light == "dark" else "light")
    page.goto(path.as_uri())
    paper = page.evaluate("getComputedStyle(document.querySelector('.paper')).fill")
    boxes = page.evaluate(BOXES)
    page.close()
    assert tuple(int(part) for part in re.findall(r"\d+", paper)) == _rgb(INKS[light]["paper"])
    for left, top, right, bottom, words in boxes:
        assert left >= 0, words
        assert top >= 0, words
        assert right <= WIDTH, words
        assert bottom <= HEIGHT, words
    for one, other in itertools.combinations(boxes, 2):
        apart = one[2] <= other[0] or other[2] <= one[0] or one[3] - 3 <= other[1] or other[3] - 3 <= one[1]
        assert apart, f"{one[4]!r} and {other[4]!r}"


def _rgb(colour: str) -> tuple[int, ...]:
    return tuple(int(colour[place : place + 2], 16) for place in (1, 3, 5))


def _contrast(one: str, other: str) -> float:
    def luminance(colour: str) -> float:
        parts = [part / 255 for part in _rgb(colour)]
        linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)
