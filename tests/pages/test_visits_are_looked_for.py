"""Promise: whoever looks for somebody finds the visits by day, or is told in a sentence why there are none. Times are invented."""

from tests.pages.conftest import Opened
from tests.pages.reading import headline, lead, words_of
from tests.pages.tern_cottage import empty_house

FOUND = "/house/tern-cottage/found"


def test_the_doorstep_leads_there(opened: Opened) -> None:
    page = opened(empty_house()).get("/").text
    assert f'role="search" method="get" action="{FOUND}"' in page


def test_visits_are_listed_newest_first_under_their_days(opened: Opened) -> None:
    record = empty_house()
    record.rang("front", "24 Nov 2025 09.00")
    record.rang("front", "24 Nov 2026 09.00")
    record.rang("garden", "25 Nov 2026 10.00")
    record.notes = {1: ("the postman", None), 2: (None, "the Postman again"), 3: ("Ann", None)}
    page = opened(record).get(FOUND, params={"words": "postman"}).text
    assert headline(page) == "Two visits have “postman”."
    told = words_of(page)
    assert "Tuesday 24 November 09.00 Front door One press. The chime answered. Noted: the Postman again." in told
    assert told.index("Tuesday 24 November 09.00") < told.index("Monday 24 November 2025 09.00")
    assert "Ann" not in told


def test_what_is_not_found_is_said_and_nothing_is_taken_for_markup(opened: Opened) -> None:
    page = opened(empty_house()).get(FOUND, params={"words": "<b>nobody</b>"}).text
    assert headline(page) == "Nothing is said of “&lt;b&gt;nobody&lt;/b&gt;”."
    assert lead(page) == "Names, notes, cadences and doors are looked through, whatever their capitals."


def test_nothing_asked_is_a_blank_to_fill_in(opened: Opened) -> None:
    page = opened(empty_house()).get(FOUND).text
    assert headline(page) == "What is to be looked for?"
    assert 'name="words" value=""' in page


def test_too_long_a_wish_is_a_sentence(opened: Opened) -> None:
    answer = opened(empty_house()).get(FOUND, params={"words": "x" * 81})
    assert answer.status_code == 400
    assert "longer than it may be" in answer.text
