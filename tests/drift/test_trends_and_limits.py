"""Promise: a drift over weeks is told robustly with an interval that holds, and a date only where there is one to tell.

Outside reference: scipy.stats.theilslopes, which implements Sen (1968) independently.
"""

import doctest

import numpy as np
import pytest
import scipy.stats
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from service.supply import drift
from service.supply.drift import DAY_S, YEAR_S, Meeting, Rules, Trend, meets, trend

START_S = 1_789_000_000.0

seeds = st.integers(0, 2**32 - 1)


def readings(seed: int, count: int = 60, slope_per_day: float = -0.002, noise: float = 0.02):  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(seed)
    at_s = START_S + np.sort(rng.uniform(0.0, 120.0, count)) * DAY_S
    return at_s, 5.0 + slope_per_day * (at_s - START_S) / DAY_S + noise * rng.standard_normal(count)


def sure(found: Trend | None) -> Trend:
    assert found is not None
    return found


# ── against scipy ───────────────────────────────────────────────────────────────────────────────────────────────────────


@settings(deadline=None, max_examples=100)
@given(seed=seeds, count=st.integers(5, 120), digits=st.sampled_from([None, 2, 1]), whole_days=st.booleans())
def test_slope_and_interval_are_scipys(seed: int, count: int, digits: int | None, whole_days: bool) -> None:
    at_s, values = readings(seed, count)
    if digits is not None:
        values = np.round(values, digits)  # ties, as a coarse converter makes them
    if whole_days:
        at_s = np.round((at_s - START_S) / DAY_S) * DAY_S + START_S
    assume(len(np.unique(at_s)) > 4)
    assume(len(np.unique(values)) > 4)  # with nearly all alike scipy takes the root of a negative number
    found = sure(trend(at_s, values, correlated=False))
    outside = scipy.stats.theilslopes(values, at_s - at_s.min(), alpha=0.9)
    assert found.slope_per_s == pytest.approx(outside.slope, rel=1e-9, abs=1e-18)
    assert found.slope_low == pytest.approx(outside.low_slope, rel=1e-9, abs=1e-18)
    assert found.slope_high == pytest.approx(outside.high_slope, rel=1e-9, abs=1e-18)


def test_the_level_is_that_of_scipys_joint_intercept() -> None:
    at_s, values = readings(5)
    found = sure(trend(at_s, values))
    outside = scipy.stats.theilslopes(values, at_s - START_S, method="joint")
    assert found.at(START_S) == pytest.approx(outside.intercept, rel=1e-9)


# ── properties ──────────────────────────────────────────────────────────────────────────────────────────────────────────


@settings(deadline=None, max_examples=60)
@given(seed=seeds, factor=st.floats(0.01, 100.0), shift=st.floats(-50.0, 50.0), later_s=st.floats(-1e8, 1e8))
def test_units_and_origins_do_not_matter(seed: int, factor: float, shift: float, later_s: float) -> None:
    at_s, values = readings(seed, 40)
    one, other = sure(trend(at_s, values)), sure(trend(at_s + later_s, values * factor + shift))
    assert other.slope_per_s == pytest.approx(one.slope_per_s * factor, rel=1e-4, abs=1e-15)
    assert other.at(START_S + later_s) == pytest.approx(one.at(START_S) * factor + shift, rel=1e-6, abs=1e-6)


@settings(deadline=None, max_examples=60)
@given(seed=seeds)
def test_upside_down_is_the_same_upside_down(seed: int) -> None:
    at_s, values = readings(seed, 40)
    one, other = sure(trend(at_s, values)), sure(trend(at_s, -values))
    assert other.slope_per_s == pytest.approx(-one.slope_per_s)
    # Sen's ranks round to the nearest, so the mirrored interval may differ by a rank.
    width = one.slope_high - one.slope_low
    assert other.slope_low == pytest.approx(-one.slope_high, abs=0.1 * width)


@settings(deadline=None, max_examples=60)
@given(seed=seeds)
def test_order_does_not_matter(seed: int) -> None:
    at_s, values = readings(seed, 40)
    order = np.random.default_rng(seed).permutation(len(at_s))
    assert trend(at_s[order], values[order]) == trend(at_s, values)


@settings(deadline=None, max_examples=60)
@given(seed=seeds, wild=st.floats(-1e6, 1e6))
def test_a_fifth_of_wild_readings_moves_the_slope_within_reason(seed: int, wild: float) -> None:
    at_s, values = readings(seed, 60, noise=0.01)
    spoilt = values.copy()
    spoilt[np.random.default_rng(seed).choice(60, 12, replace=False)] = wild
    assert sure(trend(at_s, spoilt)).slope_per_s * DAY_S == pytest.approx(-0.002, abs=0.0015)


