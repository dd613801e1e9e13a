"""Promise: presses leave as CSV, JSON Lines and iCalendar that any reader of the standard reads, and as honest as the log is."""

import csv
import json
import re
from datetime import UTC, datetime
from io import StringIO

from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar

from adapters.press_files import COLUMNS, write_csv
from adapters.sql.work import SqlStore
from service.leaving import Asked, Rung
from service.model import Press, Visit
from tests.builders import SITE, T0
from tests.moving.conftest import exported, presses


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(StringIO(text, newline=""), strict=True))


def test_csv_has_one_line_a_press_and_the_unseen_and_blind_beside(house: SqlStore) -> None:
    rows = rows_of(exported(house, "csv"))
    told = [row for row in rows if row["kind"] == "press"]
    found = presses(house)
    assert (
        [row["door"] for row in told]
        == [one.door for one in found]
        == ["front"] * 3 + ["garden", "front"] + ["side"] * 3
    )
    for row, one in zip(told, found, strict=True):
        assert 0.0 <= one.start_s - datetime.fromisoformat(row["start"]).timestamp() < 2e-6  # cut to microseconds
    assert told[-1]["end"] == ""  # not known, and not invented
    assert [row["sure"] for row in told] == [one.sure for one in found]
    unseen = [row for row in rows if row["kind"] == "unseen"]
    assert [(row["why"], row["packs"]) for row in unseen] == [("packs missing", "2")]
    assert "packs lost" in {row["why"] for row in rows if row["kind"] == "blind"}
    starts = [row["start"] for row in rows]
    assert starts == sorted(starts)


def test_csv_is_what_rfc_4180_says(house: SqlStore) -> None:
    """RFC 4180, section 2: each record on a line of its own ended by CRLF (1), a header of the same number of fields (3, 4)."""
    text = exported(house, "csv")
    assert text.endswith("\r\n")
    lines = text.removesuffix("\r\n").split("\r\n")
    assert "\n" not in "".join(lines)
    assert lines[0] == ",".join(COLUMNS)
    assert {len(row) for row in csv.reader(lines, strict=True)} == {len(COLUMNS)}


@given(note=st.text(st.characters(exclude_categories=["Cs"]), max_size=20))
def test_what_people_wrote_comes_back_and_is_no_formula(note: str) -> None:
    """RFC 4180, section 2 (5 to 7): quotes, commas and line ends stand in quotes. OWASP ASVS 5.0, 1.2.10: text that begins with
    = + - @, a tab or a null has a single quote before it."""
    press = Press(1, 1, SITE, "hall", "front", T0, T0 + 0.3, 0.05, "edges", 15, 0, False, "sure")
    visit = Visit(1, SITE, "hall", "front", T0, T0 + 0.3, None, (press,), note=note)
    (row,) = rows_of(b"".join(write_csv([Rung(press, visit)])).decode())
    assert row["note"].removeprefix("'" if row["note"] != note else "") == note
    assert not re.match(r"[=+\-@\t\0\r\n]", row["note"])


def test_json_lines_tell_the_same(house: SqlStore) -> None:
    told = [json.loads(line) for line in exported(house, "jsonl").splitlines()]
    assert {one["kind"] for one in told} == {"press", "unseen", "blind"}
    (unseen,) = (one for one in told if one["kind"] == "unseen")
    assert unseen["told"] == "Packs of the chime are missing, 2 of them: a press may be among them."
    garden = next(one for one in told if one.get("door") == "garden" and one["kind"] == "press")
    assert (garden["pulses"], garden["sure"], garden["bounce"], garden["source"]) == (1, "doubtful", False, "edges")


def test_a_calendar_has_the_visits_under_lasting_uids(house: SqlStore) -> None:
    """Read by icalendar. RFC 5545: lines of at most 75 octets (3.1), a UID once in a calendar (3.8.4.7)."""
    text = exported(house, "ics")
    calendar = Calendar.from_ical(text)
    events = calendar.walk("VEVENT")
    visits = house.reader().visits(SITE, 0.0, 2 * T0)[0]
    assert [event.decoded("DTSTART") for event in events] == [
        datetime.fromtimestamp(int(visit.start_s), UTC) for visit in visits
    ]
    assert sum(len(visit.presses) for visit in visits) == text.count("X-BELLCRANK-PRESS")
    uids = [str(event["UID"]) for event in events]
    assert len(set(uids)) == len(uids)
    assert uids == [str(event["UID"]) for event in Calendar.from_ical(exported(house, "ics")).walk("VEVENT")]
    assert all(len(line) <= 75 for line in text.encode().split(b"\r\n"))
    assert "\n" not in text.replace("\r\n", "")


def test_only_what_was_asked_for_leaves(house: SqlStore) -> None:
    porch = rows_of(exported(house, "csv", Asked(SITE, "porch")))
    assert {row["chime"] for row in porch} == {"porch"}
    hour = rows_of(exported(house, "csv", Asked(SITE, None, T0 + 199.0, T0 + 199.3)))
    assert [row["kind"] for row in hour if row["kind"] == "press"] == ["press"]


def test_a_record_of_nothing_is_an_empty_file_of_its_form(house: SqlStore) -> None:
    nothing = Asked(SITE, None, T0 - 9e6, T0 - 8e6)
    assert rows_of(exported(house, "csv", nothing)) == []
    assert exported(house, "jsonl", nothing) == ""
    assert Calendar.from_ical(exported(house, "ics", nothing)).walk("VEVENT") == []
