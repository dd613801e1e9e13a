"""Promise: whenever somebody sets the clock of the host, presses stand at their true times afterwards, before it and behind it.

By how much the clock was wrong is not said anywhere: a setting shows as a jump of the clock against the host's uptime.
"""

import random
from typing import Any

import pytest

from adapters.sql.work import SqlStore
from service import dating
from service.errors import StoreUnavailable
from service.examine import take_in
from service.intake import Understander
from service.model import Arrival
from tests.host_clock.bridge import (
    PRESSED,
    SITE,
    T0,
    Bridge,
    Bridged,
    memory,
    numbered,
    pressed_at,
    redatings,
    unnumbered,
)

HOUR_S = 3600.0
WRONG = pytest.mark.parametrize("wrong_s", [HOUR_S, -HOUR_S], ids=lambda s: f"{s:+g} s")
NUMBERED = pytest.mark.parametrize("kind", ["numbered", "unnumbered"])


def payload(kind: str, seq: int, up_s: float, *records: object) -> bytes:
    if kind == "numbered":
        return numbered(seq, up_s, *records)  # type: ignore[arg-type]
    return unnumbered(*records, mean_v=14.0 + seq / 100.0)  # type: ignore[arg-type]


def hear_minutes(bridge: Bridge, kind: str, first: int, last: int, presses_in: tuple[int, ...] = ()) -> None:
    """A pack each minute, with a press in some of them."""
    for seq in range(first, last + 1):
        made_s = 60.0 * (seq + 1)
        bridge.hears(payload(kind, seq, made_s, *([PRESSED] if seq in presses_in else [])), made_s + 0.05)


def about(*true_s: float) -> object:
    """Dated by arrival at best: within a tenth of a second."""
    return pytest.approx(list(true_s), abs=0.11)


@WRONG
@NUMBERED
def test_while_packs_come(bridged: Bridged, store: SqlStore, kind: str, wrong_s: float) -> None:
    bridge = bridged(store, wrong_s)
    hear_minutes(bridge, kind, 0, 9, presses_in=(3,))
    assert pressed_at(store) == about(239.8 + wrong_s)
    bridge.clock_is_set()
    hear_minutes(bridge, kind, 10, 15, presses_in=(12,))
    assert pressed_at(store) == about(239.8, 779.8)
    (visit, _) = store.reader().visits(SITE, 0.0, 2 * T0)[0]
    assert visit.start_s == visit.presses[0].start_s


@pytest.mark.parametrize("wrong_s", [HOUR_S, -2.5])
def test_that_presses_were_moved_is_noted(bridged: Bridged, store: SqlStore, wrong_s: float) -> None:
    bridge = bridged(store, wrong_s)
    hear_minutes(bridge, "numbered", 0, 9, presses_in=(3, 5))
    bridge.clock_is_set()
    hear_minutes(bridge, "numbered", 10, 15)
    (one,) = redatings(store)
    assert one.why == "clock of this host was set"
    assert one.shift_s == pytest.approx(-wrong_s, abs=0.1)
    assert (one.start_s - T0, one.end_s - T0) == (pytest.approx(239.8, abs=0.2), pytest.approx(359.9, abs=0.2))
    assert one.at_s - T0 == pytest.approx(660.0, abs=60.0)


def test_a_clock_that_is_turned_slowly_is_not_set(bridged: Bridged, store: SqlStore) -> None:
    bridge = bridged(store)
    for seq in range(20):
        bridge.clock_is_set(seq * 0.002)
        bridge.hears(numbered(seq, 60.0 * (seq + 1), *([PRESSED] if seq == 3 else [])), 60.0 * (seq + 1) + 0.05)
    assert redatings(store) == []
    assert pressed_at(store) == about(239.8)


@NUMBERED
def test_to_and_fro(bridged: Bridged, store: SqlStore, kind: str) -> None:
    bridge = bridged(store)
    hear_minutes(bridge, kind, 0, 9, presses_in=(3,))
    bridge.clock_is_set(HOUR_S)
    hear_minutes(bridge, kind, 10, 19, presses_in=(12,))
    bridge.clock_is_set(-HOUR_S)
    hear_minutes(bridge, kind, 20, 29, presses_in=(22,))
    bridge.clock_is_set()
    hear_minutes(bridge, kind, 30, 35)
    assert pressed_at(store) == about(239.8, 779.8, 1379.8)


