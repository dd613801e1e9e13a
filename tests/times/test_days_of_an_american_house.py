"""Promise: a day of 2026 in an American house is as long as it is there, also when its clocks change.

Changes of clocks: America/New_York, 8 March 2026 and 1 November 2026 at 02.00 local time (IANA time zone database, by way of
zoneinfo, which here steps hour by hour through POSIX time).
"""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from dashboard.house import day_stretch, hours_of

NEW_YORK = ZoneInfo("America/New_York")


@pytest.mark.parametrize("day", [date(2026, 3, 8), date(2026, 11, 1), date(2026, 7, 1)])
def test_its_hours_are_those_that_wear_its_date(day: date) -> None:
    noon_s = int(datetime(day.year, day.month, day.day, 12, tzinfo=UTC).timestamp())
    around = [
        (at_s, datetime.fromtimestamp(at_s, NEW_YORK)) for at_s in range(noon_s - 86400, noon_s + 2 * 86400, 3600)
    ]
    inside = [(at_s, local) for at_s, local in around if local.date() == day]
    start_s, end_s = day_stretch(day, NEW_YORK)
    assert (start_s, end_s) == (inside[0][0], inside[-1][0] + 3600)
    assert [name for _, name in hours_of(start_s, end_s, NEW_YORK)][:-1] == [f"{local.hour:02}" for _, local in inside]
