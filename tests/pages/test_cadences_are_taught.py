"""A cadence is taught from the sheet about callers: begin a lesson, press three times, and see it kept or refused in words.

The lesson is the service's own; presses are invented, of a hand that holds 0.2, 0.2 and 0.9 s with pauses of 0.35 s.
"""

from fastapi.testclient import TestClient

from service import model
from tests.pages.conftest import Opened
from tests.pages.lists import CHIME, SITE
from tests.pages.reading import words_of
from tests.pages.tern_cottage import NOW_S, Record, empty_house

PATH = "/house/tern-cottage/callers"
FAMILY = (0.2, 0.2, 0.9)


def phrase(record: Record, after_s: float, holds_s: tuple[float, ...] = FAMILY, pause_s: float = 0.35) -> None:
    """Somebody presses at the garden door, so long after the lesson began."""
    record.visit_count += 1
    at_s = NOW_S + after_s
    for hold_s in holds_s:
        number = len(record.press_list) + 1
        record.press_list.append(
            model.Press(
                number,
                record.visit_count,
                SITE,
                CHIME,
                "garden",
                at_s,
                at_s + hold_s,
                0.01,
                "edges",
                10,
                0,
                False,
                "sure",
            )
        )
        at_s += hold_s + pause_s


def begun(opened: Opened) -> tuple[Record, TestClient]:
    record = empty_house("12 Mar 2026 09.00")
    client = opened(record)
    answer = client.post(
        "/house/tern-cottage/cadences", data={"name": "family", "where": "hall/garden"}, follow_redirects=False
    )
    assert (answer.status_code, answer.headers["location"]) == (303, f"{PATH}?done=begun#cadences")
    return record, client


def after(record: Record, seconds: float) -> None:
    record.clock = lambda: NOW_S + seconds


def test_without_any_the_sheet_says_what_a_cadence_is_and_how_to_teach_one(opened: Opened) -> None:
    page = opened(empty_house()).get(PATH).text
    assert "None yet. Whoever lives here can agree on a way of pressing" in words_of(page)
    assert '<details id="teach" open>' in page
    assert 'value="hall/garden"' in page


def test_a_lesson_tells_how_it_stands_and_is_looked_at_again(opened: Opened) -> None:
    record, client = begun(opened)
    page = client.get(PATH).text
    assert (
        "Lesson: “family”, at the garden door No example of three heard. Press it the same way three times"
        in words_of(page)
    )
    assert "The door listens until 18.30." in words_of(page)
    assert 'data-again="2"' in page
    assert page.count('<p class="blank">') == 3
    phrase(record, 5.0)
    after(record, 12.0)
    page = client.get(PATH).text
    assert "One example of three heard. Press it the same way again" in words_of(page)
    assert page.count('<p class="blank">') == 2
    assert page.count('class="held"') == 3


def test_three_alike_are_taught_and_drawn(opened: Opened) -> None:
    record, client = begun(opened)
    for n in range(3):
        phrase(record, 5.0 + 10 * n)
    after(record, 40.0)
    page = client.get(PATH).text
    said = words_of(page)
    assert "“family” is taught. From now on it is recognised." in said
    assert "Three presses, held for 0.2 s, 0.2 s and 0.9 s." in said
    assert "Taught by somebody" in said
    assert "data-again" not in page
    assert [one.cadence.name for one in record.cadence_list] == ["family"]


def test_who_taught_it_is_who_reads(opened: Opened) -> None:
    record = empty_house("12 Mar 2026 09.00")
    client = opened(record)
    client.cookies.set("name", "Ann")
    client.post("/house/tern-cottage/cadences", data={"name": "family", "where": "hall/garden"})
    for n in range(3):
        phrase(record, 5.0 + 10 * n)
    after(record, 40.0)
    assert "Taught by Ann" in words_of(client.get(PATH).text)


def test_unlike_ones_are_refused_in_words(opened: Opened) -> None:
    record, client = begun(opened)
    phrase(record, 5.0)
    phrase(record, 15.0)
    phrase(record, 25.0, (0.2, 0.2, 0.2, 0.9))
    after(record, 40.0)
    said = words_of(client.get(PATH).text)
    assert (
        "The examples have 3, 3 and 4 presses: each must have as many. Nothing was taught; begin the lesson again."
        in said
    )
    assert record.cadence_list == []


def test_a_lesson_that_nobody_takes_ends_by_itself(opened: Opened) -> None:
    record, client = begun(opened)
    phrase(record, 5.0)
    after(record, 700.0)
    assert "The lesson ended after 10 minutes with one example of three. Nothing was taught." in words_of(
        client.get(PATH).text
    )


def test_one_can_be_forgotten(opened: Opened) -> None:
    record, client = begun(opened)
    for n in range(3):
        phrase(record, 5.0 + 10 * n)
    after(record, 40.0)
    client.get(PATH)
    page = client.post("/house/tern-cottage/cadences/forget", data={"name": "family"}).text
    assert "The cadence is forgotten." in words_of(page)
    assert record.cadence_list == []
    assert client.post("/house/tern-cottage/cadences/forget", data={"name": "family"}).status_code == 404


def test_a_lesson_without_a_fit_name_is_refused_on_the_sheet(opened: Opened) -> None:
    answer = opened(empty_house()).post("/house/tern-cottage/cadences", data={"name": " ", "where": "hall/front"})
    assert answer.status_code == 400
    assert "A name has 1 to 60 printable characters." in words_of(answer.text)


def test_a_door_that_was_never_heard_is_no_classroom(opened: Opened) -> None:
    answer = opened(empty_house()).post("/house/tern-cottage/cadences", data={"name": "family", "where": "hall/attic"})
    assert answer.status_code == 404
