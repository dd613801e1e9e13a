"""The Supply sheet tells how the rail stands and stood, in drawings and in figures, and judges nothing itself."""

import re
from dataclasses import replace

import numpy as np
import pytest

from dashboard.cycle import period_of, two_cycles
from dashboard.rail_chart import round_scale
from dashboard.supply_points import PastDays
from tests.pages.conftest import Opened
from tests.pages.reading import headline, lead, words_of
from tests.pages.tern_cottage import NOW_S, at, burst, empty_house, usual_house, with_supply

SUPPLY = "/house/tern-cottage/supply"


def test_the_verdict_says_where_the_rail_stands_and_where_it_fell_to(opened: Opened) -> None:
    page = opened(with_supply(usual_house())).get(SUPPLY).text
    # the invented rail swings by 0.17 V about 14.2 V and sags to 9.32 ± 0.05 V
    found = re.fullmatch(
        r"The rail stands at (1[34]\.\d) V, and fell to (9\.[34]) V while the chime sounded\.", headline(page)
    )
    assert found
    assert 14.0 <= float(found[1]) <= 14.4
    assert "Whether that is enough for the chime has not been examined yet" in lead(page)


def test_the_newest_mean_is_told_where_the_newest_window_has_none(opened: Opened) -> None:
    record = with_supply(usual_house(), days=1.0)
    record.point_list.append(replace(record.point_list[-1], mean_v=None, min_v=None, max_v=None, low_v=9.3))
    assert headline(opened(record).get(SUPPLY).text).startswith("The rail stands at 14.")


def test_a_silent_chime_is_spoken_of_in_the_past(opened: Opened) -> None:
    record = with_supply(usual_house(), days=1.0)
    record.chime_list = [replace(chime, last_heard_s=at("25 Nov 2026 16.02")) for chime in record.chime_list]
    record.point_list = [point for point in record.point_list if point.end_s <= at("25 Nov 2026 16.02")]
    assert re.match(
        r"The rail stood at 14\.\d V when last heard of at (15\.5\d|16\.0\d)", headline(opened(record).get(SUPPLY).text)
    )


def test_a_chime_that_tells_no_voltage_is_no_blank_page(opened: Opened) -> None:
    page = opened(empty_house()).get(SUPPLY).text
    assert headline(page) == "No supply voltage has been recorded."
    assert "This chime has sent no supply voltage in thirty days." in words_of(page)


def test_figures_stand_in_a_table_with_a_word_each(opened: Opened) -> None:
    words = words_of(opened(with_supply(usual_house())).get(SUPPLY).text)
    for name in ("Rail, mean", "Rail, lowest", "Rail, highest", "Lowest while sounding", "Inside the chime"):
        assert name in words
    # -96 dBW are -66 dBm (RFC 8798, section 3: dBm are 30 more than dBW)
    assert "−66 dBm" in words
    assert "At 13.00 the chime started after its power came back." in words
    assert "At 11.08 it fell blind for 1 h 52 min." in words


def test_a_gap_is_a_gap(opened: Opened) -> None:
    whole, holed = with_supply(empty_house(), days=1.0), with_supply(empty_house(), days=1.0)
    holed.point_list = [p for p in holed.point_list if not NOW_S - 9000 < p.end_s < NOW_S - 5400]
    starts = [opened(record).get(SUPPLY).text.count("h.5") for record in (whole, holed)]
    assert starts[1] == starts[0] + 1


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_two_cycles_are_found_in_a_burst(mains_hz: float) -> None:
    cycles = two_cycles(burst("idle", NOW_S, 14.2, 0.36, mains_hz))
    assert cycles is not None
    assert cycles.mains_hz == pytest.approx(mains_hz, abs=0.5)
    assert cycles.times_s[-1] == pytest.approx(2 / mains_hz, rel=0.05)
    # the invented ripple is 0.36 V about 14.2 V, sampled at 2 kHz
    assert (cycles.low_v, cycles.high_v) == pytest.approx((14.02, 14.38), abs=0.05)


def test_noise_has_no_period() -> None:
    assert period_of(np.random.default_rng(1).normal(14.0, 0.01, 400), 2000.0) is None
    assert period_of(np.full(400, 14.2), 2000.0) is None
    assert period_of(np.array([]), 2000.0) is None


def test_a_burst_with_nothing_taken_is_not_drawn() -> None:
    assert two_cycles(replace(burst("idle", NOW_S, 14.2, 0.36), codes=b"\x00\x80" * 400)) is None
    assert two_cycles(replace(burst("idle", NOW_S, 14.2, 0.36), codes=b"\x00")) is None


def test_a_scale_holds_all_it_is_for() -> None:
    for low, high in ((9.31, 14.42), (0.0, 0.0), (14.2, 14.2), (-0.3, 33.0), (12.001, 12.002)):
        scale = round_scale(low, high)
        assert scale.low_v <= low
        assert scale.high_v >= high
        assert 2 <= len(scale.ticks) <= 8


def test_past_days_are_asked_for_once_in_five_minutes() -> None:
    record = with_supply(empty_house("1 Nov 2026 08.00"), days=2.0)
    past = PastDays(record)
    start_s, today_s = at("1 Nov 2026 00.00"), at("25 Nov 2026 00.00")
    first = past.before("tern-cottage", "hall", start_s, today_s, NOW_S)
    record.point_list.clear()
    assert past.before("tern-cottage", "hall", start_s, today_s, NOW_S + 1) is first
    assert not past.before("tern-cottage", "hall", start_s, today_s, NOW_S + 300)