@settings(deadline=None, max_examples=60)
@given(seed=seeds, slope=st.floats(-0.1, 0.1))
def test_a_bare_line_is_found_exactly(seed: int, slope: float) -> None:
    at_s, values = readings(seed, 30, slope, noise=0.0)
    assert sure(trend(at_s, values)).slope_per_s * DAY_S == pytest.approx(slope, abs=1e-6)


@settings(deadline=None, max_examples=60)
@given(seed=seeds)
def test_the_slope_lies_in_its_interval(seed: int) -> None:
    found = sure(trend(*readings(seed, 25)))
    assert found.slope_low <= found.slope_per_s <= found.slope_high


# ── does the interval hold nine times in ten? ───────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("heavy_tails", [False, True])
def test_the_interval_holds_nine_times_in_ten(heavy_tails: bool) -> None:
    rng = np.random.default_rng(11)
    days = np.arange(40.0) * 3.0
    held = 0
    for _ in range(400):
        noise = rng.standard_t(2, 40) if heavy_tails else rng.standard_normal(40)
        found = sure(trend(START_S + days * DAY_S, 0.01 * days + noise))
        held += found.slope_low <= 0.01 / DAY_S <= found.slope_high
    assert 0.86 <= held / 400 <= 0.96  # binomial scatter of 400: 1.5 points


def test_readings_that_follow_each_other_widen_it() -> None:
    rng = np.random.default_rng(12)
    days, held, naive = np.arange(100.0), 0, 0
    for _ in range(200):
        noise = np.empty(100)
        noise[0] = rng.standard_normal()
        for n in range(1, 100):
            noise[n] = 0.6 * noise[n - 1] + 0.8 * rng.standard_normal()
        values = 0.01 * days + noise
        found = sure(trend(START_S + days * DAY_S, values))
        plain = sure(trend(START_S + days * DAY_S, values, correlated=False))
        held += found.slope_low <= 0.01 / DAY_S <= found.slope_high
        naive += plain.slope_low <= 0.01 / DAY_S <= plain.slope_high
    assert naive / 200 < 0.75
    assert held / 200 > 0.83


# ── seasons ─────────────────────────────────────────────────────────────────────────────────────────────────────────────


def season(days: np.ndarray, seed: int = 3) -> np.ndarray:  # type: ignore[type-arg]
    rng = np.random.default_rng(seed)
    return 15.0 + 10.0 * np.sin(2.0 * np.pi * days / 365.25) + 2.0 * rng.standard_normal(len(days))


def test_spring_is_not_taken_for_a_drift() -> None:
    # An electrolytic gains capacity as it warms, some 0.1 to 0.3 % a degree (common practice, no source).
    days = np.arange(0.0, 120.0, 2.0) - 60.0  # winter into summer: temperature rises all the while
    warm = season(days)
    values = 470.0 * (1.0 + 0.002 * (warm - 15.0)) + np.random.default_rng(4).standard_normal(len(days)) * 0.5
    at_s = START_S + days * DAY_S
    assert sure(trend(at_s, values)).is_sure  # a season without its temperature looks like a drift
    found = sure(trend(at_s, values, warm))
    assert found.per_kelvin == pytest.approx(0.94, abs=0.15)
    assert found.slope_low <= 0.0 <= found.slope_high


def test_a_drift_under_a_season_is_found() -> None:
    days = np.arange(0.0, 365.0, 3.0)
    warm = season(days)
    values = 470.0 - 0.1 * days + 0.94 * (warm - 15.0) + np.random.default_rng(5).standard_normal(len(days)) * 0.5
    found = sure(trend(START_S + days * DAY_S, values, warm))
    assert found.slope_per_s * DAY_S == pytest.approx(-0.1, abs=0.003)
    assert found.slope_low * DAY_S <= -0.1 <= found.slope_high * DAY_S


def test_a_line_and_a_temperature_without_noise_are_found_exactly() -> None:
    days = np.arange(0.0, 365.0, 5.0)
    warm = season(days)
    found = sure(trend(START_S + days * DAY_S, 3.0 + 0.02 * days - 0.5 * warm, warm))
    assert found.slope_per_s * DAY_S == pytest.approx(0.02, rel=1e-6)
    assert found.per_kelvin == pytest.approx(-0.5, rel=1e-6)
    assert found.at(START_S) == pytest.approx(3.0 - 0.5 * float(np.median(warm)), rel=1e-6)


def test_a_temperature_that_is_mostly_unknown_or_hardly_moves_is_left_out() -> None:
    at_s, values = readings(6)
    plain = trend(at_s, values)
    unknown = np.full(len(at_s), np.nan)
    unknown[:10] = 20.0
    assert trend(at_s, values, unknown) == plain
    assert trend(at_s, values, np.full(len(at_s), 20.0)) == plain


