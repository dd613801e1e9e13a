"""Promise: what no pack tells is told all the same, once: a chime falls silent, is heard again, or somebody pressed unseen."""

from collections.abc import Iterator
from typing import Any

import pytest

from adapters.sql.work import SqlStore
from service.intake import Understander, receive
from service.lookout import Lookout
from service.model import Arrival
from service.presses.blind import SILENT_AFTER_S
from tests.builders import CHIME, PRESS, SITE, T0, arrival, pack

WINDOW = {"n": "rail.mean", "u": "V", "v": 14.0}
SOUND = {"n": "sound", "vb": True}


class Watched:
    """A record, and what is told when it is looked at."""

    def __init__(self, store: SqlStore) -> None:
        self.store, self.lookout = store, Lookout(store.reader())

    def keep(self, *arrivals: Arrival) -> None:
        receive(self.store, arrivals)
        while Understander(self.store).process_pending():
            pass
        with self.store.work() as work:
            work.claim(SITE, CHIME, None)
        self.store.fresh_events()

    def look(self, after_s: float) -> list[tuple[str, dict[str, Any]]]:
        found = self.lookout.look(T0 + after_s)
        assert {event.kind for event in found} <= {"blind", "unseen"}
        return [(event.kind, event.data) for event in found]


@pytest.fixture
def watched() -> Iterator[Watched]:
    store = SqlStore("sqlite://")
    yield Watched(store)
    store.close()


def window(seq: int, after_s: float, boot: int = 1, arrives_s: float | None = None) -> Arrival:
    return arrival(pack(seq, WINDOW, boot=boot, up_s=after_s), after_s if arrives_s is None else arrives_s)


def test_what_was_there_at_the_first_look_is_no_news(watched: Watched) -> None:
    watched.keep(window(0, 10.0), window(5, 60.0))
    assert watched.look(70.0) == []
    assert watched.look(80.0) == []


def test_silence_is_told_once_and_so_is_its_end(watched: Watched) -> None:
    watched.keep(window(0, 10.0))
    assert watched.look(20.0) == []
    ((kind, data),) = watched.look(20.0 + SILENT_AFTER_S)
    assert (kind, data["why"], data["end"]) == ("blind", "chime silent", None)
    assert watched.look(40.0 + SILENT_AFTER_S) == []
    watched.keep(window(1, 400.0))
    ((kind, data),) = watched.look(410.0)
    assert kind == "blind"
    assert data["end"] is not None
    assert data["filled"]


def test_a_gap_that_stays_is_told_as_what_it_was(watched: Watched) -> None:
    watched.keep(window(0, 10.0))
    watched.look(20.0)
    watched.keep(window(7, 80.0))
    told = watched.look(90.0)
    assert [(kind, data["why"]) for kind, data in told if kind == "blind"] == [("blind", "packs lost")]
    assert [data["why"] for kind, data in told if kind == "unseen"] == [["packs missing"]]
    assert watched.look(100.0) == []


def test_a_sound_that_no_press_explains_is_told_when_the_press_has_had_its_time(watched: Watched) -> None:
    watched.keep(window(0, 10.0))
    watched.look(20.0)
    watched.keep(arrival(pack(1, SOUND, up_s=30.0), 30.0))
    assert watched.look(35.0) == []
    ((kind, data),) = watched.look(45.0)
    assert (kind, data["why"]) == ("unseen", ["sounded alone"])
    assert watched.look(55.0) == []


def test_a_sound_that_a_press_explains_is_not_told(watched: Watched) -> None:
    watched.keep(window(0, 10.0))
    watched.look(20.0)
    watched.keep(arrival(pack(1, SOUND, up_s=30.0), 30.0), arrival(pack(2, PRESS, up_s=30.5), 30.5))
    assert watched.look(60.0) == []
