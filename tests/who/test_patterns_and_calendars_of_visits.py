"""Promise: visits are told by local hour and weekday with what was watched, and as a calendar that others read alike."""

from collections import Counter
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from icalendar import Calendar

from tests.builders import T0
from tests.who.conftest import API, House

LONDON = ZoneInfo("Europe/London")
WEEK_S = 7 * 86_400.0


@pytest.fixture
def weeks(house: House) -> House:
    """Fourteen weeks from 14 September 2026 on, across the end of summer time: a packet each Tuesday at 10:30 London time and a
    few callers at any hour (drawn, invented)."""
    rng = np.random.default_rng(7)
    moments = [T0 + moment for moment in np.sort(rng.uniform(0.0, 14 * WEEK_S, 40)).tolist()]
    tuesdays = [datetime(2026, 9, 15, 10, 30, tzinfo=LONDON).timestamp() + n * WEEK_S for n in range(14)]
    moments += [moment + 3600.0 * (datetime.fromtimestamp(moment, LONDON).hour == 9) for moment in tuesdays]
    for moment in sorted(moments):
        house.ring((moment - T0, moment - T0 + 0.3))
    return house


def callers_of(house: House) -> list[float]:
    told: list[dict[str, Any]] = house.visits(limit=1000)
    return [datetime.fromisoformat(visit["start"]).timestamp() for visit in told]


def test_the_table_counts_visits_by_local_weekday_and_hour(weeks: House) -> None:
    weeks.now_s = T0 + 14 * WEEK_S
    weeks.take(up_s=14 * WEEK_S)
    told = weeks.get("/patterns")
    start_s, end_s = (datetime.fromisoformat(told[name]).timestamp() for name in ("start", "end"))
    assert end_s - start_s == pytest.approx(12 * WEEK_S)  # the last twelve weeks
    within = [moment for moment in callers_of(weeks) if start_s <= moment < end_s]
    # zoneinfo and isocalendar of the standard library
    places = [datetime.fromtimestamp(moment, LONDON) for moment in within]
    counted = Counter((at.weekday(), at.hour) for at in places)
    assert {
        (d, h): rate["visits"] for d, row in enumerate(told["table"]) for h, rate in enumerate(row) if rate["visits"]
    } == counted
    assert counted[1, 10] >= 12  # every Tuesday at half past ten, in summer and in winter
    assert told["standing_out"][0]["told"].startswith("Tuesdays from 10:00 to 11:00")
    assert told["too_little"] is None
    weeks_told = {one["label"]: one["visits"] for one in told["weeks"]}
    by_week = Counter("{}-W{:02d}".format(*at.isocalendar()[:2]) for at in places)
    assert {label: count for label, count in weeks_told.items() if count} == by_week
    assert sum(one["hours"] for one in told["days"]) == pytest.approx(12 * 7 * 24)
    # the night of 25 October 2026 has an hour more (zoneinfo)
    assert {one["label"]: one["hours"] for one in told["days"]}["2026-10-25"] == 25.0


def test_too_short_a_stretch_says_so_and_the_record_begins_where_it_begins(rung: House) -> None:
    told = rung.get("/patterns")
    assert told["too_little"].startswith("0 days watched; 28 are needed")
    assert told["standing_out"] == told["quiet_hours"] == []
    assert told["start"][:16] == "2026-09-14T10:01"  # the first pack of the chime, not twelve weeks before
    assert told["mean"]["visits"] == 4
    nothing = rung.get("/patterns", start="2026-01-01T00:00:00Z", end="2026-01-02T00:00:00Z")
    assert nothing["mean"] == {"visits": 0, "watched_h": 0.0, "per_hour": None, "low": None, "high": None}


def test_visits_go_out_as_a_calendar_that_the_library_reads_alike(rung: House) -> None:
    first = rung.visits()[0]
    rung.client.put(f"{API}/visits/{first['id']}/note", json={"who": "the postman", "note": "left it"})
    answer = rung.client.get(f"{API}/visits.ics")
    assert answer.headers["content-type"].startswith("text/calendar")
    # icalendar, an open reference library for RFC 5545
    events = Calendar.from_ical(answer.content).walk("VEVENT")
    told = [one.decoded("DTSTART").timestamp() for one in events]
    assert told == [float(int(datetime.fromisoformat(visit["start"]).timestamp())) for visit in rung.visits()]
    assert str(events[0]["SUMMARY"]) == "the postman rang at Front, 1 press"
    assert str(events[0]["DESCRIPTION"]).startswith("left it")
    stretch = {"start": rung.visits()[1]["start"], "end": rung.visits()[3]["start"]}
    part = rung.client.get(f"{API}/visits.ics", params=stretch)
    assert [one["UID"] for one in Calendar.from_ical(part.content).walk("VEVENT")] == [
        one["UID"] for one in events[1:3]
    ]
    assert rung.client.get("/api/v1/sites/elsewhere/visits.ics").status_code == 404
