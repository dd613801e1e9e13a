"""Promise: an away calendar is read as RFC 5545 means it, in the time of the house, within limits; or refused in one sentence."""

import time
from contextlib import suppress
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.calendar_limits import MOST_AWAYS, MOST_DAYS, MOST_EVENTS, BadCalendar
from adapters.calendars import read_away
from adapters.calendars_apart import MOST_BYTES
from service.errors import BellcrankError, Refused
from service.presses.away import Away

NEW_YORK, BERLIN, KATHMANDU = ZoneInfo("America/New_York"), ZoneInfo("Europe/Berlin"), ZoneInfo("Asia/Kathmandu")


def calendar(*lines: str) -> bytes:
    return "\r\n".join(
        ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Tern Cottage//EN", *lines, "END:VCALENDAR", ""]
    ).encode()


def event(*lines: str) -> bytes:
    return calendar("BEGIN:VEVENT", "DTSTAMP:20260101T000000Z", *lines, "END:VEVENT")


def moment(text: str, zone: ZoneInfo = BERLIN) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=zone).timestamp()


def of_2026(ics: bytes, zone: ZoneInfo = BERLIN) -> list[Away]:
    return read_away(ics, moment("2026-01-01", zone), moment("2027-01-01", zone), zone)


def stretches(found: list[Away], zone: ZoneInfo = BERLIN) -> list[tuple[str, str]]:
    def local(at_s: float) -> str:
        return datetime.fromtimestamp(at_s, zone).isoformat(" ", "minutes")[:16]

    return [(local(one.start_s), local(one.end_s)) for one in found]


# ── examples of the standard ────────────────────────────────────────────────────────────────────────────────────────

CONFERENCE = b"""BEGIN:VCALENDAR
PRODID:-//xyz Corp//NONSGML PDA Calendar Version 1.0//EN
VERSION:2.0
BEGIN:VEVENT
DTSTAMP:19960704T120000Z
UID:uid1@example.com
ORGANIZER:mailto:jsmith@example.com
DTSTART:19960918T143000Z
DTEND:19960920T220000Z
STATUS:CONFIRMED
CATEGORIES:CONFERENCE
SUMMARY:Networld+Interop Conference
DESCRIPTION:Networld+Interop Conference
  and Exhibit\\nAtlanta World Congress Center\\n
 Atlanta\\, Georgia
END:VEVENT
END:VCALENDAR
"""


def test_the_three_day_conference_of_section_4() -> None:
    (found,) = read_away(CONFERENCE.replace(b"\n", b"\r\n"), moment("1996-01-01"), moment("1997-01-01"), BERLIN)
    utc = ZoneInfo("UTC")
    assert found == Away(
        "uid1@example.com",
        "Networld+Interop Conference",
        moment("1996-09-18T14:30", utc),
        moment("1996-09-20T22:00", utc),
    )


@pytest.mark.parametrize(
    ("start", "rule", "until", "days"),
    [
        # RFC 5545, section 3.8.5.3, "All examples assume the Eastern United States time zone", each at 9:00 of local time.
        ("19970902", "FREQ=DAILY;COUNT=10", "1998-01-01", [f"1997-09-{day:02d}" for day in range(2, 12)]),
        (
            "19970902",
            "FREQ=DAILY;INTERVAL=10;COUNT=5",
            "1998-01-01",
            ["1997-09-02", "1997-09-12", "1997-09-22", "1997-10-02", "1997-10-12"],
        ),
        (
            "19970902",
            "FREQ=WEEKLY;COUNT=10",
            "1998-01-01",
            [f"1997-09-{day:02d}" for day in (2, 9, 16, 23, 30)]
            + ["1997-10-07", "1997-10-14", "1997-10-21", "1997-10-28", "1997-11-04"],
        ),
        (
            "19970901",
            "FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;BYDAY=MO,WE,FR",
            "1998-06-01",
            [f"1997-09-{day:02d}" for day in (1, 3, 5, 15, 17, 19, 29)]
            + [f"1997-10-{day:02d}" for day in (1, 3, 13, 15, 17, 27, 29, 31)]
            + [f"1997-11-{day:02d}" for day in (10, 12, 14, 24, 26, 28)]
            + [f"1997-12-{day:02d}" for day in (8, 10, 12, 22)],
        ),
        (
            "19970905",
            "FREQ=MONTHLY;UNTIL=19971224T000000Z;BYDAY=1FR",
            "1998-06-01",
            ["1997-09-05", "1997-10-03", "1997-11-07", "1997-12-05"],
        ),
        (
            "19970928",
            "FREQ=MONTHLY;BYMONTHDAY=-3",
            "1998-03-01",
            ["1997-09-28", "1997-10-29", "1997-11-28", "1997-12-29", "1998-01-29", "1998-02-26"],
        ),
        ("19970519", "FREQ=YEARLY;BYDAY=20MO", "2000-01-01", ["1997-05-19", "1998-05-18", "1999-05-17"]),
        ("19970512", "FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO", "2000-01-01", ["1997-05-12", "1998-05-11", "1999-05-17"]),
        (
            "19961105",
            "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8",
            "2005-01-01",
            ["1996-11-05", "2000-11-07", "2004-11-02"],
        ),
        (
            "19970929",
            "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2",
            "1998-04-01",
            ["1997-09-29", "1997-10-30", "1997-11-27", "1997-12-30", "1998-01-29", "1998-02-26", "1998-03-30"],
        ),
    ],
)
def test_recurrence_rules_of_section_3_8_5_3(start: str, rule: str, until: str, days: list[str]) -> None:
    ics = event("UID:1", f"DTSTART;TZID=America/New_York:{start}T090000", "DURATION:PT1H", f"RRULE:{rule}")
    found = read_away(ics, moment("1996-01-01"), moment(until, NEW_YORK), BERLIN)
    assert stretches(found, NEW_YORK) == [(f"{day} 09:00", f"{day} 10:00") for day in days]


