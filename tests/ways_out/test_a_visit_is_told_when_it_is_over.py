"""Promise: a visit is told once, when nobody has pressed for a minute, also when the service was restarted in between."""

from collections.abc import Iterator

import pytest

from adapters.sql.work import SqlStore
from service.intake import Understander, receive
from service.model import Event
from service.visits_over import VisitsOver
from tests.builders import CHIME, PRESS, SITE, T0, arrival, pack


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


def look(store: SqlStore, over: VisitsOver, after_s: float) -> list[Event]:
    with store.work() as work:
        over.look(work, T0 + after_s)
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
