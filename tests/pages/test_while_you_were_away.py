"""On top of the Doorstep stands what one asks about: since the last look, the last absence by calendar, or between two times.

In one sentence, with what the record cannot know. The cookie `name` says whose absences count on this device. Times are London time.
"""

import pytest
from fastapi.testclient import TestClient

from service.presses.away import Away
from tests.pages.conftest import Opened
from tests.pages.reading import headline, lead, words_of
from tests.pages.tern_cottage import Record, at, usual_house


def away(record: Record, start: str, end: str, summary: str = "", uid: str = "one") -> Record:
    record.away_list.append(("Ann", Away(uid, summary, at(start), at(end))))
    return record


def as_ann(client: TestClient) -> TestClient:
    client.cookies.set("name", "Ann")
    return client


def test_an_absence_that_began_after_the_last_look_is_answered_first(opened: Opened) -> None:
    record = away(usual_house(), "25 Nov 2026 09.00", "25 Nov 2026 17.00")
    page = as_ann(opened(record)).get("/").text
    assert headline(page) == "Two visits while you were away; the record is complete but for 11.08 to 13.00."
    # 112 of 480 min, or one in 4.3
    assert lead(page) == (
        "From 09.00 to 17.00, by your calendar. One more press is doubtful. "
        "For 1 h 52 min, about one hour in four, nothing could be recorded, because the chime was without power."
    )


def test_one_who_has_looked_meanwhile_is_told_what_has_come_since(opened: Opened) -> None:
    record = away(usual_house(), "25 Nov 2026 07.00", "25 Nov 2026 17.00")  # the last look was at 07.52
    client = as_ann(opened(record))
    assert headline(client.get("/").text) == "Two visits since you last looked."
    assert headline(client.get("/?since=away").text).startswith("Two visits while you were away; ")


def test_the_last_look_can_be_asked_for(opened: Opened) -> None:
    record = away(usual_house(), "25 Nov 2026 09.00", "25 Nov 2026 17.00")
    page = as_ann(opened(record)).get("/?since=look").text
    assert headline(page) == "Two visits since you last looked."


def test_somebody_elses_absence_does_not_count(opened: Opened) -> None:
    record = away(usual_house(), "25 Nov 2026 09.00", "25 Nov 2026 17.00")
    assert headline(opened(record).get("/").text) == "Two visits since you last looked."
    assert "While you were away" not in words_of(opened(record).get("/").text)


def test_an_absence_that_lasts_is_told_until_now(opened: Opened) -> None:
    record = away(usual_house(), "25 Nov 2026 14.00", "27 Nov 2026 17.00")
    page = as_ann(opened(record)).get("/").text
    # the chime sounded alone at 17.32, so the record has no gap and is yet not complete
    assert headline(page) == "One visit while you were away; the record has no gap."
    assert lead(page).startswith("From 14.00 until now, by your calendar. One more press is doubtful, and once the")


def test_an_absence_of_other_days_lists_what_happened(opened: Opened) -> None:
    record = away(usual_house(), "20 Nov 2026 07.00", "22 Nov 2026 18.00")
    page = as_ann(opened(record)).get("/?since=away").text
    assert headline(page) == (
        "Nine visits while you were away; the record is complete but for 02.00 to 03.10 on 22 November."
    )
    said = words_of(page)
    assert "In that time Friday 20 November 07.50 Front door One press. The chime answered." in said
    assert "12.34 Front, doubtful One contact of 20 ms" in said
    assert "Saturday 21 November 09.04 Front door Two presses. The chime answered both. 10.25 Front door" in said


def test_a_long_list_says_how_many_are_left_out(opened: Opened) -> None:
    record = usual_house()
    for minute in range(0, 60, 2):
        record.rang("front", f"10 Nov 2026 10.{minute:02d}")
        record.rang("front", f"10 Nov 2026 12.{minute:02d}")
    page = opened(record).get("/?start=2026-11-10T10:00&end=2026-11-22T18:00").text
    # 60 and twelve more since 19 November, of which sixty are listed; a doubtful contact is no visit
    assert headline(page).startswith("71 visits in that time; ")
    assert (
        "In that time Twelve earlier entries stand on the sheets of their days. Tuesday 10 November 10.24 Front door"
        in words_of(page)
    )


