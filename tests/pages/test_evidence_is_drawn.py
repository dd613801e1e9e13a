"""Promise: the evidence of a finding is drawn on one scale, what has moved beside what has not, with intervals, true to its figures."""

import re
from itertools import pairwise
from math import log

import pytest

from dashboard.departures import draw
from service.findings.verdict import EvidenceLine, Measured
from tests.pages.conftest import Opened
from tests.pages.tern_cottage import usual_house, with_findings, with_supply

AGED = EvidenceLine("reservoir_f", 4.7e-4, 4.6e-4, 4.8e-4, 1e-3)
THEN = {"reservoir_f": Measured(1e-3, 9.7e-4, 1.03e-3), "source_ohm": Measured(5.7, 5.4, 6.0)}
NOW = {
    "reservoir_f": Measured(4.7e-4, 4.6e-4, 4.8e-4),
    "source_ohm": Measured(5.8, 5.5, 6.1),
    "idle_a": Measured(8e-3, 7e-3, 9e-3),
}


def dots(drawn: str) -> list[float]:
    return [float(x) for x in re.findall(r'<circle class="dot" cx="([\d.]+)"', drawn)]


def ticks(drawn: str) -> dict[str, float]:
    """Where each numeral of the scale stands."""
    return {
        text: float(x) for x, text in re.findall(r'<text class="numeral"[^>]* x="([\d.]+)"[^>]*>([^<]+)</text>', drawn)
    }


def named(drawn: str) -> list[str]:
    return re.findall(r'<text class="said"[^>]* x="0"[^>]*>([^<]+)</text>', drawn)


def test_what_has_moved_stands_above_what_has_not() -> None:
    drawn = draw([AGED], NOW, THEN)
    assert drawn is not None
    assert named(drawn) == [
        "Capacity of the reservoir",
        "Resistance of transformer and wire",
    ]  # nothing is known of idle_a then
    moved, still = dots(drawn)
    expected = ticks(drawn)["expected"]
    assert moved < still
    assert abs(still - expected) < 12.0 < expected - moved


def test_a_dot_stands_where_its_ratio_belongs() -> None:
    """By the scale's own numerals, since equal ratios are equally far apart."""
    drawn = draw([AGED], {}, {})
    assert drawn is not None
    scale = {text.replace("\u202f", " "): x for text, x in ticks(drawn).items()}
    per_log = (scale["expected"] - scale["−50 %"]) / (0.0 - log(0.5))
    (at,) = dots(drawn)
    assert at == pytest.approx(scale["expected"] + per_log * log(0.47), abs=0.1)


@pytest.mark.parametrize("ratio", [1e-6, 0.2, 0.999, 1.0, 1.04, 3.0, 1e6])
def test_any_ratio_has_room_and_numerals_that_do_not_touch(ratio: float) -> None:
    drawn = draw([EvidenceLine("ripple_v", ratio, ratio / 1.1, ratio * 1.1, 1.0)], NOW, THEN)
    assert drawn is not None
    assert all(0.0 <= x <= 340.0 for x in dots(drawn))
    places = sorted(ticks(drawn).values())
    assert 2 <= len(places) <= 7
    assert all(b - a > 50.0 for a, b in pairwise(places))


def test_a_figure_of_which_nothing_is_expected_is_not_drawn() -> None:
    assert draw([EvidenceLine("pulse_width_s", 0.01), EvidenceLine("events", 3.0, expected=0.0)], NOW, THEN) is None


def test_what_concerns_a_button_is_drawn_without_the_supply() -> None:
    drawn = draw([EvidenceLine("rise_at_press_v", 0.4, 0.3, 0.5, 0.9)], NOW, THEN)
    assert drawn is not None
    assert named(drawn) == ["Rise of the rail at a press"]


def test_it_stands_on_the_sheet_beside_the_table_that_says_the_same(opened: Opened) -> None:
    page = opened(with_findings(with_supply(usual_house()))).get("/house/tern-cottage/supply").text
    assert page.count('class="drawing departures" aria-hidden="true"') == 1  # of a shorted diode nothing is expected
    assert page.index("departures") < page.index("What the evidence shows")
