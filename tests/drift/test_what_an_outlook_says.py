"""Promise: of a chime's surveys over weeks the outlook tells what drifts, how fast and until when, and nothing where nothing does.

Outside reference for the slope: scipy.stats.theilslopes (Sen 1968). The drawn readings are invented; how a supply ages is common
practice, no source: electrolytics lose some per cent a year.
"""

import doctest

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st

from service import outlooks
from service.findings import outlook as outlook_module
from service.findings.outlook import Limit, Outlook, limits_of, outlook
from service.findings.verdict import Measured, Surveyed
from service.supply.drift import DAY_S, YEAR_S
from service.supply.fitout import FitOut

START_S = 1_789_000_000.0
FARAD = 1e-3
LOW = Limit(0.88 * FARAD, True, "88 % of what it was when it was commissioned")

seeds = st.integers(0, 2**32 - 1)


def days(count: int, every: float = 1.0) -> np.ndarray:
    return START_S + np.arange(count) * every * DAY_S


def seen(values, at_s=None, limits=(LOW,), name="reservoir_f", **more) -> Outlook:  # type: ignore[no-untyped-def]
    at_s = days(len(values)) if at_s is None else at_s
    found = outlook(name, at_s, np.asarray(values), None, limits, FARAD, float(at_s[-1]), **more)
    assert found is not None
    return found


def ageing(count: int, share_per_year: float, seed: int = 1, every: float = 1.0, noise: float = 0.009):  # type: ignore[no-untyped-def]
    """A reservoir as surveys see it: 0.9 % is what identification scatters by."""
    at_s = days(count, every)
    noise_f = noise * FARAD * np.random.default_rng(seed).standard_normal(count)
    return at_s, FARAD * (1.0 + share_per_year * (at_s - START_S) / YEAR_S) + noise_f


# ── what drifts ─────────────────────────────────────────────────────────────────────────────────────────────────────────


def test_slope_and_interval_are_scipys_in_share_per_year() -> None:
    at_s, values = ageing(120, -0.2)
    found = seen(values, at_s)
    outside = scipy.stats.theilslopes(values, at_s, alpha=0.9)
    assert found.drifts
    assert found.share_per_year is not None
    assert found.share_per_year.value == pytest.approx(outside.slope * YEAR_S / FARAD, rel=1e-6)
    assert found.share_per_year.low <= outside.low_slope * YEAR_S / FARAD * (1 - 1e-6)
    assert found.share_per_year.low <= -0.2 <= found.share_per_year.high


def test_the_day_the_limit_is_met_is_the_straight_lines() -> None:
    at_s, values = ageing(200, -0.1, noise=1e-6)
    found = seen(values, at_s)
    assert found.at_s is not None
    assert found.earliest_s is not None
    assert found.latest_s is not None
    assert found.at_s == pytest.approx(START_S + 1.2 * YEAR_S, abs=DAY_S)  # 12 % at 10 % a year
    assert found.earliest_s <= found.at_s <= found.latest_s
    assert (found.passed, found.why, found.limit) == (False, None, LOW)


def test_one_that_has_passed_its_limit_says_so() -> None:
    at_s, values = ageing(200, -0.5, noise=0.002)
    found = seen(values, at_s)
    assert found.passed
    assert found.at_s is not None
    assert found.at_s == pytest.approx(START_S + 0.24 * YEAR_S, abs=5.0 * DAY_S)


def test_the_limit_is_the_one_it_drifts_towards() -> None:
    limits = limits_of("open_circuit_v", FARAD, FitOut(), None)
    for share in (-0.5, 0.5):
        at_s, values = ageing(60, share)
        found = seen(values, at_s, limits=limits, name="open_circuit_v")
        assert found.limit is not None
        assert found.limit.low == (share < 0.0)


# ── what does not ───────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("count", [12, 30, 180])
def test_a_level_quantity_hardly_ever_drifts(count: int) -> None:
    wrong = sum(seen(ageing(count, 0.0, seed)[1]).drifts for seed in range(200))
    assert wrong <= 6  # of 200, where 99 % intervals alone would allow two on average


def test_less_than_a_healthy_supply_moves_by_itself_is_no_drift() -> None:
    at_s, values = ageing(30, -0.1, noise=1e-5)  # sure, but 0.8 % in all
    found = seen(values, at_s)
    assert (found.drifts, found.why, found.at_s) == (False, "a healthy supply moves as much by itself", None)
    assert found.share_per_year is not None


def test_too_few_and_too_short_are_told_apart() -> None:
    assert seen(ageing(5, -0.3)[1]).why == "too few readings"
    assert seen(ageing(12, -0.3)[1]).why == "too short a time"
    assert seen(ageing(7, -0.3, every=10.0)[1], days(7, 10.0)).why == "too few readings"
    assert outlook("reservoir_f", np.empty(0), np.empty(0), None, (), None, START_S) is None