@WRONG
@NUMBERED
def test_while_the_service_is_down(bridged: Bridged, store: SqlStore, kind: str, wrong_s: float) -> None:
    bridge = bridged(store, wrong_s)
    hear_minutes(bridge, kind, 0, 9, presses_in=(3,))
    bridge.true_s = 800.0
    bridge.clock_is_set()
    bridge.starts()
    hear_minutes(bridge, kind, 15, 20, presses_in=(16,))
    assert pressed_at(store) == about(239.8, 1019.8)


@NUMBERED
def test_what_was_received_in_another_power_up_of_the_host_stays(bridged: Bridged, store: SqlStore, kind: str) -> None:
    """The host comes up with a wrong clock, as one without a battery does; then the network tells it the time."""
    bridge = bridged(store)
    hear_minutes(bridge, kind, 0, 9, presses_in=(3,))
    bridge.true_s = 800.0
    bridge.host_starts(wrong_s=-86400.0)
    hear_minutes(bridge, kind, 15, 20, presses_in=(16,))
    bridge.clock_is_set()
    hear_minutes(bridge, kind, 21, 25, presses_in=(22,))
    assert pressed_at(store) == about(239.8, 1019.8, 1379.8)


@NUMBERED
def test_packs_that_wait_to_be_understood_move_too(bridged: Bridged, store: SqlStore, kind: str) -> None:
    bridge = bridged(store, -HOUR_S)
    hear_minutes(bridge, kind, 0, 2)
    bridge.keeper._understander = Silent()  # type: ignore[assignment]
    hear_minutes(bridge, kind, 3, 5, presses_in=(3,))
    assert pressed_at(store) == []
    bridge.clock_is_set()
    bridge.listens(400.0)
    bridge.starts()
    hear_minutes(bridge, kind, 6, 8)
    assert pressed_at(store) == about(239.8)


class Silent:
    """Understands nothing, and says that nothing waits."""

    def process_pending(self, limit: int) -> int:
        return 0


@NUMBERED
def test_recordings_bring_their_times_with_them(bridged: Bridged, store: SqlStore, kind: str) -> None:
    """One that is read in falls into the time that this host has listened to; no clock of its has dated it."""
    bridge = bridged(store, HOUR_S)
    hear_minutes(bridge, "numbered", 0, 9, presses_in=(3,))
    topic = "bellcrank/1/tern-cottage/shed/pack"
    lines = [
        Arrival(topic, payload(kind, seq, 60.0 * (seq + 1), PRESSED), T0 + HOUR_S + 60.0 * (seq + 1) + 0.05, "file")
        for seq in range(3)
    ]
    take_in(store, lines, Understander(store))
    before = [p.start_s for p in store.reader().presses(SITE, 0.0, 2 * T0, chime="shed")[0]]
    bridge.clock_is_set()
    hear_minutes(bridge, "numbered", 10, 12)
    assert [p.start_s for p in store.reader().presses(SITE, 0.0, 2 * T0, chime="shed")[0]] == before
    assert [p.start_s - T0 for p in store.reader().presses(SITE, 0.0, 2 * T0, chime="hall")[0]] == about(239.8)


def test_packs_kept_back_through_an_outage_are_dated_by_the_clock_as_it_is_now(
    bridged: Bridged, store: SqlStore
) -> None:
    bridge = bridged(store, HOUR_S)
    hear_minutes(bridge, "numbered", 0, 9)
    back = [numbered(seq, 60.0 * (seq + 1), *([PRESSED] if seq == 100 else [])) for seq in range(10, 200)]
    bridge.listens(6000.0, every_s=300.0)
    bridge.clock_is_set()
    bridge.listens(12_100.0, every_s=300.0)
    for one in back:
        bridge.hears(one, 12_100.0)
    assert pressed_at(store) == about(60.0 * 101 - 0.2)


def test_when_chimes_were_heard_moves_once_however_many_power_ups_they_had(bridged: Bridged, store: SqlStore) -> None:
    bridge = bridged(store, -HOUR_S)
    for boot in (1, 2, 3):
        bridge.hears(numbered(0, 5.0, boot=boot), 100.0 * boot)
    bridge.clock_is_set()
    bridge.listens(400.0)
    (chime,) = store.reader().chimes(SITE)
    assert (chime.first_heard_s - T0, chime.last_heard_s - T0) == (pytest.approx(100.0), pytest.approx(300.0))
    assert [boot.start_s - T0 for boot in store.reader().boots(SITE, "hall", 0.0, 2 * T0)] == pytest.approx(
        [95.0, 195.0, 295.0], abs=0.1
    )