def test_every_friday_the_13th_with_its_exception_of_section_3_8_5_3() -> None:
    ics = event(
        "UID:1",
        "DTSTART;TZID=America/New_York:19970902T090000",
        "EXDATE;TZID=America/New_York:19970902T090000",
        "DURATION:PT8H",
        "RRULE:FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13",
    )
    found = read_away(ics, moment("1997-01-01"), moment("2001-01-01"), BERLIN)
    days = ["1998-02-13", "1998-03-13", "1998-11-13", "1999-08-13", "2000-10-13"]
    assert [start[:10] for start, _ in stretches(found, NEW_YORK)] == days


# ── in the time of the house ────────────────────────────────────────────────────────────────────────────────────────


def test_whole_days_are_days_of_the_house_whatever_their_length() -> None:
    # 29 March 2026 has 23 hours in Berlin and 25 October 25 (IANA time zone database).
    for day, after, hours in (("20260329", "20260330", 23), ("20261025", "20261026", 25)):
        (found,) = of_2026(event("UID:1", f"DTSTART;VALUE=DATE:{day}", f"DTEND;VALUE=DATE:{after}"))
        assert (found.end_s - found.start_s) / 3600 == hours


def test_a_whole_day_without_an_end_is_one_day() -> None:
    # Section 3.6.1: with a DATE and neither DTEND nor DURATION, the event lasts one day.
    found = of_2026(event("UID:1", "DTSTART;VALUE=DATE:20260704"), KATHMANDU)
    assert stretches(found, KATHMANDU) == [("2026-07-04 00:00", "2026-07-05 00:00")]


def test_a_time_without_a_zone_is_that_of_the_house() -> None:
    ics = event("UID:1", "DTSTART:20260704T100000", "DTEND:20260704T120000")
    for zone in (BERLIN, NEW_YORK, KATHMANDU):
        assert stretches(of_2026(ics, zone), zone) == [("2026-07-04 10:00", "2026-07-04 12:00")]


def test_a_time_of_another_zone_and_one_of_utc_are_put_right() -> None:
    for start, end in (
        (";TZID=America/New_York:20260704T080000", ";TZID=America/New_York:20260704T090000"),
        (":20260704T120000Z", ":20260704T130000Z"),
    ):
        found = of_2026(event("UID:1", f"DTSTART{start}", f"DTEND{end}"))
        assert stretches(found) == [("2026-07-04 14:00", "2026-07-04 15:00")]


def test_a_zone_that_the_calendar_brings_along_is_used() -> None:
    ics = calendar(
        "BEGIN:VTIMEZONE", "TZID:Island", "BEGIN:STANDARD", "DTSTART:19700101T000000", "TZOFFSETFROM:+0000",
        "TZOFFSETTO:+0330", "END:STANDARD", "END:VTIMEZONE",
        "BEGIN:VEVENT", "UID:1", "DTSTART;TZID=Island:20260704T133000", "DURATION:PT1H", "END:VEVENT",
    )  # fmt: skip
    assert stretches(of_2026(ics)) == [("2026-07-04 12:00", "2026-07-04 13:00")]