# ── odd input ───────────────────────────────────────────────────────────────────────────────────────────────────────────


def test_too_little_gives_nothing_and_gaps_are_left_out() -> None:
    assert trend(np.empty(0), np.empty(0)) is None
    assert trend(np.array([1.0, 2.0]), np.array([1.0, 2.0])) is None
    assert trend(np.full(9, 5.0), np.arange(9.0)) is None
    at_s, values = readings(7)
    values[::4] = np.nan
    kept = np.isfinite(values)
    assert trend(at_s, values) == trend(at_s[kept], values[kept])


def test_many_readings_are_joined_and_cost_little_accuracy() -> None:
    at_s, values = readings(8, 20_000, -0.002, 0.02)
    found = sure(trend(at_s, values))
    assert found.readings == 20_000
    assert found.slope_per_s * DAY_S == pytest.approx(-0.002, abs=3e-5)
    assert found.slope_low * DAY_S <= -0.002 <= found.slope_high * DAY_S


# ── meeting a limit ─────────────────────────────────────────────────────────────────────────────────────────────────────


def line(per_year: float, width: float = 0.2, **changes: float) -> Trend:
    slope = per_year / YEAR_S
    values = {"readings": 50, "span_s": 100.0 * DAY_S, **changes}
    low, high = sorted((slope * (1.0 - width), slope * (1.0 + width)))
    return Trend(slope, low, high, START_S, 1.0, int(values["readings"]), values["span_s"])


def test_the_date_and_its_interval() -> None:
    meeting = meets(line(-0.1), 0.8, START_S)
    assert meeting.at_s is not None
    assert (meeting.at_s - START_S) / YEAR_S == pytest.approx(2.0)
    assert meeting.earliest_s == pytest.approx(START_S + 2.0 / 1.2 * YEAR_S)
    assert meeting.latest_s == pytest.approx(START_S + 2.0 / 0.8 * YEAR_S)
    assert not meeting.already


def test_an_upper_limit_works_as_a_lower_one() -> None:
    meeting = meets(line(0.1), 1.2, START_S)
    assert meeting.at_s == pytest.approx(START_S + 2.0 * YEAR_S)
    assert meeting.earliest_s is not None
    assert meeting.earliest_s < meeting.at_s


@pytest.mark.parametrize(
    ("found", "limit", "why"),
    [
        (None, 0.8, "too few readings"),
        (line(-0.1, readings=7), 0.8, "too few readings"),
        (line(-0.1, span_s=20.0 * DAY_S), 0.8, "too short a time"),
        (line(-0.1, width=1.1), 0.8, "the slope may as well be nothing"),
        (line(-0.1), 1.2, "it moves away from the limit"),
        (line(-0.01), 0.8, "beyond ten years"),
    ],
)
def test_why_there_is_no_date(found: Trend | None, limit: float, why: str) -> None:
    assert meets(found, limit, START_S) == Meeting(why=why)  # type: ignore[arg-type]


def test_a_limit_that_has_been_passed_says_when() -> None:
    meeting = meets(line(-1.0), 0.95, START_S + 40.0 * DAY_S)
    assert meeting.already
    assert meeting.at_s == pytest.approx(START_S + 0.05 * YEAR_S)


def test_an_interval_that_reaches_beyond_the_horizon_is_open() -> None:
    meeting = meets(line(-0.025, width=0.5), 0.8, START_S)
    assert meeting.at_s == pytest.approx(START_S + 8.0 * YEAR_S)
    assert meeting.latest_s is None


def test_the_rules_are_settings() -> None:
    assert meets(line(-0.1, readings=4), 0.8, START_S, Rules(fewest=3)).why is None
    assert meets(line(-0.1), 0.8, START_S, Rules(horizon_s=YEAR_S)).why == "beyond ten years"


def test_dates_told_from_noisy_readings_hold_nine_times_in_ten() -> None:
    rng = np.random.default_rng(21)
    days, held = np.arange(60.0) * 3.0, 0
    true_s = START_S + 500.0 * DAY_S
    for _ in range(200):
        values = 1.0 - 0.0004 * days + 0.01 * rng.standard_normal(60)
        meeting = meets(trend(START_S + days * DAY_S, values), 0.8, START_S + 180.0 * DAY_S)
        assert meeting.at_s is not None
        assert meeting.earliest_s is not None
        held += meeting.earliest_s <= true_s and (meeting.latest_s is None or true_s <= meeting.latest_s)
    assert held / 200 > 0.84


def test_the_examples_to_redo_by_hand() -> None:
    tried = doctest.testmod(drift)
    assert tried.attempted > 0
    assert tried.failed == 0
