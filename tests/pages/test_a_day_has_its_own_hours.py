"""A day's sheet runs from midnight to midnight in its own zone: 23 or 25 hours where the clocks change.

Changes of clocks: Europe/London, 29 March and 25 October 2026 at 01.00 UTC (IANA time zone database, by way of zoneinfo).
"""

from datetime import date
from zoneinfo import ZoneInfo

import pytest

from dashboard.house import day_stretch, hours_of
from service.presses.blind import covered_s
from tests.pages.conftest import Opened
from tests.pages.reading import headline, lead, words_of
from tests.pages.tern_cottage import LONDON, at, usual_house


@pytest.mark.parametrize(
    ("day", "hours"), [(date(2026, 3, 29), 23), (date(2026, 10, 25), 25), (date(2026, 11, 25), 24)]
)
def test_a_day_is_as_long_as_it_is(day: date, hours: int) -> None:
    start_s, end_s = day_stretch(day, LONDON)
    assert (end_s - start_s) / 3600 == hours
    assert len(hours_of(start_s, end_s, LONDON)) == hours + 1


def test_an_hour_is_named_twice_when_the_clocks_go_back_and_missing_when_they_go_forward() -> None:
    back = [name for _, name in hours_of(*day_stretch(date(2026, 10, 25), LONDON), LONDON)]
    forward = [name for _, name in hours_of(*day_stretch(date(2026, 3, 29), LONDON), LONDON)]
    assert back[:4] == ["00", "01", "01", "02"]
    assert forward[:3] == ["00", "02", "03"]
    assert back[-1] == forward[-1] == "24"


def test_zones_off_the_hour_have_their_own_hours() -> None:
    kathmandu = ZoneInfo("Asia/Kathmandu")  # UTC+05:45
    assert len(hours_of(*day_stretch(date(2026, 11, 25), kathmandu), kathmandu)) == 25


def test_the_sheet_of_a_long_day_says_so(opened: Opened) -> None:
    record = usual_house()
    record.rang("front", "25 Oct 2026 09.00")
    page = opened(record).get("/house/tern-cottage/day/2026-10-25").text
    assert headline(page) == "One visit on this day."
    assert "This day has 25 hours, because the clocks changed." in lead(page)
    assert "09.00 Front door" in words_of(page)


def test_a_row_of_a_long_day_says_so(opened: Opened) -> None:
    page = opened(usual_house(), now_s=at("26 Oct 2026 18.00")).get("/").text
    assert "no visit, no blind time, 25 hours, the clocks went back." in words_of(page)


def test_a_day_links_to_the_days_beside_it_but_not_to_tomorrow(opened: Opened) -> None:
    client = opened(usual_house())
    page = client.get("/house/tern-cottage/day/2026-11-21").text
    assert "/house/tern-cottage/day/2026-11-20" in page
    assert "/house/tern-cottage/day/2026-11-22" in page
    assert "/house/tern-cottage/day/2026-11-26" not in client.get("/house/tern-cottage/day/2026-11-25").text


def test_a_day_before_the_first_pack_was_not_listened_to(opened: Opened) -> None:
    page = opened(usual_house()).get("/house/tern-cottage/day/2020-01-01").text
    assert headline(page) == "Nothing was recorded on this day."
    assert lead(page) == "Nobody was listening."


@pytest.mark.parametrize("day", ["yesterday", "2026-02-30", "0000-01-01", "9999-12-31", "20261125T"])
def test_what_is_no_day_is_no_sheet(opened: Opened, day: str) -> None:
    answer = opened(usual_house()).get(f"/house/tern-cottage/day/{day}")
    assert answer.status_code in (200, 404)
    assert words_of(answer.text)


def test_each_moment_counts_once() -> None:
    # by hand: 2..12 and 20..25
    assert covered_s([(0, 10), (5, 12), (20, 30)], 2, 25) == 15
    assert covered_s([], 0, 10) == 0
    assert covered_s([(5, 5), (9, 3)], 0, 10) == 0
