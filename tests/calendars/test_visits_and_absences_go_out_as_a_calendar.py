"""Promise: visits and absences go out as a calendar that other programs read, the same each time; and time away is plain logic."""

import itertools
from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar, Component

from adapters.calendars import PRODID, read_away, write_away, write_visits
from adapters.calendars_apart import wall_clock
from service.model import Press, Site, Visit
from service.presses.away import Away, is_away, joined, stretches, while_away
from service.presses.patterns import LocalHour

BERLIN = ZoneInfo("Europe/Berlin")
SITE = Site("tern-cottage", "Tern Cottage", "Europe/Berlin")
T0 = datetime(2026, 10, 25, 0, 30, 5, 400_000, UTC).timestamp()  # 02:30:05.4 in Berlin, the first of two that night


def press(start_s: float, end_s: float | None, number: int = 1, doubtful: bool = False) -> Press:
    return Press(
        number,
        7,
        SITE.site,
        "hall",
        "front",
        start_s,
        end_s,
        0.1,
        "edges",
        12,
        0,
        False,
        "doubtful" if doubtful else "sure",
    )


def visit(*presses: Press, number: int = 7) -> Visit:
    last = presses[-1].end_s or presses[-1].start_s
    return Visit(number, SITE.site, "hall", "front", presses[0].start_s, last, 1, presses)


TWICE = visit(press(T0, T0 + 0.3), press(T0 + 4.0, T0 + 4.5, 2))


def events(ics: bytes) -> list[Component]:
    return Calendar.from_ical(ics).walk("VEVENT")


def text(event: Component, name: str) -> str:
    return str(event[name])


def test_a_visit_reads_back_with_its_times_and_words() -> None:
    (event,) = events(write_visits([replace(TWICE, cadence="family")], SITE, BERLIN, doors={"front": "Front door"}))
    assert text(event, "SUMMARY") == "family rang at Front door, 2 presses"
    assert text(event, "LOCATION") == "Tern Cottage, Front door"
    assert text(event, "DESCRIPTION") == "2026-10-25 02:30:05 CEST, 0.30 s\n2026-10-25 02:30:09 CEST, 0.50 s"
    # Whole seconds that cover the visit.
    assert event.decoded("DTSTART") == datetime(2026, 10, 25, 0, 30, 5, tzinfo=UTC)
    assert event.decoded("DTEND") == datetime(2026, 10, 25, 0, 30, 10, tzinfo=UTC)
    assert (text(event, "STATUS"), text(event, "TRANSP")) == ("CONFIRMED", "TRANSPARENT")


def test_what_a_person_said_comes_before_the_cadence_and_the_note_before_the_presses() -> None:
    (event,) = events(write_visits([replace(TWICE, cadence="family", who="Aunt", note="left eggs")], SITE, BERLIN))
    assert text(event, "SUMMARY").startswith("Aunt rang")
    assert text(event, "DESCRIPTION").startswith("left eggs\n2026-10-25 02:30:05 CEST")


def test_the_two_half_past_twos_of_an_autumn_night_stay_apart() -> None:
    # RFC 5545, 3.3.5: a local time that occurs twice means the first; so times are written in UTC.
    second = visit(press(T0 + 3600.0, T0 + 3600.3), number=8)
    first_event, second_event = events(write_visits([TWICE, second], SITE, BERLIN))
    apart = second_event.decoded("DTSTART") - first_event.decoded("DTSTART")
    assert apart.total_seconds() == 3600.0
    assert "CET" in text(second_event, "DESCRIPTION")


