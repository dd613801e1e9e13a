"""Promise: a visit is told once, when nobody has pressed for a minute, also when the service was restarted in between."""

from collections.abc import Callable, Iterator
from typing import TypeVar

import pytest

from adapters.sql.work import SqlStore
from service.intake import Understander, receive
from service.model import Event
from service.ports import Work
from service.timers import Timers
from service.visits_over import VisitsOver
from tests.builders import CHIME, PRESS, SITE, T0, arrival, pack

T = TypeVar("T")


@pytest.fixture
def store() -> Iterator[SqlStore]:
    opened = SqlStore("sqlite://", "Europe/London")
    ring(opened, 0, 100.05)
    with opened.work() as work:
        work.claim(SITE, CHIME, "Tern Cottage")
    opened.fresh_events()
    yield opened
    opened.close()


def ring(store: SqlStore, seq: int, after_s: float) -> None:
    receive(store, [arrival(pack(seq, PRESS, up_s=after_s), after_s)])
    Understander(store).process_pending(10)


class _Keeper:
    def __init__(self, store: SqlStore) -> None:
        self._store = store

    def do(self, action: Callable[[Work], T], timeout_s: float = 10.0) -> T:
        with self._store.work() as work:
            return action(work)


def look(store: SqlStore, over: VisitsOver, after_s: float) -> list[Event]:
    """As the timers do: found beside the writer, and told in its transaction."""
    timers = Timers(_Keeper(store), lambda: T0 + after_s, over.look)  # type: ignore[arg-type]
    timers.tick()
    return [event for event in store.fresh_events() if event.kind == "visit"]


def test_once_and_only_when_it_is_over(store: SqlStore) -> None:
    over = VisitsOver(store.reader())
    assert look(store, over, 110.0) == []
    ring(store, 1, 130.05)
    assert look(store, over, 170.0) == []
    (told,) = look(store, over, 200.0)
    assert (told.site, told.chime, told.at_s) == (SITE, CHIME, T0 + 200.0)
    assert [press["door"] for press in told.data["presses"]] == ["front", "front"]
    assert look(store, over, 210.0) == []


def test_not_again_after_a_restart(store: SqlStore) -> None:
    assert len(look(store, VisitsOver(store.reader()), 200.0)) == 1
    assert look(store, VisitsOver(store.reader()), 210.0) == []


def test_what_ended_while_the_service_was_away_is_told_if_it_is_news(store: SqlStore) -> None:
    assert look(store, VisitsOver(store.reader()), 100.0 + 60.0 + 901.0) == []
    assert len(look(store, VisitsOver(store.reader()), 100.0 + 60.0 + 890.0)) == 1