def test_many_surveys_of_one_day_are_one_reading() -> None:
    at_s = START_S + np.arange(400) * 600.0  # every ten minutes, less than three days
    found = seen(np.full(400, FARAD), at_s)
    assert (found.readings, found.why) == (4, "too few readings")


# ── changes at once ─────────────────────────────────────────────────────────────────────────────────────────────────────


@settings(deadline=None, max_examples=50)
@given(seed=seeds, count=st.integers(20, 60), share=st.floats(0.3, 0.8), change=st.floats(0.6, 0.9))
def test_a_change_at_once_is_no_drift(seed: int, count: int, share: float, change: float) -> None:
    _, values = ageing(count, 0.0, seed)
    split = int(count * share)
    values[split:] *= change
    found = seen(values)
    assert found.changed_s == START_S + split * DAY_S
    assert found.readings == count - split  # no slope runs across it
    assert found.changed_from == pytest.approx(FARAD, rel=0.03)
    assert found.value == pytest.approx(change * FARAD, rel=0.04)
    assert found.passed == (found.value < LOW.value)


@settings(deadline=None, max_examples=50)
@given(seed=seeds, share_per_year=st.sampled_from([0.0, -0.1, -0.5, 0.5]))
def test_neither_scatter_nor_a_drift_is_a_change_at_once(seed: int, share_per_year: float) -> None:
    at_s, values = ageing(90, share_per_year, seed)
    assert seen(values, at_s).changed_s is None


def test_what_changes_one_quantity_at_once_begins_the_others_anew() -> None:
    at_s = days(40)
    rail = {moment: 14.0 - 0.002 * k for k, moment in enumerate(at_s)}
    farads = {moment: FARAD if k < 30 else 0.4 * FARAD for k, moment in enumerate(at_s)}
    found = outlooks.outlooks({"reservoir_f": farads, "open_circuit_v": rail}, {}, FitOut(), float(at_s[-1]))
    assert [(one.name, one.readings) for one in found] == [("reservoir_f", 10), ("open_circuit_v", 10)]


# ── seasons, limits, surveys ────────────────────────────────────────────────────────────────────────────────────────────


def test_a_season_is_no_drift_where_the_temperature_is_kept() -> None:
    at_s, values = ageing(80, 0.0, noise=0.001)
    warm = 20.0 - 0.1 * np.arange(80) + np.random.default_rng(3).standard_normal(80)
    found = outlook("reservoir_f", at_s, values * (1.0 + 0.004 * warm), warm, (LOW,), FARAD, float(at_s[-1]))
    assert found is not None
    assert not found.drifts
    without = outlook("reservoir_f", at_s, values * (1.0 + 0.004 * warm), None, (LOW,), FARAD, float(at_s[-1]))
    assert without is not None
    assert without.drifts


@pytest.mark.parametrize(
    ("name", "commissioned", "limits"),
    [
        ("reservoir_f", 1e-3, [0.88e-3]),
        ("source_ohm", 4.0, [6.0]),  # 2 ohm more is more than 1.35 times
        ("source_ohm", 10.0, [13.5]),  # and here 1.35 times is
        ("open_circuit_v", 14.0, [13.23, 17.5]),
        ("headroom_v", 5.0, [0.0]),
        ("ripple_v", 0.2, []),
    ],
)
def test_limits_against_the_commissioning_record(name: str, commissioned: float, limits: list[float]) -> None:
    found = limits_of(name, commissioned, FitOut(), None)
    assert [limit.value for limit in found] == pytest.approx(limits)
    assert all(limit.reason for limit in found)


def test_without_a_commissioning_record_the_sheet_gives_the_limit_or_there_is_none() -> None:
    (limit,) = limits_of("reservoir_f", None, FitOut(reservoir_f=1e-3), None)
    assert limit.value == pytest.approx(0.85e-3)
    assert limit.reason == "85 % of what the fit-out sheet says"
    at_s, values = ageing(60, -0.5)
    found = seen(values, at_s, limits=limits_of("reservoir_f", None, FitOut(), None))
    assert (found.drifts, found.limit, found.why) == (True, None, "no limit is known for it")


def test_surveys_at_hand_are_looked_at_like_kept_ones() -> None:
    at_s, values = ageing(90, -0.3)
    then, *surveys = [
        Surveyed(float(moment), {"reservoir_f": Measured(float(value), 0.0, 1.0)})
        for moment, value in zip(at_s, values, strict=True)
    ]
    (found,) = outlooks.of_surveys(surveys, then, FitOut(), float(at_s[-1]))
    assert (found.readings, found.drifts) == (90, True)
    assert found.limit is not None
    assert found.limit.value == pytest.approx(0.88 * then.quantities["reservoir_f"].value)


def test_examples_hold() -> None:
    assert doctest.testmod(outlook_module).failed == 0