def test_a_calendar_has_what_the_standard_asks_for() -> None:
    # RFC 5545: PRODID and VERSION (3.6), UID and DTSTAMP (3.6.1), lines of 75 octets at most, ended by CRLF (3.1).
    long = "the neighbour from across the road, who always rings twice and then once more — für alle Fälle"
    ics = write_visits([replace(TWICE, who=long)], SITE, BERLIN)
    calendar = Calendar.from_ical(ics)
    assert (text(calendar, "PRODID"), text(calendar, "VERSION")) == (PRODID, "2.0")
    assert {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY"} <= set(calendar.walk("VEVENT")[0])
    assert ics.endswith(b"END:VCALENDAR\r\n")
    assert all(len(line) <= 75 for line in ics.split(b"\r\n"))
    assert b"\n" not in ics.replace(b"\r\n", b"")
    assert b"VALARM" not in ics


def test_the_same_visits_make_the_same_bytes_and_each_has_its_own_uid() -> None:
    other = visit(press(T0 + 900.0, T0 + 900.2), number=8)
    assert write_visits([TWICE, other], SITE, BERLIN) == write_visits([TWICE, other], SITE, BERLIN)
    first, second = events(write_visits([replace(TWICE, who="named later"), other], SITE, BERLIN))
    assert text(first, "UID") == text(events(write_visits([TWICE], SITE, BERLIN))[0], "UID") != text(second, "UID")


def test_a_doubtful_visit_is_tentative_and_a_release_not_heard_is_said() -> None:
    (event,) = events(write_visits([visit(press(T0, None, doubtful=True))], SITE, BERLIN))
    assert text(event, "STATUS") == "TENTATIVE"
    assert text(event, "DESCRIPTION").endswith("release not heard")
    assert event.decoded("DTEND") > event.decoded("DTSTART")


def test_no_visits_make_an_empty_calendar() -> None:
    assert events(write_visits([], SITE, BERLIN)) == []


@given(name=st.text(st.characters(exclude_categories=["Cc", "Cs"]), min_size=1, max_size=80))
def test_any_name_reads_back_as_it_was(name: str) -> None:
    (event,) = events(write_visits([replace(TWICE, who=name)], SITE, BERLIN))
    assert text(event, "SUMMARY") == f"{name} rang at front, 2 presses"


def test_a_name_or_a_note_cannot_smuggle_in_a_line() -> None:
    forged = "x\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nUID:forged"
    (event,) = events(write_visits([replace(TWICE, who=forged, note=forged)], SITE, BERLIN))
    assert text(event, "UID") != "forged"


def test_absences_read_back_as_they_were_to_the_second() -> None:
    aways = [
        Away("a", "Sea, then hills; late", T0 // 1, T0 // 1 + 86_400.0),
        Away("a", "Sea", T0 // 1 + 9e5, T0 // 1 + 9.5e5),
    ]
    ics = write_away(aways, SITE, stamp_s=T0)
    back = read_away(ics, T0 - 1.0, T0 + 1e6, BERLIN)
    assert [(one.summary, one.start_s, one.end_s) for one in back] == [
        (one.summary, one.start_s, one.end_s) for one in aways
    ]
    assert len({one.uid for one in back}) == 2
    assert ics == write_away(aways, SITE, stamp_s=T0)
    assert b"VALARM" not in ics


def test_the_clock_on_the_wall() -> None:
    # The last Sunday of October 2026 is in week 43 (ISO 8601); 2026 ends in week 53.
    assert wall_clock(BERLIN)(T0) == wall_clock(BERLIN)(T0 + 3600.0) == LocalHour(6, 2, "2026-10-25", "2026-W43")
    assert wall_clock(BERLIN)(datetime(2027, 1, 1, tzinfo=BERLIN).timestamp()).week == "2026-W53"


# ── time away ───────────────────────────────────────────────────────────────────────────────────────────────────────

TRIP, HILLS = Away("1", "Sea", 100.0, 200.0), Away("2", "Hills", 150.0, 300.0)


def test_away_is_from_the_beginning_until_just_before_the_end() -> None:
    assert [is_away([TRIP], at_s) for at_s in (99.9, 100.0, 199.9, 200.0)] == [False, True, True, False]
    assert while_away([TRIP, HILLS], [99.0, 250.0, 120.0, 300.0]) == [250.0, 120.0]


def test_overlapping_absences_are_one_stretch_within_the_period() -> None:
    assert stretches([HILLS, TRIP], 0.0, 1000.0) == [(100.0, 300.0)]
    assert stretches([HILLS, TRIP], 120.0, 180.0) == [(120.0, 180.0)]
    assert stretches([TRIP], 200.0, 300.0) == []


@given(st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60))))
def test_joined_stretches_cover_the_same_moments_and_lie_apart(pairs: list[tuple[int, int]]) -> None:
    found = joined((float(a), float(b)) for a, b in pairs)
    for at in range(61):
        assert any(a <= at < b for a, b in pairs) == any(a <= at < b for a, b in found)
    assert all(a < b for a, b in found)
    assert all(one[1] < other[0] for one, other in itertools.pairwise(found))
