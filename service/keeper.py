"""The one thread that writes: keeps what arrives, lets it be acknowledged, then understands it.

Keeping comes first: while packs are waiting they are kept and acknowledged in batches, and understanding goes on in small
slices between, at the latest when the oldest kept pack has waited `PATIENCE_S`. With a single writer there is no contest
for the database, and a person's action takes its place in the same queue. Knows no MQTT, HTTP or SQL.
"""

import logging
import queue
import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass
from typing import TypeVar

from service import intake
from service.errors import StoreUnavailable
from service.health import Health
from service.model import Arrival, Event
from service.ports import Clock, Store, Work

log = logging.getLogger(__name__)
T = TypeVar("T")

BATCH = 500
"""Packs kept in one commit at the most: some 10 ms of work, so that acknowledging stays quick."""

SLICE = 50
"""Packs understood between two looks at the queue."""

PATIENCE_S = 1.0
"""A burst is kept first and understood afterwards, but never later than this."""

RETRY_S = 1.0
"""Pause before the store is tried again after it has failed."""


@dataclass(frozen=True, slots=True)
class Parcel:
    """An arrival, and whom to tell when it is on the disk (or cannot be kept: with the error)."""

    arrival: Arrival
    kept: Callable[[], None]


class Keeper:
    """Start it with `run` in a thread of its own; `stop` lets it finish what it holds.

    Parameters
    ----------
    limit : parcels that may wait. `submit` blocks above it, so that the broker, not this process, holds the rest.
    told : called with events after each commit, from the keeper's thread; must not block.
    """

    def __init__(
        self,
        store: Store,
        understander: intake.Understander,
        health: Health,
        clock: Clock,
        told: Callable[[Sequence[Event]], None],
        limit: int = 5000,
    ) -> None:
        self._store, self._understander, self._health, self._clock, self._told = (
            store,
            understander,
            health,
            clock,
            told,
        )
        self._queue: queue.Queue[Parcel | None] = queue.Queue(limit)
        self._jobs: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._stopping = threading.Event()
        self._behind_since: float | None = time.monotonic()  # kept packs may be left over from the last run

    # from other threads

    def submit(self, parcel: Parcel) -> None:
        """Hand over a parcel. Blocks while too many wait. Raises StoreUnavailable once the keeper is stopping."""
        while not self._stopping.is_set():
            try:
                self._queue.put(parcel, timeout=0.5)
            except queue.Full:
                continue
            return
        raise StoreUnavailable("Bellcrank is stopping.")

    def do(self, action: Callable[[Work], T], timeout_s: float = 10.0) -> T:
        """Run an action in a transaction of its own, in the writer's thread, and wait for it. Raises what it raises."""
        answer: Future[T] = Future()

        def job() -> None:
            try:
                with self._store.work() as work:
                    result = action(work)
            except Exception as error:  # noqa: BLE001 - answered: it is raised again where the action was asked for
                answer.set_exception(error)
            else:
                answer.set_result(result)

        if self._stopping.is_set():
            raise StoreUnavailable("Bellcrank is stopping.")
        self._jobs.put(job)
        self._wake()
        try:
            return answer.result(timeout_s)
        except TimeoutError:
            raise StoreUnavailable(f"The record was busy for {timeout_s:g} s.") from None

    def stop(self) -> None:
        """Ask the thread to finish what it holds and end."""
        self._stopping.set()
        self._wake()

    # in its own thread

    def run(self) -> None:
        """Until `stop`: keep, acknowledge, understand. A failing store is tried again for ever; any other error ends it."""
        while not (self._stopping.is_set() and self._queue.empty()):
            batch = self._next_batch()
            try:
                if batch:
                    self._keep(batch)
                self._run_jobs()
                if not batch or self._queue.qsize() < SLICE or self._is_late():
                    self._understand_some()
            except StoreUnavailable as trouble:
                self._store_failed(trouble)
        self._run_jobs()

    def _next_batch(self) -> list[Parcel]:
        batch: list[Parcel] = []
        try:
            wait = self._behind_since is None and self._jobs.empty() and not self._stopping.is_set()
            first = self._queue.get(block=wait, timeout=1.0) if wait else self._queue.get_nowait()
            while True:
                if first is not None:
                    batch.append(first)
                if len(batch) >= BATCH:
                    break
                first = self._queue.get_nowait()
        except queue.Empty:
            pass
        return batch

    def _keep(self, batch: list[Parcel]) -> None:
        arrivals = [parcel.arrival for parcel in batch]
        while True:
            try:
                intake.receive(self._store, arrivals)
                break
            except (
                StoreUnavailable
            ) as trouble:  # nothing is acknowledged meanwhile; the queue fills, the broker holds the rest
                self._store_failed(trouble)
                if self._stopping.is_set():
                    return
        self._behind_since = self._behind_since or time.monotonic()
        self._health.last_commit_s = self._clock()
        self._store_works()
        for parcel in batch:
            parcel.kept()

    def _understand_some(self) -> None:
        count = self._understander.process_pending(SLICE)
        self._behind_since = time.monotonic() if count >= SLICE else None
        self._health.waiting = self._queue.qsize()
        events = self._store.fresh_events()
        if events:
            self._told(events)

    def _run_jobs(self) -> None:
        while not self._jobs.empty():
            self._jobs.get()()

    def _is_late(self) -> bool:
        return self._behind_since is not None and time.monotonic() - self._behind_since > PATIENCE_S

    def _store_failed(self, trouble: StoreUnavailable) -> None:
        if self._health.store_trouble is None:
            log.error("%s", trouble)
            self._health.store_since_s = self._clock()
        self._health.store_trouble = str(trouble)
        self._stopping.wait(RETRY_S)

    def _store_works(self) -> None:
        if self._health.store_trouble is not None:
            log.warning("The record can be written again")
            self._health.store_trouble, self._health.store_since_s = None, self._clock()

    def _wake(self) -> None:
        with suppress(queue.Full):  # a full queue is awake
            self._queue.put_nowait(None)
