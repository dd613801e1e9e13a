"""What is joined to hours and days says what the readings say, whatever comes late or is moved; ten years are a few thousand rows."""

from pathlib import Path

import pytest

from adapters.sql.work import SqlStore
from service.intake import Understander, receive
from tests.builders import CHIME, SITE, T0, arrival, pack

DAY_S = 86_400.0
LONG_S = 7_200.0


def window(mean_v: float, **more: float) -> list[dict[str, object]]:
    rest = [{"n": f"rail.{name}", "u": "V", "v": value} for name, value in more.items()]
    return [{"n": "rail.mean", "u": "V", "v": mean_v}, *rest, {"n": "rail.window", "u": "s", "v": 600}]


def heard(store: SqlStore, seqs: range) -> None:
    packs = [
        arrival(pack(n, *window(14.0 + n % 7 / 10, min=13.5 - n % 5 / 10, max=15.0), up_s=600.0 * n), 600.0 * n + 0.05)
        for n in seqs
    ]
    receive(store, packs)
    understander = Understander(store)
    while understander.process_pending():
        pass


@pytest.fixture
def store(tmp_path: Path) -> SqlStore:
    found = SqlStore(f"sqlite:///{tmp_path / 'record.sqlite'}", "Europe/London")
    heard(found, range(1, 5 * 144))  # five days, every ten minutes
    return found


def roll(store: SqlStore, now_s: float = T0 + 5 * DAY_S) -> int:
    for count in range(1, 20):
        with store.work() as work:
            if not work.roll_readings(now_s):
                return count
    raise AssertionError("there is no end to it")


def told(store: SqlStore, step_s: float) -> list[tuple[object, ...]]:
    start_s = T0 // DAY_S * DAY_S
    points = store.reader().supply(SITE, CHIME, start_s, start_s + 7 * DAY_S, step_s)
    return [
        (p.start_s, p.windows, pytest.approx(p.mean_v, abs=1e-6), p.min_v, p.max_v, p.low_v, p.temperature_c)
        for p in points
    ]


@pytest.mark.parametrize("step_s", [3600.0, LONG_S, DAY_S, 5 * DAY_S])
def test_it_says_what_the_readings_say(store: SqlStore, step_s: float) -> None:
    before = told(store, step_s)
    roll(store)
    assert told(store, step_s) == before
    assert sum(point[1] for point in before) == 5 * 144 - 1  # type: ignore[misc]


def test_it_is_read_from_what_is_joined(store: SqlStore) -> None:
    roll(store)
    with store.engine.begin() as connection:
        connection.exec_driver_sql("UPDATE roll_up SET max_v = 99.0")
    assert 99.0 in {point[4] for point in told(store, DAY_S * 5)}
    assert 99.0 in {point[4] for point in told(store, LONG_S)}
    assert 99.0 not in {point[4] for point in told(store, 600.0)}


def test_the_last_hours_are_read_from_the_readings(store: SqlStore) -> None:
    roll(store)
    heard(store, range(5 * 144, 5 * 144 + 6))
    assert sum(point[1] for point in told(store, LONG_S)) == 5 * 144 + 5  # type: ignore[misc]


def test_what_comes_late_is_joined_too(tmp_path: Path) -> None:
    store = SqlStore(f"sqlite:///{tmp_path / 'late.sqlite'}", "Europe/London")
    heard(store, range(1, 200))
    heard(store, range(300, 720))
    roll(store)
    heard(store, range(200, 300))
    roll(store)
    late = told(store, DAY_S)
    whole = SqlStore(f"sqlite:///{tmp_path / 'whole.sqlite'}", "Europe/London")
    heard(whole, range(1, 720))
    assert [point[1] for point in late] == [point[1] for point in told(whole, DAY_S)]


def test_what_is_moved_is_joined_anew(store: SqlStore) -> None:
    roll(store)
    with store.work() as work:
        chime = work.chime(SITE, CHIME, T0)
        boot = work.boots(chime, 1)[0]
        line = boot.readings_dated
        work.redate_readings(boot, type(line)(line.offset_s - DAY_S, line.drift))
    roll(store)
    start_s = T0 // DAY_S * DAY_S
    with store.engine.begin() as connection:
        raw = connection.exec_driver_sql("SELECT min(end_s), count(*) FROM reading").one()
        joined = connection.exec_driver_sql(
            "SELECT min(start_s), sum(windows) FROM roll_up WHERE length_s = 3600"
        ).one()
    assert raw[0] < start_s + 12 * 3600.0
    assert (joined[0], joined[1]) == (raw[0] // 3600 * 3600, raw[1])


def test_it_is_done_a_stretch_at_a_time(tmp_path: Path) -> None:
    store = SqlStore(f"sqlite:///{tmp_path / 'long.sqlite'}", "Europe/London")
    heard(store, range(1, 20 * 144, 6))
    assert roll(store, T0 + 20 * DAY_S) >= 3
    assert roll(store, T0 + 20 * DAY_S) == 1


def test_a_chime_that_told_nothing_of_its_rail(tmp_path: Path) -> None:
    store = SqlStore(f"sqlite:///{tmp_path / 'none.sqlite'}", "Europe/London")
    receive(store, [arrival(pack(1))])
    Understander(store).process_pending()
    assert roll(store) == 1
    assert told(store, DAY_S) == []
