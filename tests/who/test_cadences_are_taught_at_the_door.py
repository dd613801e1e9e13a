"""Promise: three examples at the door teach a cadence, in a lesson that says how it stands; visits that begin later show it."""

from typing import Any

import pytest

from tests.builders import T0
from tests.who.conftest import API, House
from tests.who.test_notes_and_names_on_a_visit import rebuild

FAMILY = ((0.2, 0.2, 0.9), (0.3, 0.3))
"""Short, short, long. [s]"""


@pytest.fixture
def ready(house: House) -> House:
    """Its doors have been heard."""
    house.ring((20.0, 20.3))
    house.ring((22.0, 22.3), door="garden")
    return house


def begin(house: House, name: str = "family", door: str = "front", status: int = 201) -> dict[str, Any]:
    answer = house.client.post(
        f"{API}/cadences", json={"name": name, "chime": "hall", "door": door}, params={"by": "Ann"}
    )
    assert answer.status_code == status, answer.text
    told: dict[str, Any] = answer.json()
    return told


def lesson(house: House) -> dict[str, Any]:
    told: dict[str, Any] = house.get("/cadences")["lesson"]
    return told


def teach(house: House, at_s: float = 200.0, scatter: float = 0.0) -> None:
    """Three examples, eight seconds apart, and a moment after them."""
    for number in range(3):
        stretched = [tuple(value * (1.0 + scatter * (number - 1)) for value in part) for part in FAMILY]
        house.phrase(at_s + 8.0 * number, *stretched)
    house.now_s += 4.0


def test_a_lesson_says_how_it_stands_until_the_third_example(ready: House) -> None:
    told = begin(ready)["lesson"]
    assert (told["stage"], told["examples"], told["kept"], told["refused"]) == ("listening", [], False, None)
    for number in range(3):
        ready.phrase(200.0 + 8.0 * number, *FAMILY)
        if number < 2:
            ready.now_s += 4.0
            assert len(lesson(ready)["examples"]) == number + 1
    # T0 is 10:00 UTC, 11:00 in London; the lesson began 22.45 s later and takes ten minutes
    assert "Two examples of three heard." in lesson(ready)["told"]
    assert "before 11:10" in lesson(ready)["told"]
    ready.now_s += 4.0
    told = lesson(ready)
    assert (told["stage"], told["kept"], len(told["examples"])) == ("heard", True, 3)
    (kept,) = ready.get("/cadences")["cadences"]
    assert (kept["name"], kept["by"]) == ("family", "Ann")
    assert kept["holds_s"] == pytest.approx([0.22, 0.22, 0.92], abs=0.001)  # a cycle of the mains is put back
    assert kept["gaps_s"] == pytest.approx([0.28, 0.28], abs=0.001)
    # issue: at least 95 % recognised, at most 0.1 % of other visits mistaken
    assert kept["recognised"] >= 0.95
    assert kept["mistaken"] <= 0.001
    assert "of 1,000 of your own" in kept["told"]


def test_visits_that_begin_later_show_it_at_any_door_and_earlier_ones_do_not(ready: House) -> None:
    ready.phrase(100.0, *FAMILY)
    begin(ready)
    teach(ready)
    assert lesson(ready)["kept"]
    ready.phrase(400.0, *FAMILY)
    ready.phrase(500.0, *FAMILY, door="garden")
    ready.ring((600.0, 600.9))
    ready.ring((700.0, 700.2), (700.5, 700.7))
    shown = [visit["cadence"] for visit in ready.visits(start="2026-09-14T10:01:00Z")]
    assert shown == [None, None, "family", "family", None, None]
    (visit,) = [one for one in ready.visits() if one["door"] == "garden" and one["cadence"]]
    assert ready.get(f"/visits/{visit['id']}")["cadence"] == "family"


def test_a_press_looks_at_the_lesson_a_while_later_so_that_nobody_need_ask(ready: House) -> None:
    assert ready.later == []
    begin(ready)
    teach(ready)
    assert [after_s for after_s, _ in ready.later] == [4.0] * len(ready.later)
    assert len(ready.later) >= 3
    for _, action in ready.later:
        action()
    assert [one.cadence.name for one in ready.store.reader().cadences("tern-cottage")] == ["family"]
    ready.later.clear()
    ready.ring((400.0, 400.3))
    assert ready.later == []


def test_examples_that_teach_nothing_are_refused_in_a_sentence_and_a_new_lesson_may_begin(ready: House) -> None:
    begin(ready)
    for number in range(3):
        ready.phrase(200.0 + 8.0 * number, (0.2,) * (2 + number), (0.3,) * (1 + number))
    ready.now_s += 4.0
    told = lesson(ready)
    assert told["refused"] == "The examples have 2, 3 and 4 presses: each must have as many."
    assert (told["kept"], told["told"]) == (False, told["refused"])
    assert ready.get("/cadences")["cadences"] == []
    begin(ready)
    teach(ready, 300.0)
    assert lesson(ready)["kept"]


def test_a_forgotten_lesson_learns_nothing(ready: House) -> None:
    begin(ready)
    ready.phrase(200.0, *FAMILY)
    ready.now_s = T0 + 700.0
    told = lesson(ready)
    assert (told["stage"], told["told"]) == (
        "expired",
        "The lesson ended after 10 minutes with one example of three; nothing was taught.",
    )
    teach(ready, 700.0)
    assert ready.get("/cadences")["cadences"] == []


def test_only_its_own_door_counts(ready: House) -> None:
    begin(ready, door="garden")
    teach(ready)
    assert lesson(ready)["examples"] == []


def test_the_same_name_again_replaces_it_and_another_like_it_is_refused(ready: House) -> None:
    begin(ready)
    teach(ready)
    assert lesson(ready)["kept"]
    begin(ready, "Ben")
    teach(ready, 300.0)
    assert lesson(ready)["refused"].startswith("Too close to family")
    begin(ready)
    teach(ready, 400.0, scatter=0.03)
    assert lesson(ready)["kept"]
    assert len(ready.get("/cadences")["cadences"]) == 1


def test_a_cadence_is_forgotten_with_its_lesson(ready: House) -> None:
    begin(ready)
    teach(ready)
    assert lesson(ready)["kept"]
    ready.phrase(400.0, *FAMILY)
    assert ready.visits()[-1]["cadence"] == "family"
    assert ready.client.delete(f"{API}/cadences/family").json() == {"cadences": [], "lesson": None}
    assert ready.visits()[-1]["cadence"] is None
    assert ready.client.delete(f"{API}/cadences/family").status_code == 404


def test_a_lesson_is_begun_at_a_door_that_was_heard_and_under_a_name(ready: House) -> None:
    begin(ready, door="side", status=404)
    begin(ready, name=" ", status=400)
    assert ready.get("/cadences") == {"cadences": [], "lesson": None}


def test_a_rebuild_keeps_cadences_and_what_shows_them(ready: House) -> None:
    begin(ready)
    teach(ready)
    assert lesson(ready)["kept"]
    ready.phrase(400.0, *FAMILY)
    before = [(visit["start"], visit["cadence"]) for visit in ready.visits()]
    taught = ready.store.reader().cadences("tern-cottage")
    assert "family" in [cadence for _, cadence in before]
    rebuild(ready)
    assert [(visit["start"], visit["cadence"]) for visit in ready.visits()] == before
    assert ready.store.reader().cadences("tern-cottage") == taught
