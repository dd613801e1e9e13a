"""Promise: a person's calendar says when that person is away, so does a word by hand; it goes out again as a calendar."""

from typing import Any

import pytest
from icalendar import Calendar

from tests.builders import T0
from tests.who.conftest import API, House

ICS = {"content-type": "text/calendar"}
DAY_S = 86_400.0


def calendar(*events: str) -> str:
    told = "\r\n".join(f"BEGIN:VEVENT\r\nDTSTAMP:20260901T000000Z\r\n{event}\r\nEND:VEVENT" for event in events)
    return f"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Tern Cottage (invented)//EN\r\n{told}\r\nEND:VCALENDAR\r\n"


SEASIDE = "UID:seaside\r\nSUMMARY:At the seaside\r\nDTSTART;VALUE=DATE:20260920\r\nDTEND;VALUE=DATE:20260923"
WORK = (
    "UID:work\r\nSUMMARY:Work\r\nDTSTART;TZID=Europe/London:20260914T090000\r\n"
    "DTEND;TZID=Europe/London:20260914T170000\r\nRRULE:FREQ=WEEKLY;BYDAY=MO,TU;COUNT=4"
)


def put(house: House, content: str, person: str = "Ann", status: int = 200, **headers: str) -> dict[str, Any]:
    answer = house.client.put(f"{API}/away/{person}", content=content, headers=ICS | headers)
    assert answer.status_code == status, answer.text
    told: dict[str, Any] = answer.json()
    return told


def stretches(told: dict[str, Any]) -> list[tuple[str, str, str]]:
    return [(one["uid"], one["start"][:16], one["end"][:16]) for one in told["away"]]


def test_a_calendar_is_read_in_the_zone_of_the_site_and_told_again(rung: House) -> None:
    told = put(rung, calendar(SEASIDE, WORK))
    # London is one hour before UTC in September: a whole day begins at 23:00 UTC, work at 08:00
    assert stretches(told) == [
        ("work", "2026-09-14T08:00", "2026-09-14T16:00"),
        ("work", "2026-09-15T08:00", "2026-09-15T16:00"),
        ("seaside", "2026-09-19T23:00", "2026-09-22T23:00"),
        ("work", "2026-09-21T08:00", "2026-09-21T16:00"),
        ("work", "2026-09-22T08:00", "2026-09-22T16:00"),
    ]
    assert rung.get("/away/Ann") == told
    assert rung.get("/away/Ben")["away"] == []
    part = rung.get("/away/Ann", start="2026-09-15T12:00:00Z", end="2026-09-20T00:00:00Z")
    assert [one["uid"] for one in part["away"]] == ["work", "seaside"]


def test_the_next_calendar_takes_the_place_of_the_one_before_but_of_nobody_elses(rung: House) -> None:
    put(rung, calendar(WORK))
    put(rung, calendar(SEASIDE), person="Ben")
    assert [one["uid"] for one in put(rung, calendar(SEASIDE))["away"]] == ["seaside"]
    assert put(rung, calendar())["away"] == []
    assert len(rung.get("/away/Ben")["away"]) == 1


def test_an_absence_can_be_said_by_hand_twice_and_is_one(rung: House) -> None:
    wish = {"start": "2026-09-14T18:00:00+01:00", "end": "2026-09-14T20:00:00+01:00", "summary": "Dinner"}
    for _ in range(2):
        answer = rung.client.post(f"{API}/away/Ann", json=wish)
        assert answer.status_code == 201
    (one,) = answer.json()["away"]
    assert (one["summary"], one["start"][:16], one["end"][:16]) == ("Dinner", "2026-09-14T17:00", "2026-09-14T19:00")
    put(rung, calendar(SEASIDE))
    assert [one["uid"] for one in rung.get("/away/Ann")["away"]] == ["seaside"]


@pytest.mark.parametrize(
    ("start", "end"),
    [
        ("2026-09-14T20:00:00Z", "2026-09-14T20:00:00Z"),
        ("2020-09-14T20:00:00Z", "2020-09-15T20:00:00Z"),
        ("2026-09-14T20:00:00Z", "2036-09-14T20:00:00Z"),
    ],
)
def test_an_absence_that_cannot_be_is_refused(rung: House, start: str, end: str) -> None:
    answer = rung.client.post(f"{API}/away/Ann", json={"start": start, "end": end})
    assert (answer.status_code, answer.json()["detail"][:10]) == (400, "An absence")
    assert rung.get("/away/Ann")["away"] == []


def test_an_absence_goes_with_all_its_recurrences(rung: House) -> None:
    put(rung, calendar(SEASIDE, WORK.replace("UID:work", "UID:a/b@tern.example")))
    left = rung.client.delete(f"{API}/away/Ann/a/b@tern.example")
    assert [one["uid"] for one in left.json()["away"]] == ["seaside"]
    assert rung.client.delete(f"{API}/away/Ann/a/b@tern.example").status_code == 404
    assert rung.client.delete(f"{API}/away/Ben/seaside").status_code == 404


def test_it_goes_out_as_a_calendar_that_the_library_reads_alike(rung: House) -> None:
    put(rung, calendar(SEASIDE, WORK))
    answer = rung.client.get(f"{API}/away/Ann", headers={"accept": "text/calendar"})
    assert answer.headers["content-type"].startswith("text/calendar")
    # icalendar, an open reference library for RFC 5545
    events = Calendar.from_ical(answer.content).walk("VEVENT")
    told = [(str(one["SUMMARY"]), one.decoded("DTSTART").isoformat()[:16]) for one in events]
    assert told == [(one["summary"], one["start"][:16]) for one in rung.get("/away/Ann")["away"]]


def test_what_is_no_calendar_is_refused_and_nothing_changes(rung: House) -> None:
    before = put(rung, calendar(SEASIDE))
    assert put(rung, "not a calendar", status=400)["title"] == "Bad Request"
    hourly = "UID:x\r\nDTSTART:20260914T090000Z\r\nDTEND:20260914T091000Z\r\nRRULE:FREQ=HOURLY"
    assert "daily is the most often" in put(rung, calendar(hourly), status=400)["detail"]
    assert put(rung, "{}", status=415, **{"content-type": "application/json"})["status"] == 415
    assert put(rung, " " * ((1 << 20) + 1), status=413)["status"] == 413
    assert put(rung, calendar(SEASIDE), person="x" * 61, status=400)["status"] == 400
    assert rung.client.put("/api/v1/sites/elsewhere/away/Ann", content=calendar(), headers=ICS).status_code == 404
    assert rung.get("/away/Ann") == before


def test_what_lies_before_the_last_year_stays(rung: House) -> None:
    put(rung, calendar(SEASIDE))
    rung.now_s = T0 + 500 * DAY_S
    assert put(rung, calendar(WORK.replace("COUNT=4", "COUNT=200")))["away"]
    old = rung.get("/away/Ann", start="2026-09-01T00:00:00Z", end="2026-10-01T00:00:00Z")
    assert [one["uid"] for one in old["away"]] == ["seaside"]