def test_a_gap_is_told_to_the_full_minute_that_has_it_behind(opened: Opened) -> None:
    record = usual_house()
    record.blind("24 Nov 2026 14.02.50", "24 Nov 2026 14.30.10")
    record.blind("24 Nov 2026 14.50.05", "24 Nov 2026 14.50.35")
    page = opened(record).get("/?start=2026-11-24T12:00&end=2026-11-24T15:00").text
    assert headline(page) == (
        "One visit in that time; the record is complete but for 14.02 to 14.31 yesterday and 30 s at 14.50 yesterday."
    )


def test_two_times_can_be_asked_for_and_stand_in_the_form(opened: Opened) -> None:
    page = opened(usual_house()).get("/house/tern-cottage?start=2026-11-24T12:00&end=2026-11-24T18:00").text
    assert headline(page) == "Two visits in that time; the record is complete."
    assert lead(page) == "From 12.00 to 18.00 yesterday."
    assert 'name="start" value="2026-11-24T12:00"' in page
    assert 'name="end" value="2026-11-24T18:00"' in page


def test_nobody_is_said_as_far_as_it_is_known(opened: Opened) -> None:
    client = opened(usual_house())
    assert headline(client.get("/?start=2026-11-24T00:00&end=2026-11-24T06:00").text) == (
        "Nobody rang in that time; the record is complete."
    )
    assert headline(client.get("/?start=2026-11-22T00:00&end=2026-11-22T06:00").text) == (
        "Nobody is known to have rung in that time; the record is complete but for 02.00 to 03.10 on 22 November."
    )
    assert headline(client.get("/?start=2026-11-22T02:10&end=2026-11-22T02:50").text) == (
        "Nobody is known to have rung in that time; nothing could be recorded in all that time."
    )


def test_a_stretch_before_the_record_begins_is_not_taken_for_an_empty_one(opened: Opened) -> None:
    client = opened(usual_house())  # first heard on 12 March at 09.00
    assert headline(client.get("/?start=2026-03-01T00:00&end=2026-03-02T00:00").text) == (
        "Nobody is known to have rung in that time; the record begins only at 09.00 on 12 March."
    )
    assert headline(client.get("/?start=2026-03-11T00:00&end=2026-03-13T00:00").text) == (
        "Nobody is known to have rung in that time; the record has no gap, and begins only at 09.00 on 12 March."
    )


def test_many_gaps_are_counted(opened: Opened) -> None:
    record = usual_house()
    for hour in (2, 4, 6):
        record.blind(f"24 Nov 2026 0{hour}.00", f"24 Nov 2026 0{hour}.20")
    page = opened(record).get("/?start=2026-11-24T00:00&end=2026-11-24T12:00").text
    assert headline(page) == "Two visits in that time; the record is complete but for 1 h in three stretches."


@pytest.mark.parametrize(
    ("query", "told"),
    [
        ("start=yesterday&end=2026-11-24T06:00", "“yesterday” is no time such as 2026-11-25T09:00."),
        ("start=2026-11-24T06:00&end=2026-11-24T05:00", "A stretch begins before now, and before it ends."),
        ("start=2027-01-01T06:00&end=2027-01-02T05:00", "A stretch begins before now, and before it ends."),
        ("end=2026-11-24T06:00", "“” is no time such as 2026-11-25T09:00."),
    ],
)
def test_what_is_no_stretch_is_told_above_the_usual_answer(opened: Opened, query: str, told: str) -> None:
    record = usual_house()
    record.looks["tern-cottage", "anybody"] = at("24 Nov 2026 12.00")
    answer = opened(record).get(f"/?{query}")
    assert answer.status_code == 200
    assert told in words_of(answer.text)
    assert headline(answer.text) == "Four visits since you last looked."


@pytest.mark.parametrize("name", ["", "%00", "%FF%FE", "A" * 200, "\x7f"])
def test_a_forged_name_is_nobody(opened: Opened, name: str) -> None:
    answer = opened(usual_house()).get("/", headers={"cookie": f"name={name}"})
    assert headline(answer.text) == "Two visits since you last looked."
