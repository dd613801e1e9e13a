"""The Supply sheet says what drifts, how fast and until when, or that nothing does, in sentences, in the house's own time."""

import re
from dataclasses import replace

import pytest

from dashboard import outlook_lines
from service.finding_ports import Commissioning, QuantityPoint
from service.findings.outlook import Limit, Outlook
from service.findings.verdict import Measured
from service.supply.drift import DAY_S, YEAR_S
from tests.pages.conftest import Opened
from tests.pages.reading import words_of
from tests.pages.tern_cottage import LONDON, NOW_S, Record, at, usual_house, with_findings, with_supply

SUPPLY = "/house/tern-cottage/supply"
LIMIT = Limit(8.8e-4, True, "88 % of what it was when it was commissioned")
DRIFTING = Outlook(
    "reservoir_f", 120, 119 * DAY_S, 9.7e-4, True, Measured(-4.1e-5, -5.2e-5, -3e-5), Measured(-0.041, -0.052, -0.03), LIMIT,
    at_s=at("14 Aug 2029 06.00"), earliest_s=at("2 May 2029 11.00"), latest_s=at("23 Nov 2029 02.00"),
)  # fmt: skip
LEVEL = replace(
    DRIFTING, drifts=False, at_s=None, earliest_s=None, latest_s=None, why="the slope may as well be nothing",
    share_per_year=Measured(0.01, -0.022, 0.05), span_s=30 * DAY_S,
)  # fmt: skip


def told(*outlooks: Outlook) -> list[str]:
    lines = outlook_lines.lines(outlooks, NOW_S, LONDON)
    return [re.sub(r"[\u202f\u00a0]", " ", line) for line in lines]


def surveyed(record: Record, share_per_year: float, days: int, noise: float = 0.004) -> Record:
    """A survey every night since the house was commissioned; 1000 µF then."""
    start_s = NOW_S - days * DAY_S
    record.commissioning_list.append(Commissioning(1, start_s, start_s, start_s + 60.0, 9, "Ann"))
    for day in range(days):
        wave = noise * ((day * 7919) % 13 - 6) / 6
        farad = 1e-3 * (1.0 + share_per_year * day * DAY_S / YEAR_S + wave)
        record.quantity_list.append(
            QuantityPoint("reservoir_f", start_s + day * DAY_S, Measured(farad, farad * 0.97, farad * 1.03))
        )
    return record


def test_a_drift_is_told_with_its_interval_its_limit_and_its_date() -> None:
    assert told(DRIFTING) == [
        "Reservoir: loses 4.1 % a year (3.0 to 5.2 %); reaches its limit of 880 µF (88 % of what it was when it was "
        "commissioned) between May and November 2029."
    ]


def test_what_meets_its_limit_first_stands_in_the_report_s_first_lines() -> None:
    assert outlook_lines.ahead([LEVEL, DRIFTING], NOW_S, LONDON).startswith("Reservoir: loses")
    assert outlook_lines.ahead([LEVEL, replace(DRIFTING, passed=True)], NOW_S, LONDON) == ""
    assert outlook_lines.ahead([], NOW_S, LONDON) == ""


@pytest.mark.parametrize(
    ("earliest", "latest", "said"),
    [
        ("2 May 2029 11.00", "30 May 2029 09.00", "in May 2029"),
        ("2 May 2028 11.00", "23 Nov 2031 02.00", "between May 2028 and November 2031"),
        ("2 Dec 2026 11.00", "9 Jan 2027 02.00", "between 2 December and 9 January 2027"),
        ("25 Nov 2026 18.20", "9 Jul 2027 02.00", "by July 2027"),
        ("2 May 2029 11.00", None, "in May 2029 at the earliest"),
        (
            "30 Apr 2029 23.30",
            "31 May 2029 23.59",
            "between April and May 2029",
        ),  # in summer time; it is April in UTC too
        (
            "30 Jun 2029 23.30",
            "1 Jul 2029 00.30",
            "between June and July 2029",
        ),  # half past midnight in London is June in UTC
    ],
)
def test_the_date_is_as_exact_as_its_interval(earliest: str, latest: str | None, said: str) -> None:
    one = replace(DRIFTING, earliest_s=at(earliest), latest_s=at(latest) if latest else None)
    assert told(one)[0].endswith(f"when it was commissioned) {said}.")


