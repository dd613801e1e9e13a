"""Promise: the present state of a chime is told in a few fields when it changes, again when it was not taken, and not otherwise."""

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import pytest

from adapters.sql.work import SqlStore
from service.hub import Hub
from service.intake import Understander, receive
from service.model import Event
from service.present import Present, present
from tests.builders import CHIME, PRESS, SITE, T0, arrival, pack


@dataclass
class Broker:
    taken: list[dict[str, Any]] = field(default_factory=list)
    is_there: bool = True

    def publish(self, site: str, chime: str, payload: bytes) -> bool:
        assert (site, chime) == (SITE, CHIME)
        if self.is_there:
            self.taken.append(json.loads(payload))
        return self.is_there


@pytest.fixture
def store() -> Iterator[SqlStore]:
    opened = SqlStore("sqlite://", "Europe/London")
    receive(opened, [arrival(pack(0, PRESS))])
    Understander(opened).process_pending(10)
    with opened.work() as work:
        work.claim(SITE, CHIME, "Tern Cottage")
        work.rename_door(SITE, CHIME, "front", "Front door")
    yield opened
    opened.close()


def test_the_last_press_at_each_door_is_told(store: SqlStore) -> None:
    told = present(store.reader(), SITE, CHIME, T0 + 200.0)
    # the press of the builders began 0.4 s before its pack, which came at T0 + 100.05 s
    front = told["doors"]["front"]
    assert front["name"] == "Front door"
    assert datetime.fromisoformat(front["pressed"]).timestamp() == pytest.approx(T0 + 99.65, abs=1e-5)
    # its last pulse ended 127 ms later: 6 x 20 ms and one of 7 ms
    assert datetime.fromisoformat(front["released"]).timestamp() == pytest.approx(T0 + 99.777, abs=1e-5)
    assert (told["alive"], told["blind"], told["findings"]) == (None, None, [])
    assert present(store.reader(), SITE, CHIME, T0 + 2 * 86_400.0)["doors"]["front"]["pressed"] is None


def test_it_is_told_when_it_changes_and_not_otherwise(store: SqlStore) -> None:
    broker, hub = Broker(), Hub()
    part = Present(store.reader(), lambda: T0 + 200.0, broker.publish)
    hub.listen(part.told)
    event = Event(1, T0, "press", SITE, CHIME, {})
    hub.tell([event, event])
    assert part.turn()
    hub.tell([event, Event(2, T0, "supply", SITE, CHIME, {})])
    assert part.turn()
    assert len(broker.taken) == 1
    with store.work() as work:
        ledger = work.chime(SITE, CHIME, T0)
        ledger.alive, ledger.alive_since_s, ledger.changed = False, T0, True
    hub.tell([event])
    assert part.turn()
    assert [told["alive"] for told in broker.taken] == [None, False]
    assert broker.taken[0]["at"] == "2026-09-14T10:03:20.000000Z"


def test_what_was_not_taken_is_told_later(store: SqlStore) -> None:
    broker = Broker(is_there=False)
    part = Present(store.reader(), lambda: T0 + 200.0, broker.publish)
    part.told(Event(1, T0, "press", SITE, CHIME, {}))
    assert not part.turn()
    broker.is_there = True
    assert part.turn()
    assert len(broker.taken) == 1


def test_a_chime_that_nobody_has_claimed_or_heard_is_not_told(store: SqlStore) -> None:
    broker = Broker()
    part = Present(store.reader(), lambda: T0 + 200.0, broker.publish)
    with store.work() as work:
        work.chime(SITE, "stranger", T0)
    part.told(Event(1, T0, "press", SITE, "stranger", {}))
    part.told(Event(1, T0, "press", "nowhere", "hall", {}))
    assert part.turn()
    assert broker.taken == []
