"""Promise: on the nights on which clocks change, visits stand in the order in which they happened, and each on its own day of its own
house, in Europe and in the United States.

Changes of 2026 (IANA time zone database, by way of zoneinfo): Europe/London 29 March and 25 October at 01.00 UTC;
America/New_York 8 March at 07.00 UTC and 1 November at 06.00 UTC.
"""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from adapters.sql.work import SqlStore
from dashboard.house import day_stretch
from service.intake import Understander, receive
from service.model import Arrival
from tests.host_clock.bridge import PRESSED, numbered

HOUSES = {"tern-cottage": "Europe/London", "fern-house": "America/New_York"}
NIGHTS = [
    ("tern-cottage", datetime(2026, 3, 29, 1, tzinfo=UTC), 23),
    ("tern-cottage", datetime(2026, 10, 25, 1, tzinfo=UTC), 25),
    ("fern-house", datetime(2026, 3, 8, 7, tzinfo=UTC), 23),
    ("fern-house", datetime(2026, 11, 1, 6, tzinfo=UTC), 25),
]
every_night = pytest.mark.parametrize(("house", "change", "hours"), NIGHTS)


def ring(store: SqlStore, moments: list[datetime], sites: tuple[str, ...] = tuple(HOUSES)) -> None:
    """At each of these moments somebody rings at each house; each chime has had power since half a day before the first."""
    on_s = moments[0].timestamp() - 43_200.0
    for site in sites:
        topic = f"bellcrank/1/{site}/hall/pack"
        packs = [
            Arrival(topic, numbered(seq, at.timestamp() - on_s, PRESSED), at.timestamp() + 0.05)
            for seq, at in enumerate(moments)
        ]
        receive(store, packs)
    understander = Understander(store)
    while understander.process_pending():
        pass
    with store.work() as work:
        for site in sites:
            work.claim(site, "hall", None)
            work.rename_site(site, site.replace("-", " ").title(), HOUSES[site])


def visit_count(store: SqlStore, house: str, day: date) -> int:
    zone = ZoneInfo(store.reader().site(house).time_zone)
    return len(store.reader().visits(house, *day_stretch(day, zone))[0])


@every_night
def test_a_visit_before_and_one_after_the_change_are_as_far_apart_as_they_were(
    store: SqlStore, house: str, change: datetime, hours: int
) -> None:
    moments = [change + timedelta(minutes=minutes) for minutes in (-90, -30, -1, 1, 30, 90)]
    ring(store, moments)
    found = store.reader().visits(house, moments[0].timestamp() - 10.0, moments[-1].timestamp() + 10.0)[0]
    starts = [visit.start_s for visit in found]
    assert starts == pytest.approx([at.timestamp() - 0.2 for at in moments], abs=0.1)
    local = [datetime.fromtimestamp(at_s, ZoneInfo(HOUSES[house])) for at_s in starts]
    walls = [moment.replace(tzinfo=None) for moment in local]
    assert (walls == sorted(walls)) == (hours == 23)  # when the clocks go back, the same hour comes twice
    assert local[3].utcoffset() != local[2].utcoffset()


@every_night
def test_the_day_of_the_change_has_its_own_hours_and_all_of_its_visits(
    store: SqlStore, house: str, change: datetime, hours: int
) -> None:
    zone = ZoneInfo(HOUSES[house])
    day = change.astimezone(zone).date()
    start_s, end_s = day_stretch(day, zone)
    assert (end_s - start_s) / 3600.0 == hours
    first = datetime.fromtimestamp(start_s, UTC) - timedelta(minutes=30)
    ring(store, [first + timedelta(hours=n) for n in range(hours + 2)])  # half past each hour, and once on either side
    assert visit_count(store, house, day) == hours
    assert visit_count(store, house, day - timedelta(days=1)) == 1
    assert visit_count(store, house, day + timedelta(days=1)) == 1


def test_the_same_ring_is_on_another_day_in_a_house_of_another_zone(store: SqlStore) -> None:
    ring(store, [datetime(2026, 7, 2, 2, 30, tzinfo=UTC)])  # 03.30 in London, 22.30 of the day before in New York
    assert [visit_count(store, "tern-cottage", date(2026, 7, day)) for day in (1, 2)] == [0, 1]
    assert [visit_count(store, "fern-house", date(2026, 7, day)) for day in (1, 2)] == [1, 0]


def test_a_house_that_is_moved_to_another_zone_keeps_its_presses_where_they_were(store: SqlStore) -> None:
    ring(store, [datetime(2026, 7, 2, 2, 30, tzinfo=UTC)])
    before = store.reader().visits("tern-cottage", 0.0, 4e9)[0][0].start_s
    with store.work() as work:
        work.rename_site("tern-cottage", "Tern Cottage", "America/New_York")
    assert store.reader().visits("tern-cottage", 0.0, 4e9)[0][0].start_s == before
    assert [visit_count(store, "tern-cottage", date(2026, 7, day)) for day in (1, 2)] == [1, 0]
