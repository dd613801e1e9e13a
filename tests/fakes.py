"""Stand-ins that behave: a source of arrivals, a store that can fail, a clock that is set by hand."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from adapters.sql.work import SqlStore, SqlWork
from service.errors import StoreUnavailable
from service.model import Arrival, Event
from service.ports import Reader


class FakeSource:
    """Gives what it was told to give; remembers what was acknowledged."""

    def __init__(self, batches: Sequence[Sequence[Arrival]]) -> None:
        self._batches = [list(batch) for batch in batches]
        self._owed: list[Arrival] = []
        self.acknowledged: list[Arrival] = []
        self.stopped = False

    def wait(self, waker: int, timeout_s: float) -> bool:
        return bool(self._batches)

    def collect(self, limit: int) -> list[Arrival]:
        self._owed = self._batches.pop(0) if self._batches else []
        return list(self._owed)

    def kept(self) -> None:
        self.acknowledged += self._owed
        self._owed = []

    def stop(self) -> None:
        self.stopped = True


class FailingStore:
    """A real record in memory whose transactions fail while `failing` counts down."""

    def __init__(self, failing: int = 0) -> None:
        self.real = SqlStore("sqlite://")
        self.failing = failing

    @contextmanager
    def work(self) -> Iterator[SqlWork]:
        if self.failing > 0:
            self.failing -= 1
            raise StoreUnavailable("The record cannot be written: the disk is full.")
        with self.real.work() as work:
            yield work

    def fresh_events(self) -> Sequence[Event]:
        return self.real.fresh_events()

    def reader(self) -> Reader:
        return self.real.reader()

    def close(self) -> None:
        self.real.close()
