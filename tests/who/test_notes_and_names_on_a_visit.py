"""Promise: what a person says of a visit is told with it from then on, outlives a rebuild, and never moves to another visit."""

import json
from typing import Any

import pytest

from adapters.sql.rebuilding import Rebuilding
from tests.who.conftest import API, House, contact


def say(house: House, visit: int, who: str = "", note: str = "", status: int = 200, **params: Any) -> dict[str, Any]:
    answer = house.client.put(f"{API}/visits/{visit}/note", json={"who": who, "note": note}, params=params)
    assert answer.status_code == status, answer.text
    told: dict[str, Any] = answer.json()
    return told


def said(house: House) -> list[tuple[str | None, str | None]]:
    return [(visit["who"], visit["note"]) for visit in house.visits()]


def rebuild(house: House) -> None:
    making = Rebuilding(f"sqlite:///{house.path / 'record.sqlite'}", house.path / "beside.sqlite", "bellcrank", True)
    while making.advance():
        pass
    assert making.exchange()
    making.close()


def test_who_and_note_are_told_with_the_visit_and_with_no_other(rung: House) -> None:
    second = rung.visits()[1]["id"]
    told = say(rung, second, "  the   postman ", "left it\nnext door")
    assert (told["who"], told["note"]) == ("the postman", "left it\nnext door")
    assert rung.get(f"/visits/{second}") == told
    assert said(rung) == [(None, None), ("the postman", "left it\nnext door"), (None, None), (None, None)]
    assert rung.visits(limit=2)[1] == told


def test_what_is_said_anew_takes_its_place_and_nothing_removes_it(rung: House) -> None:
    first = rung.visits()[0]["id"]
    say(rung, first, "the postman", "left it next door")
    say(rung, first, "Ann", by="Ben")
    assert said(rung)[0] == ("Ann", None)
    say(rung, first)
    assert said(rung)[0] == (None, None)


def test_a_visit_that_grows_keeps_its_note(rung: House) -> None:
    last = rung.visits()[-1]["id"]
    say(rung, last, "Ann")
    rung.ring((830.0, 830.3), door="garden")
    (grown,) = rung.visits(door="garden")
    assert (grown["id"], len(grown["presses"]), grown["who"]) == (last, 3, "Ann")


def test_where_two_visits_become_one_nothing_said_is_lost(rung: House) -> None:
    """A press 50 s after the one and before the other comes late: they were one visit."""
    rung.ring((1000.0, 1000.2))
    rung.ring((1100.0, 1100.2))
    early, late = (visit["id"] for visit in rung.visits(door="front")[-2:])
    say(rung, early, "the postman", "rang twice")
    rung.now_s += 1.0
    say(rung, late, "Ann")
    rung.take(*contact("front", [(1050.0, 1050.2)], 1200.0), up_s=1200.0)
    joined = rung.visits(door="front")[-1]
    assert (len(joined["presses"]), joined["who"], joined["note"]) == (3, "Ann", "rang twice")
    say(rung, joined["id"])
    assert said(rung)[-1] == (None, None)


@pytest.mark.parametrize(
    ("who", "note"),
    [("x" * 61, ""), ("", "x" * 1001), ("\x07", ""), ("Ann", "a bell: \x07"), ("\ud800", "")],
)
def test_what_is_too_long_or_not_printable_is_refused_and_nothing_changes(rung: House, who: str, note: str) -> None:
    first = rung.visits()[0]["id"]
    say(rung, first, "Ann")
    body = json.dumps({"who": who, "note": note})  # a lone surrogate goes as its escape
    answer = rung.client.put(f"{API}/visits/{first}/note", content=body, headers={"content-type": "application/json"})
    assert (answer.status_code, answer.headers["content-type"]) == (400, "application/problem+json")
    assert "printable characters" in answer.json()["detail"]
    assert said(rung)[0] == ("Ann", None)


def test_a_visit_that_is_not_in_the_record_has_no_note(rung: House) -> None:
    assert say(rung, 999, "Ann", status=404)["status"] == 404
    rung.get("/visits/999", status=404)
    assert rung.client.get(f"/api/v1/sites/elsewhere/visits/{rung.visits()[0]['id']}").status_code == 404


def test_where_no_pack_is_known_a_sentence_says_what_finds_it_out(rung: House) -> None:
    first = rung.visits()[0]["id"]
    with rung.store.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE press SET pack_id = NULL")  # as in a record of before
    assert "`bellcrank rebuild`" in say(rung, first, "Ann", status=400)["detail"]
    rebuild(rung)
    say(rung, rung.visits()[0]["id"], "Ann")
    assert said(rung)[0] == ("Ann", None)


def test_a_pack_that_tells_of_two_visits_stands_for_the_first(house: House) -> None:
    house.ring((100.0, 100.4), (500.0, 500.4))
    first, second = (visit["id"] for visit in house.visits())
    say(house, first, "Ann")
    assert said(house) == [("Ann", None), (None, None)]
    assert "earlier one" in say(house, second, "Ben", status=400)["detail"]
    house.ring((530.0, 530.2))  # another pack tells of the second visit, and stands for it
    say(house, second, "Ben")
    assert said(house) == [("Ann", None), ("Ben", None)]


def test_a_rebuild_keeps_what_was_said(rung: House) -> None:
    for number, visit in enumerate(rung.visits()):
        say(rung, visit["id"], f"caller {number}", f"note {number}")
    with rung.store.engine.begin() as connection:  # visits get other numbers
        connection.exec_driver_sql("UPDATE sqlite_sequence SET seq = 500 WHERE name = 'visit'")
        connection.exec_driver_sql("DELETE FROM press WHERE door_id = 1")
    before = [(f"caller {number}", f"note {number}") for number in range(4)]
    rebuild(rung)
    assert said(rung) == before
