"""Promise: letters go out as soon as they are written, one way out waits for no other, and what dies is not silent."""

import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import pytest

from service.hub import Hub
from service.outbox import Outbox
from service.outbox_ports import Letter, Sender
from service.outlets import Outlet
from service.retries import Answer
from tests.builders import CHIME, SITE, T0
from tests.outbox.conftest import TAKEN, Post

PATIENCE_S = 10.0  # a test that waits so long has failed


@dataclass
class Place:
    """Where letters of one outlet arrive. While `shut`, they are being taken and nothing is answered."""

    open: threading.Event = field(default_factory=threading.Event)
    came: list[str] = field(default_factory=list)
    closed: int = 0
    changed: threading.Condition = field(default_factory=threading.Condition)
    answer: Answer = TAKEN

    def send(self, letters: Sequence[Letter], now_s: float) -> Answer:
        self.open.wait(PATIENCE_S)
        with self.changed:
            self.came += [letter.content["type"].split(".")[2] for letter in letters]
            self.changed.notify_all()
        return self.answer

    def close(self) -> None:
        self.closed += 1

    def wait_for(self, number: int) -> None:
        with self.changed:
            assert self.changed.wait_for(lambda: len(self.came) >= number, PATIENCE_S)


@dataclass
class Running:
    post: Post
    outbox: Outbox
    hub: Hub
    places: dict[str, Place]
    thread: threading.Thread
    died: list[BaseException]

    def ring(self, *doors: str) -> None:
        self.post.ring(*doors)
        self.hub.tell(self.post.store.fresh_events())

    def stop(self) -> None:
        self.outbox.stop()
        self.thread.join(PATIENCE_S)
        assert not self.thread.is_alive()


@pytest.fixture
def running(post: Post) -> Iterator[Running]:
    places: dict[str, Place] = {}
    lock, died = threading.Lock(), []

    def do(action: Callable[[Any], Any], timeout_s: float = 10.0) -> Any:
        with lock:  # one writer, as the keeper is
            return Post.do(post, action)

    post.do = do  # type: ignore[method-assign]

    def open_sender(outlet: Outlet) -> Sender:
        return places.setdefault(outlet.name, Place())

    def run() -> None:
        try:
            outbox.run()
        except BaseException as error:  # noqa: BLE001 - told to the test
            died.append(error)

    outbox, hub = Outbox(post.reader, post, lambda: T0, open_sender), Hub()
    hub.listen(outbox.told)
    for name in ("deaf", "quick"):
        places[name] = Place()
        post.outlet(name=name)
    places["quick"].open.set()
    thread = threading.Thread(target=run)
    found = Running(post, outbox, hub, places, thread, died)
    thread.start()
    yield found
    places["deaf"].open.set()
    found.stop()


def test_one_that_does_not_answer_delays_no_other(running: Running) -> None:
    running.ring("front", "garden")
    running.places["quick"].wait_for(2)
    assert running.places["deaf"].came == []
    running.ring("front")
    running.places["quick"].wait_for(3)
    running.places["deaf"].open.set()
    running.places["deaf"].wait_for(3)


def test_one_that_is_added_gets_what_comes_from_then_on(running: Running) -> None:
    running.ring("front")
    running.places["quick"].wait_for(1)
    place = running.places["late"] = Place()
    place.open.set()
    Post.outlet(running.post, name="late")
    running.outbox.changed()
    running.ring("garden")
    place.wait_for(1)
    assert place.came == ["press"]


def test_one_that_is_removed_is_closed(running: Running) -> None:
    quick = next(one.id for one in running.post.reader.outlets() if one.name == "quick")
    running.ring("front")
    running.places["quick"].wait_for(1)
    running.post.do(lambda work: work.remove_outlet(quick))
    running.outbox.changed()
    running.places["deaf"].open.set()
    running.ring("front")
    running.places["deaf"].wait_for(2)
    running.stop()
    assert running.places["quick"].came == ["press"]
    assert running.places["quick"].closed == 1


def test_a_test_passes_the_queue_and_is_answered_at_once(running: Running) -> None:
    quick = next(one.id for one in running.post.reader.outlets() if one.name == "quick")
    assert running.outbox.test(quick) == TAKEN
    assert running.places["quick"].came == ["test"]
    running.places["quick"].answer = Answer(False, "exit code 3")
    assert running.outbox.test(quick).told == "exit code 3"
    assert running.post.reader.outbox(quick).waiting == 0  # a test is not tried again


def test_what_dies_ends_the_outbox_loudly(running: Running) -> None:
    def broken(*_: Any) -> Any:
        raise ZeroDivisionError("by design")

    running.outbox._reader = type("Broken", (), {"waiting_letters": broken, "outlets": running.post.reader.outlets})()  # type: ignore[assignment]
    Post.outlet(running.post, name="third")
    running.places["deaf"].open.set()
    running.outbox.changed()
    running.thread.join(PATIENCE_S)
    assert [type(error) for error in running.died] == [ZeroDivisionError]


def test_the_place_of_a_test_event_is_a_chime_of_the_house(running: Running) -> None:
    told: list[dict[str, Any]] = []
    place = running.places["quick"]
    real = place.send
    place.send = lambda letters, now_s: (told.append(letters[0].content), real(letters, now_s))[1]  # type: ignore[method-assign,func-returns-value]
    running.outbox.test(next(one.id for one in running.post.reader.outlets() if one.name == "quick"))
    assert told[0]["source"] == f"/sites/{SITE}/chimes/{CHIME}"
