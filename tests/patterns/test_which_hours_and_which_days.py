"""Promise: the patterns say at which hours and on which days somebody rings, no more than the record bears, blind time apart."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from scipy import stats

from adapters.calendars_apart import wall_clock
from adapters.simulated import callers
from service.presses.patterns import Patterns, calmest, patterns
from service.presses.poisson import at_most, chance_of, interval

BERLIN, NEW_YORK, KATHMANDU = ZoneInfo("Europe/Berlin"), ZoneInfo("America/New_York"), ZoneInfo("Asia/Kathmandu")
HOUR_S, DAY_S = 3600.0, 86_400.0


def midnight(zone: ZoneInfo, year: int, month: int, day: int) -> float:
    return datetime(year, month, day, tzinfo=zone).timestamp()


MONDAY_S = midnight(BERLIN, 2026, 1, 5)


def looked_at(
    visits_s: list[float], weeks: float, blind: list[tuple[float, float]] | None = None, zone: ZoneInfo = BERLIN
) -> Patterns:
    return patterns(visits_s, blind or [], MONDAY_S, MONDAY_S + weeks * 7 * DAY_S, wall_clock(zone))


def drawn(rates: np.ndarray, weeks: int, seed: int) -> list[float]:
    """Visits of a Poisson process with `rates[weekday][hour]` visits an hour, from Monday on, in winter time throughout."""
    counts = np.random.default_rng(seed).poisson(np.tile(rates.ravel(), weeks))
    return [MONDAY_S + HOUR_S * (n + 0.5) for n, count in enumerate(counts) for _ in range(count)]


def test_each_visit_is_in_its_local_hour_day_and_week() -> None:
    # Tuesday 6 January 2026, 14:20 in Berlin, which is 13:20 UTC.
    at_s = datetime(2026, 1, 6, 13, 20, tzinfo=UTC).timestamp()
    found = looked_at([at_s], 1)
    assert found.table[1][14].visits == found.by_hour[14].visits == found.by_weekday[1].visits == found.mean.visits == 1
    assert [count.label for count in found.days if count.visits] == ["2026-01-06"]
    assert [(count.label, count.visits) for count in found.weeks] == [("2026-W02", 1)]


def test_a_zone_of_three_quarters_of_an_hour_has_whole_hours_too() -> None:
    start_s = midnight(KATHMANDU, 2026, 1, 5)
    found = patterns([start_s + 60.0], [], start_s, start_s + 7 * DAY_S, wall_clock(KATHMANDU))
    assert found.table[0][0].visits == 1
    assert all(rate.watched_h == pytest.approx(1.0) for row in found.table for rate in row)


@pytest.mark.parametrize(
    ("zone", "day", "hours", "twice"),
    [
        # Changes of the clock in 2026, from the IANA time zone database as zoneinfo has it.
        (BERLIN, (2026, 3, 29), 23.0, {2: 0.0}),
        (BERLIN, (2026, 10, 25), 25.0, {2: 2.0}),
        (NEW_YORK, (2026, 3, 8), 23.0, {2: 0.0}),
        (NEW_YORK, (2026, 11, 1), 25.0, {1: 2.0}),
    ],
)
def test_nights_with_a_change_of_the_clock_have_23_or_25_hours(
    zone: ZoneInfo, day: tuple[int, int, int], hours: float, twice: dict[int, float]
) -> None:
    start_s = midnight(zone, *day)
    found = patterns([], [], start_s, start_s + hours * HOUR_S, wall_clock(zone))
    assert [(count.hours, count.watched_h) for count in found.days] == [(hours, hours)]
    assert {n: rate.watched_h for n, rate in enumerate(found.table[6]) if rate.watched_h != 1.0} == twice


def test_blind_time_counts_neither_for_nor_against_an_hour() -> None:
    # Mondays from 10 to 11: rung at in each of the two weeks that were watched; two more were blind.
    visits = [MONDAY_S + 10.5 * HOUR_S + week * 7 * DAY_S for week in range(4)]
    blind = [(MONDAY_S + 14 * DAY_S, MONDAY_S + 20 * DAY_S), (MONDAY_S + 18 * DAY_S, MONDAY_S + 28 * DAY_S)]
    found = looked_at(visits, 4, blind)
    rate = found.table[0][10]
    assert (rate.visits, rate.watched_h, rate.per_hour) == (2, pytest.approx(2.0), pytest.approx(1.0))
    assert [count.watched_h for count in found.weeks] == pytest.approx([168.0, 168.0, 0.0, 0.0])
    assert found.mean.watched_h == pytest.approx(336.0)


def test_an_hour_never_watched_has_no_rate() -> None:
    found = looked_at([], 1, [(MONDAY_S, MONDAY_S + HOUR_S)])
    assert found.table[0][0] == (0, 0.0, None, None, None)


def test_nothing_looked_at_is_nothing_said() -> None:
    found = patterns([], [], MONDAY_S, MONDAY_S, wall_clock(BERLIN))
    assert found.mean.per_hour is None
    assert found.days == found.weeks == found.standing_out == found.quiet_hours == ()
    assert found.too_little is not None


@pytest.mark.parametrize(("weeks", "visits", "why"), [(3, 60, "21 days watched; 28"), (8, 12, "12 visits; 30")])
def test_with_too_little_it_says_so_and_nothing_else(weeks: int, visits: int, why: str) -> None:
    found = looked_at([MONDAY_S + 10.5 * HOUR_S + n for n in range(visits)], weeks)
    assert why in (found.too_little or "")
    assert found.standing_out == found.quiet_hours == ()
    assert calmest(found, 2) == []


def test_a_busy_hour_of_one_weekday_stands_out_and_no_other_hour_of_the_week() -> None:
    rates = np.full((7, 24), 0.15)
    rates[3, 10] = 2.0  # Thursdays from ten to eleven
    found = looked_at(drawn(rates, 8, seed=1), 8)
    hours = [(one.weekday, one.hour) for one in found.standing_out if one.weekday is not None and one.hour is not None]
    assert hours == [(3, 10)]
    assert found.standing_out[0].times > 5.0


def test_a_weekday_without_callers_stands_out_as_a_weekday() -> None:
    rates = np.full((7, 24), 0.15)
    rates[6] = 0.02
    found = looked_at(drawn(rates, 12, seed=2), 12)
    days = [one for one in found.standing_out if one.hour is None]
    assert [(one.weekday, one.times < 0.5) for one in days] == [(6, True)]


def test_where_all_hours_are_alike_hardly_anything_stands_out() -> None:
    # Of 40 houses without a pattern, each of three families names something in at most 2 (Benjamini and Hochberg's bound).
    named = sum(bool(looked_at(drawn(np.full((7, 24), 0.15), 8, seed), 8).standing_out) for seed in range(40))
    assert named <= 6


def test_the_nights_of_the_invented_house_are_its_quiet_hours() -> None:
    end_s = MONDAY_S + 26 * 7 * DAY_S
    visits = [visit[0].start_s for visit in callers.visits(MONDAY_S, end_s, seed=7)]
    found = patterns(visits, [], MONDAY_S, end_s, wall_clock(callers.ZONE))
    assert {22, 23, 0, 1, 2, 3, 4, 5, 6} <= set(found.quiet_hours)
    assert not {10, 15, 16} & set(found.quiet_hours)


def test_the_calmest_window_by_day_is_one_in_which_hardly_anybody_came() -> None:
    rates = np.zeros((7, 24))
    rates[:, 8:20] = 0.4
    rates[2, 13:15] = 0.0  # Wednesdays from one to three
    found = looked_at(drawn(rates, 12, seed=3), 12)
    best = calmest(found, 2, among=range(8, 18))[0]
    assert (best.weekday, best.hour, best.hours, best.expected) == (2, 13, 2, 0.0)
    # No visit in 24 hours watched: at most -ln 0.05 = 3.0 in them, a twelfth of that in two.
    assert best.at_most == pytest.approx(3.0 / 12, rel=0.01)


def test_hours_not_watched_are_not_called_calm() -> None:
    rates = np.zeros((7, 24))
    rates[:, 8:20] = 0.4
    blind = [(MONDAY_S + (7 * week + 1) * DAY_S, MONDAY_S + (7 * week + 2) * DAY_S) for week in range(12)]
    found = looked_at(drawn(rates, 12, seed=3), 12, blind)
    assert all(window.weekday != 1 for window in calmest(found, 1, most=200))


def test_a_year_of_a_house_adds_up() -> None:
    start_s, end_s = midnight(BERLIN, 2026, 1, 1), midnight(BERLIN, 2027, 1, 1)
    visits = list(np.random.default_rng(4).uniform(start_s, end_s, 1500))
    found = patterns(visits, [], start_s, end_s, wall_clock(BERLIN))
    assert found.mean.watched_h == pytest.approx(8760.0)
    assert sum(count.visits for count in found.days) == sum(count.visits for count in found.weeks) == 1500
    assert len(found.days) == 365


# ── Poisson, against scipy ──────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("count", [0, 1, 2, 5, 17, 120, 1500])
def test_the_interval_of_a_count_agrees_with_scipy(count: int) -> None:
    # The exact interval by quantiles of chi-square.
    low = 0.5 * stats.chi2.ppf(0.05, 2 * count) if count else 0.0
    assert interval(count) == pytest.approx((low, 0.5 * stats.chi2.ppf(0.95, 2 * count + 2)), rel=1e-6)


@pytest.mark.parametrize(("count", "mean"), [(0, 0.3), (3, 1.5), (40, 55.0), (1500, 1400.0)])
def test_tail_probabilities_agree_with_scipy(count: int, mean: float) -> None:
    assert at_most(count, mean) == pytest.approx(stats.poisson.cdf(count, mean), rel=1e-9)
    both = 2.0 * min(stats.poisson.cdf(count, mean), stats.poisson.sf(count - 1, mean))
    assert chance_of(count, mean) == pytest.approx(min(1.0, both), rel=1e-9)


def test_impossible_counts_have_no_chance() -> None:
    assert at_most(-1, 0.0) == 0.0
    assert at_most(0, 0.0) == 1.0