def test_a_recurring_evening_keeps_its_local_hour_over_the_change_of_the_clock() -> None:
    ics = event("UID:1", "DTSTART;TZID=Europe/Berlin:20261023T190000", "DURATION:PT2H", "RRULE:FREQ=DAILY;COUNT=4")
    assert {start[11:] for start, _ in stretches(of_2026(ics))} == {"19:00"}


def test_a_period_that_ends_in_the_hour_that_comes_twice_has_all_of_the_first() -> None:
    # Until 02:15 for the second time; the event is at 02:40 for the first time (3.3.5), 35 minutes before.
    ics = event("UID:1", "DTSTART:20261025T024000", "DURATION:PT5M")
    until_s = datetime(2026, 10, 25, 2, 15, tzinfo=BERLIN, fold=1).timestamp()
    (found,) = read_away(ics, until_s - 3600.0, until_s, BERLIN)
    assert found.start_s == until_s - 35 * 60.0


# ── what counts ─────────────────────────────────────────────────────────────────────────────────────────────────────


def test_cancelled_events_do_not_count_alone_or_one_of_a_row() -> None:
    assert of_2026(event("UID:1", "DTSTART:20260704T100000", "DTEND:20260704T120000", "STATUS:CANCELLED")) == []
    ics = calendar(
        "BEGIN:VEVENT", "UID:1", "DTSTART:20260704T100000", "DURATION:PT1H", "RRULE:FREQ=DAILY;COUNT=3", "END:VEVENT",
        "BEGIN:VEVENT", "UID:1", "RECURRENCE-ID:20260705T100000", "DTSTART:20260705T100000", "DURATION:PT1H",
        "STATUS:CANCELLED", "END:VEVENT",
    )  # fmt: skip
    assert [start[:10] for start, _ in stretches(of_2026(ics))] == ["2026-07-04", "2026-07-06"]


def test_one_of_a_row_that_was_moved_is_where_it_was_moved_to() -> None:
    ics = calendar(
        "BEGIN:VEVENT", "UID:1", "DTSTART:20260704T100000", "DURATION:PT1H", "RRULE:FREQ=DAILY;COUNT=2", "END:VEVENT",
        "BEGIN:VEVENT", "UID:1", "RECURRENCE-ID:20260705T100000", "DTSTART:20260709T150000", "DURATION:PT3H", "END:VEVENT",
    )  # fmt: skip
    assert stretches(of_2026(ics))[1] == ("2026-07-09 15:00", "2026-07-09 18:00")


def test_an_event_that_takes_up_no_time_in_the_calendar_counts_and_one_without_length_does_not() -> None:
    assert len(of_2026(event("UID:1", "DTSTART;VALUE=DATE:20260704", "TRANSP:TRANSPARENT"))) == 1
    assert of_2026(event("UID:1", "DTSTART:20260704T100000")) == []


def test_events_that_only_touch_the_period_count_and_those_beside_it_do_not() -> None:
    ics = event("UID:1", "DTSTART:20260704T100000", "DTEND:20260704T120000")
    touching = [("2026-07-04T09:00", "2026-07-04T10:01"), ("2026-07-04T11:59", "2026-07-04T13:00")]
    beside = [("2026-07-04T09:00", "2026-07-04T10:00"), ("2026-07-04T12:00", "2026-07-04T13:00")]
    assert [len(read_away(ics, moment(a), moment(b), BERLIN)) for a, b in touching] == [1, 1]
    assert [len(read_away(ics, moment(a), moment(b), BERLIN)) for a, b in beside] == [0, 0]


def test_a_long_absence_that_spans_the_period_is_told_once() -> None:
    ics = event("UID:1", "DTSTART;VALUE=DATE:20250101", "DTEND;VALUE=DATE:20290101")
    assert len(of_2026(ics)) == 1


def test_text_is_unescaped_and_events_without_a_uid_are_told_apart() -> None:
    one = ["BEGIN:VEVENT", "DTSTART;VALUE=DATE:20260704", "SUMMARY:Oslo\\, then Bergen\\; late", "END:VEVENT"]
    found = of_2026(calendar(*one, *one))
    assert [away.summary for away in found] == ["Oslo, then Bergen; late"] * 2
    assert len({away.uid for away in found}) == 2


