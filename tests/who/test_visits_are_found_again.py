"""Promise: a visit is found again by a name, a note, a cadence or a door, whatever the case of its letters, and nothing else is."""

import pytest

from service.searching import MOST, search
from tests.builders import T0
from tests.who.conftest import House
from tests.who.test_cadences_are_taught_at_the_door import FAMILY, begin, lesson, teach
from tests.who.test_notes_and_names_on_a_visit import rebuild, say

SITE = "tern-cottage"


def found(house: House, words: str) -> list[float]:
    """When the visits began, in the chime's time."""
    return [round(visit.start_s - T0, 1) for visit in search(house.store.reader(), SITE, words, house.now_s).visits]


@pytest.fixture
def noted(rung: House) -> House:
    """Who rang at 100 and 300 s is said, and a note at 800 s."""
    first, second, _, garden = (visit["id"] for visit in rung.visits())
    say(rung, first, "Frau Krüger")
    say(rung, second, "the postman", "left a parcel next door")
    say(rung, garden, "", "PARCEL for Jürgen")
    return rung


@pytest.mark.parametrize(
    ("words", "begun"),
    [
        ("postman", [300.0]),
        ("POSTMAN", [300.0]),
        ("parcel", [800.0, 300.0]),  # newest first
        ("parcel door", [300.0]),  # every word, wherever
        ("parcel garden", [800.0]),  # one in the note, one the door
        ("krüger", [100.0]),
        ("KRÜGER", [100.0]),  # outside ASCII too, which SQLite alone would not fold
        ("JÜRGEN", [800.0]),
        ("garden", [800.0]),
        ("front", [500.0, 300.0, 100.0]),
        ("frau garden", []),
        ("nobody", []),
        ("%", []),  # means itself, as does
        ("_", []),
        ("   ", []),
        ("", []),
    ],
)
def test_every_word_is_said_somewhere(noted: House, words: str, begun: list[float]) -> None:
    assert found(noted, words) == begun


def test_what_was_said_is_found_after_a_rebuild_and_what_was_taken_back_is_not(noted: House) -> None:
    rebuild(noted)
    assert found(noted, "postman") == [300.0]
    say(noted, noted.visits()[1]["id"])
    assert found(noted, "postman") == []


def test_a_cadence_is_found_by_its_name(rung: House) -> None:
    begin(rung)
    teach(rung, 1000.0)
    assert lesson(rung)["kept"]
    rung.phrase(2000.0, *FAMILY)
    rung.ring((3000.0, 3000.3), (3008.0, 3008.2), (3016.0, 3016.2))
    assert found(rung, "Family") == [2000.0]
    assert found(rung, "family garden") == []


def test_a_program_finds_what_a_person_finds(noted: House) -> None:
    told = noted.get("/found", words="PARCEL")
    assert [(one["who"], one["note"]) for one in told["visits"]] == [
        (None, "PARCEL for Jürgen"),
        ("the postman", "left a parcel next door"),
    ]
    assert (told["more"], told["cadences_since"]) == (False, None)
    assert noted.get("/found", words=" ")["visits"] == []
    noted.get("/found", status=422)
    assert noted.client.get("/api/v1/sites/nowhere/found?words=parcel").status_code == 404


def test_the_newest_are_shown_where_there_are_many(house: House) -> None:
    for number in range(MOST + 2):
        house.ring((100.0 + 200.0 * number, 100.3 + 200.0 * number))
    told = search(house.store.reader(), SITE, "front", house.now_s)
    assert (len(told.visits), told.more) == (MOST, True)
    assert round(told.visits[-1].start_s - T0, 1) == 500.0