@WRONG
@NUMBERED
def test_no_blind_time_comes_of_it(bridged: Bridged, store: SqlStore, kind: str, wrong_s: float) -> None:
    bridge = bridged(store, wrong_s)
    bridge.hears(b"1", 1.0, "bellcrank/1/tern-cottage/hall/alive")
    hear_minutes(bridge, kind, 0, 9)
    bridge.clock_is_set()
    hear_minutes(bridge, kind, 10, 20)
    assert list(store.reader().blind_spells(SITE, 0.0, 2 * T0, T0 + 1270.0)) == []


def test_while_the_service_was_down_is_dated_anew_too(bridged: Bridged, store: SqlStore) -> None:
    bridge = bridged(store, HOUR_S)
    hear_minutes(bridge, "unnumbered", 0, 4)
    bridge.listens(310.0)
    bridge.true_s = 500.0
    bridge.starts()
    hear_minutes(bridge, "unnumbered", 9, 12)
    bridge.clock_is_set()
    hear_minutes(bridge, "unnumbered", 13, 15)
    (spell,) = store.reader().blind_spells(SITE, 0.0, 2 * T0, T0 + 970.0)
    assert spell.why == "service down"
    assert spell.end_s == pytest.approx(T0 + 500.0, abs=1.0)
    assert 300.0 - 31.0 < spell.start_s - T0 < 311.0  # twice a minute it is noted that we still listen


@pytest.mark.parametrize("seed", range(1))
def test_the_order_of_arrival_does_not_matter(bridged: Bridged, seed: int) -> None:
    """The same packs before and after the setting, in order and in some other."""
    first, then, found = list(range(10)), list(range(10, 20)), []
    for _ in range(2):
        with memory() as store:
            bridge = bridged(store, -HOUR_S)
            bridge.listens(620.0, every_s=310.0)
            for seq in first:
                bridge.hears(numbered(seq, 60.0 * (seq + 1), *([PRESSED] if seq % 3 == 0 else [])), 620.0)
            bridge.clock_is_set()
            for seq in then:
                bridge.hears(numbered(seq, 60.0 * (seq + 1), *([PRESSED] if seq % 3 == 0 else [])), 1220.0)
            found.append([(round(at_s, 1)) for at_s in pressed_at(store)])
        random.Random(seed).shuffle(first)
        random.Random(seed + 9).shuffle(then)
    assert found[0] == found[1]
    assert len(found[0]) == 7


@WRONG
def test_what_is_handed_in_over_http_moves_like_the_rest(bridged: Bridged, store: SqlStore, wrong_s: float) -> None:
    bridge = bridged(store, wrong_s)
    bridge.handed_in(numbered(0, 60.0, PRESSED), 60.05)
    bridge.turns()
    bridge.clock_is_set()
    bridge.listens(120.0)
    bridge.handed_in(numbered(1, 180.0, PRESSED), 180.05)
    bridge.turns()
    assert pressed_at(store) == about(59.8, 179.8)


@NUMBERED
def test_what_was_handed_in_just_before_the_clock_was_set_is_dated_by_the_clock_of_then(
    bridged: Bridged, store: SqlStore, kind: str
) -> None:
    """It waits for the keeper while somebody sets the clock."""
    bridge = bridged(store, HOUR_S)
    bridge.handed_in(payload(kind, 0, 60.0, PRESSED), 60.05)
    bridge.clock_is_set()
    bridge.turns()
    assert pressed_at(store) == about(59.8)


def test_nothing_is_kept_before_the_record_knows_the_clock(
    bridged: Bridged, store: SqlStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The disk is full while the service starts under a clock that is an hour slow; the clock is put right while it is down again."""
    bridge = bridged(store, 0.0)
    bridge.hears(numbered(0, 10.0), 10.05)
    full = [6]  # times that the record cannot be told of the clock; the pack itself could be written in between
    note = dating.listen

    def listen(*arguments: Any, **more: Any) -> None:
        full[0] -= 1
        if full[0] >= 0:
            raise StoreUnavailable("The disk is full.")
        note(*arguments, **more)

    monkeypatch.setattr("service.keeper.dating.listen", listen)
    monkeypatch.setattr("service.keeper.RETRY_S", 0.0)
    bridge.clock_is_set(-HOUR_S)
    bridge.starts()
    bridge.hears(numbered(1, 60.0, PRESSED), 60.05)
    bridge.clock_is_set(0.0)
    bridge.starts()
    bridge.hears(numbered(2, 120.0), 120.05)
    assert full[0] < 0
    assert pressed_at(store) == about(59.8)