# ── limits and sentences ────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("ics", "reason"),
    [
        (b"", "cannot be read"),
        (b"hello", "cannot be read"),
        (b"\xff\xfe\x00", "cannot be read"),
        (b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\n", "cannot be read"),
        (b"x" * (MOST_BYTES + 1), f"has {MOST_BYTES + 1} bytes; at most {MOST_BYTES}"),
        (event("UID:1", "SUMMARY:Sea"), "“Sea” has no beginning"),
        (event("UID:1", "SUMMARY:Sea", "DTSTART:2026xx01T100000"), "“Sea”: DTSTART cannot be read"),
        (event("UID:1", "DTSTART:18990101T100000", "DURATION:PT1H"), "1900 is the earliest"),
        (event("UID:1", "DTSTART:20260101T100000", "RRULE:FREQ=SECONDLY"), "repeats SECONDLY"),
        (event("UID:1", "DTSTART:20260101T100000", "RRULE:FREQ=HOURLY"), "repeats HOURLY"),
        (event("UID:1", "DTSTART:20260101T100000", "RRULE:COUNT=5"), "without a frequency"),
        (event("UID:1", "DTSTART:20260101T100000", "RRULE:FREQ=DAILY;INTERVAL=0"), "interval of 0"),
        (event("UID:1", "DTSTART:20260101T100000", "RRULE:FREQ=DAILY;BYHOUR=1,2,3;BYMINUTE=1,2"), "6 times a day"),
        (event("UID:1", "DTSTART:20260101T100000", "RRULE:FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30"), "do not exist"),
        (event("UID:1", "DTSTART:20260101T100000", "RRULE:FREQ=YEARLY;BYMONTH=4;BYWEEKNO=50"), "do not exist"),
        (
            calendar(*["BEGIN:VEVENT", "DTSTART:20000101T100000", "RRULE:FREQ=DAILY", "END:VEVENT"] * 30),
            "go through 295860 days; at most 200000",
        ),
        (
            calendar(*["BEGIN:VEVENT", "DTSTART:20260101T100000", "END:VEVENT"] * (MOST_EVENTS + 1)),
            f"has {MOST_EVENTS + 1} events; at most {MOST_EVENTS}",
        ),
        (
            calendar(*["BEGIN:VEVENT", "DTSTART:20260101T100000", "DURATION:PT1H", "RRULE:FREQ=DAILY", "END:VEVENT"] * 15),
            f"more than {MOST_AWAYS} events in this period",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_read_or_means_too_much_is_refused_in_one_sentence(ics: bytes, reason: str) -> None:
    with pytest.raises(BadCalendar) as refused:
        of_2026(ics)
    assert reason in str(refused.value)
    assert "\n" not in str(refused.value)
    assert isinstance(refused.value, Refused | BellcrankError)


def test_more_than_ten_years_at_once_are_refused() -> None:
    with pytest.raises(BadCalendar, match=f"at most {MOST_DAYS}"):
        read_away(event("UID:1", "DTSTART:20260101T100000"), 0.0, (MOST_DAYS + 1) * 86_400.0, BERLIN)


def test_the_slowest_calendar_within_the_limits_is_read_in_seconds() -> None:
    # The rule of one event from 1900 on, four times a day: 184,000 steps for 1,460 events.
    ics = event("UID:1", "DTSTART:19000101T100000", "DURATION:PT1H", "RRULE:FREQ=DAILY;BYHOUR=1,7,13,19")
    begun = time.process_time()
    assert len(of_2026(ics)) == 1460
    assert time.process_time() - begun < 20.0  # 1.3 s on the development machine


@settings(max_examples=150, deadline=None)
@given(
    cut=st.integers(0, 400),
    put=st.one_of(
        st.binary(max_size=12), st.sampled_from([b";", b":", b"\r\n", b"RRULE:FREQ=", b"VALUE=PERIOD", b"T", b"-"])
    ),
    length=st.integers(0, 20),
)
def test_a_spoilt_calendar_is_read_or_refused_and_nothing_else(cut: int, put: bytes, length: int) -> None:
    whole = event(
        "UID:1", "DTSTART;TZID=Europe/Berlin:20260704T100000", "DTEND;TZID=Europe/Berlin:20260704T120000",
        "RRULE:FREQ=WEEKLY;COUNT=5;BYDAY=SA", "EXDATE;TZID=Europe/Berlin:20260711T100000", "RDATE:20260801T100000Z",
        "SUMMARY:Sea\\, side",
    )  # fmt: skip
    with suppress(BadCalendar):
        assert all(one.start_s < one.end_s for one in of_2026(whole[:cut] + put + whole[cut + length :]))
