"""Times away are handed in as a calendar, added by hand and taken away; each past one says who rang meanwhile.

The calendar is one of RFC 5545, section 3.6.1 (whole days: DTEND is not of them), invented. Times are London time.
"""

import pytest
from fastapi.testclient import TestClient

from dashboard.sheets import FORM_LIMIT
from service.presses.away import Away
from tests.pages.conftest import Opened
from tests.pages.reading import words_of
from tests.pages.tern_cottage import Record, at, usual_house

PATH = "/house/tern-cottage/callers"
ICS = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//Tern Cottage (invented)//EN
BEGIN:VEVENT
UID:seaside@tern-cottage.example
DTSTAMP:20261101T120000Z
DTSTART;VALUE=DATE:20261220
DTEND;VALUE=DATE:20261228
SUMMARY:At the seaside
END:VEVENT
BEGIN:VEVENT
UID:choir@tern-cottage.example
DTSTAMP:20261101T120000Z
DTSTART:20261202T190000Z
DTEND:20261202T210000Z
RRULE:FREQ=WEEKLY;COUNT=3
SUMMARY:Choir
END:VEVENT
END:VCALENDAR
""".replace("\n", "\r\n")


def ann(opened: Opened, record: Record) -> TestClient:
    client = opened(record)
    client.post("/house/tern-cottage/away/name", data={"name": "Ann"})
    return client


def test_first_one_says_a_name_which_stays_on_the_device(opened: Opened) -> None:
    client = opened(usual_house())
    assert "Say who you are, and the Doorstep answers who rang while you were away." in words_of(client.get(PATH).text)
    answer = client.post("/house/tern-cottage/away/name", data={"name": "  Ann  Wren "}, follow_redirects=False)
    assert answer.status_code == 303
    assert "name=Ann%20Wren;" in answer.headers["set-cookie"]
    assert "HttpOnly" in answer.headers["set-cookie"]
    assert "Times away of Ann Wren" in words_of(client.get(PATH).text)


def test_a_name_can_be_put_off(opened: Opened) -> None:
    client = ann(opened, usual_house())
    client.post("/house/tern-cottage/away/name", data={"name": ""})
    assert "Say who you are" in words_of(client.get(PATH).text)


def test_a_calendar_takes_the_place_of_all_there_was(opened: Opened) -> None:
    record = usual_house()
    record.away_list.append(("Ann", Away("old", "Old", at("1 Dec 2026 09.00"), at("1 Dec 2026 10.00"))))
    client = ann(opened, record)
    page = client.post("/house/tern-cottage/away/calendar", files={"calendar": ("away.ics", ICS.encode())}).text
    said = words_of(page)
    assert "The calendar is read, in place of all that stood here." in said
    assert "20 to 27 December At the seaside Take away" in said
    assert "19.00 to 21.00 on 9 December Choir Take away all 3 of this kind" in said
    assert "Old" not in said
    assert {person for person, _ in record.away_list} == {"Ann"}


@pytest.mark.parametrize(
    ("sent", "told"),
    [(b"no calendar", "The calendar cannot be read:"), (b"", "No calendar was chosen, or it is empty.")],
)
def test_what_is_no_calendar_is_refused_in_words_and_changes_nothing(opened: Opened, sent: bytes, told: str) -> None:
    record = usual_house()
    client = ann(opened, record)
    answer = client.post("/house/tern-cottage/away/calendar", files={"calendar": ("away.ics", sent)})
    assert answer.status_code == 400
    assert told in words_of(answer.text)
    assert record.away_list == []


def test_more_than_a_form_may_send_is_not_read(opened: Opened) -> None:
    client = ann(opened, usual_house())
    answer = client.post("/house/tern-cottage/away/calendar", files={"calendar": ("away.ics", b" " * FORM_LIMIT)})
    assert answer.status_code == 400
    assert "A form has at most 2000000 bytes" in words_of(answer.text)

    def endless() -> object:
        yield b"name=Ann"

    answer = client.post("/house/tern-cottage/away/name", content=endless())  # type: ignore[arg-type]
    assert answer.status_code == 400


def test_one_is_added_by_hand_in_the_houses_time(opened: Opened) -> None:
    record = usual_house()
    record.site_list[0] = type(record.site_list[0])("tern-cottage", "Tern Cottage", "Europe/Paris")
    form = {"start": "2026-12-24T09:00", "end": "2026-12-27T18:30", "summary": "Christmas"}
    page = ann(opened, record).post("/house/tern-cottage/away", data=form).text
    assert "The time away is kept. Now and to come 24 to 27 December Christmas" in words_of(page)
    # Paris is an hour ahead of London
    assert record.away_list[0][1].start_s == at("24 Dec 2026 08.00")


@pytest.mark.parametrize(
    ("start", "end", "told"),
    [
        ("2026-12-24T09:00", "2026-12-24T08:00", "An absence begins before it ends."),
        ("Christmas", "2026-12-24T08:00", "“Christmas” is no time such as"),
    ],
)
def test_what_is_no_absence_is_refused_in_words(opened: Opened, start: str, end: str, told: str) -> None:
    answer = ann(opened, usual_house()).post("/house/tern-cottage/away", data={"start": start, "end": end})
    assert answer.status_code == 400
    assert told in words_of(answer.text)


def test_one_is_taken_away(opened: Opened) -> None:
    record = usual_house()
    record.away_list.append(("Ann", Away("one", "Work", at("25 Nov 2026 09.00"), at("25 Nov 2026 17.00"))))
    client = ann(opened, record)
    page = client.post("/house/tern-cottage/away/remove", data={"uid": "one"}).text
    assert "It is taken away. None is known yet." in words_of(page)
    assert client.post("/house/tern-cottage/away/remove", data={"uid": "one"}).status_code == 404


def test_nobody_in_particular_has_no_absences(opened: Opened) -> None:
    form = {"start": "2026-12-24T09:00", "end": "2026-12-27T18:30"}
    answer = opened(usual_house()).post("/house/tern-cottage/away", data=form)
    assert answer.status_code == 400
    assert "Say first whose times away these are." in words_of(answer.text)


def test_each_past_absence_says_who_rang_meanwhile(opened: Opened) -> None:
    record = usual_house()
    for uid, start, end in (
        ("a", "20 Nov 2026 07.00", "22 Nov 2026 18.00"),
        ("b", "24 Nov 2026 00.00", "24 Nov 2026 06.00"),
        ("c", "25 Nov 2026 17.00", "26 Nov 2026 06.00"),
    ):
        record.away_list.append(("Ann", Away(uid, "", at(start), at(end))))
    said = words_of(ann(opened, record).get(PATH).text)
    assert "20 to 22 November Away Nine visits; the record is complete but for 02.00 to 03.10 on 22 November." in said
    assert "00.00 to 06.00 on 24 November Away Nobody rang; the record is complete." in said
    assert "25 to 26 November Away You are away now, since 17.00." in said