def test_what_has_no_date_says_why() -> None:
    undated = replace(DRIFTING, at_s=None, earliest_s=None, latest_s=None)
    assert told(replace(undated, why="it moves away from the limit")) == [
        "Reservoir: loses 4.1 % a year (3.0 to 5.2 %); moves away from its limit."
    ]
    assert told(replace(undated, why="beyond ten years"))[0].startswith(
        "Reservoir: loses 4.1 % a year (3.0 to 5.2 %); is more than ten years away from its limit of 880 µF"
    )
    assert told(replace(undated, why="no limit is known for it", limit=None)) == [
        "Reservoir: loses 4.1 % a year (3.0 to 5.2 %)."
    ]


def test_one_beyond_its_limit_says_since_when() -> None:
    passed = replace(DRIFTING, passed=True, at_s=at("3 Sep 2026 12.00"), latest_s=at("20 Sep 2026 12.00"))
    assert told(passed)[0].endswith(
        "is beyond its limit of 880 µF (88 % of what it was when it was commissioned) since about 3 September."
    )


def test_a_difference_is_told_in_its_unit() -> None:
    headroom = replace(DRIFTING, name="headroom_v", per_year=Measured(-0.42, -0.55, -0.3), share_per_year=None)
    assert told(headroom)[0].startswith("Headroom: loses 0.420 V a year (0.300 to 0.550 V); reaches")


def test_what_does_not_drift_is_told_together_with_what_could_hide() -> None:
    assert told(LEVEL, replace(LEVEL, name="source_ohm"), replace(LEVEL, name="ripple_v")) == [
        "No trend over 30 days: reservoir, resistance of transformer and wire and ripple.",
        "A loss of the reservoir of up to 2.2 % a year could hide in that.",
    ]


def test_a_change_at_once_is_told_and_what_it_is_too_early_for() -> None:
    changed = replace(
        LEVEL, readings=9, span_s=8 * DAY_S, value=4e-4, passed=True, per_year=None, share_per_year=None,
        why="it changed at once, and there is too little since", changed_s=at("17 Nov 2026 03.30"), changed_from=9.97e-4,
    )  # fmt: skip
    assert told(changed, replace(LEVEL, name="idle_a", why="too short a time", readings=9, span_s=8 * DAY_S)) == [
        "Reservoir: changed at once by 17 November, from 997 to 400 µF; is beyond its limit of 880 µF (88 % of what it was when "
        "it was commissioned).",
        "Too early for a trend: nine days with a survey, over 8 days. It takes eight at least, over three weeks.",
    ]


def test_the_sheet_tells_it_without_script_from_what_was_kept(opened: Opened) -> None:
    page = opened(surveyed(with_supply(usual_house(), days=1.0), -0.3, 90)).get(SUPPLY).text
    words = words_of(page)
    assert "The outlook" in words
    # 12 % at 30 % a year: 146 days after 27 August, the first of the surveys, which is 20 January
    assert re.search(
        r"Reservoir: loses (29|3\d).% a year \(.*?\); reaches its limit of 8\d\d.µF .*? between .*?(January|February).2027",
        words,
    )
    assert "<script>" not in page


def test_a_level_reservoir_has_no_trend(opened: Opened) -> None:
    words = words_of(opened(surveyed(with_supply(usual_house(), days=1.0), 0.0, 30)).get(SUPPLY).text)
    assert "No trend over 29 days: reservoir." in words


def test_readings_before_the_commissioning_that_counts_do_not_count(opened: Opened) -> None:
    record = surveyed(with_supply(usual_house(), days=1.0), -0.5, 60)
    record.commissioning_list.insert(
        0, Commissioning(2, NOW_S - 3 * DAY_S, NOW_S - 3 * DAY_S, NOW_S - 3 * DAY_S, 3, "Ann")
    )
    words = words_of(opened(record).get(SUPPLY).text)
    assert "Too early for a trend of reservoir: three days with a survey" in words


def test_without_a_survey_nothing_is_said_and_without_voltages_it_is(opened: Opened) -> None:
    assert "The outlook" not in words_of(opened(with_findings(with_supply(usual_house(), days=1.0))).get(SUPPLY).text)
    assert "The outlook" in words_of(opened(surveyed(usual_house(), -0.3, 90)).get(SUPPLY).text)
