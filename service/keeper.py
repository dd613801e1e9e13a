"""The one thread that writes: keeps what arrives, lets it be acknowledged, then understands it.

Keeping comes first: while packs go on coming they are kept and acknowledged in batches, and understanding takes small slices as
soon as it is quiet, at the latest when kept packs have waited `PATIENCE_S`. With a single writer there is no contest for the
database, and a person's action takes its place in the same queue. Knows no MQTT, HTTP or SQL.
"""

import logging
import queue
import socket
import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Protocol, TypeVar

from service import dating, intake
from service.errors import StoreUnavailable
from service.health import Health
from service.hostclock import HostClock, Watched
from service.model import Arrival, Event
from service.ports import Clock, Store, Work

log = logging.getLogger(__name__)
T = TypeVar("T")

BATCH = 500
"""Packs kept in one commit at the most: some 10 ms of work, so that acknowledging stays quick."""

SLICE = 50
"""Packs understood between two looks at the source."""

BURST = 8
"""As many at once, and more are likely to follow: then it is not called quiet before `LULL_S` have passed."""

LULL_S = 0.002
PATIENCE_S = 2.0
"""A burst is kept first and understood afterwards, but never later than this."""

NOTE_EVERY_S = 30.0
"""How often it is noted that we still listen [s]."""

RETRY_S = 1.0
"""Pause before the store is tried again after it has failed."""


class Source(Protocol):
    """Where arrivals come from and are acknowledged to. Only the keeper's thread calls it."""

    def wait(self, waker: int, timeout_s: float) -> bool: ...
    def collect(self, limit: int) -> list[Arrival]: ...
    def kept(self) -> None: ...
    def stop(self) -> None: ...


@dataclass(frozen=True, slots=True)
class Parcel:
    """An arrival handed in from another thread, and whom to tell when it is on the disk."""

    arrival: Arrival
    kept: Callable[[], None]


class Keeper:
    """Start it with `run` in a thread of its own; `stop` lets it finish what it holds.

    Parameters
    ----------
    told : called with events after each commit, from the keeper's thread; must not block.
    watched : the host's clock, by which the source says when something arrived.
    limit : parcels that may wait. `submit` blocks above it.
    """

    def __init__(
        self,
        store: Store,
        source: Source,
        understander: intake.Understander,
        health: Health,
        clock: Clock,
        told: Callable[[Sequence[Event]], None],
        limit: int = 1000,
        watched: Watched | None = None,
    ) -> None:
        self._store, self._source, self._understander = store, source, understander
        self._health, self._clock, self._told = health, clock, told
        self._watched = watched or Watched()
        self._listens, self._noted_s = False, 0.0
        self._parcels: queue.Queue[Parcel] = queue.Queue(limit)
        self._jobs: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._stopping = threading.Event()
        self._behind_since: float | None = time.monotonic()  # kept packs may be left over from the last run
        self._waker, self._woken = socket.socketpair()
        for end in (self._waker, self._woken):
            end.setblocking(False)

    # from other threads

    def submit(self, parcel: Parcel) -> None:
        """Hand over a parcel. Blocks while too many wait. Raises StoreUnavailable once the keeper is stopping."""
        while not self._stopping.is_set():
            try:
                self._parcels.put(parcel, timeout=0.5)
            except queue.Full:
                continue
            self._wake()
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
        try:
            while not self._stopping.is_set():
                self._turn()
            self._run_jobs()
        finally:
            self._source.stop()
            self._waker.close()
            self._woken.close()

    def _turn(self) -> None:
        parcels = self._handed_in()  # stamped by the clock as the record knew it until now
        moved_s = self._watch_clock()
        if moved_s is None:
            return
        parcels = [replace(p, arrival=p.arrival._replace(received_s=p.arrival.received_s + moved_s)) for p in parcels]
        arrivals = self._source.collect(BATCH)
        if arrivals or parcels:
            self._keep([*arrivals, *(parcel.arrival for parcel in parcels)], parcels)
        self._run_jobs()
        lull = LULL_S if len(arrivals) > BURST else 0.0
        if self._behind_since is not None:
            more = len(arrivals) == BATCH or self._source.wait(self._woken.fileno(), lull)
            if not more or time.monotonic() - self._behind_since > PATIENCE_S:
                self._understand_some()
            return
        self._source.wait(self._woken.fileno(), 1.0)
        with suppress(BlockingIOError):
            self._woken.recv(4096)

    def _watch_clock(self) -> float | None:
        """Before anything is kept, the record knows by which clock. Twice a minute it is noted that we still listen.

        By how much the clock has been set [s]; None where we are to stop and the record could not be told.
        """
        set_anew = self._watched.step()
        now_s = self._clock()
        if self._listens and set_anew is None and 0.0 <= now_s - self._noted_s < NOTE_EVERY_S:
            return 0.0
        while not self._note_clock(
            set_anew, now_s
        ):  # what is kept before the record knows would be dated by another clock
            if self._stopping.is_set():
                return None
        before, self._watched.known = self._watched.known, set_anew or self._watched.known
        self._listens, self._noted_s = True, now_s
        return self._watched.known.offset_s - before.offset_s

    def _note_clock(self, set_anew: HostClock | None, now_s: float) -> bool:
        try:
            with self._store.work() as work:
                if self._listens and set_anew is None:
                    work.still_listening(now_s)
                else:
                    dating.listen(work, set_anew or self._watched.known, now_s, anew=not self._listens)
        except StoreUnavailable as trouble:
            self._store_failed(trouble)
            return False
        return True

    def _handed_in(self) -> list[Parcel]:
        return [self._parcels.get_nowait() for _ in range(min(self._parcels.qsize(), BATCH))]

    def _keep(self, arrivals: list[Arrival], parcels: list[Parcel]) -> None:
        while True:
            try:
                intake.receive(self._store, arrivals)
                break
            except StoreUnavailable as trouble:  # nothing is acknowledged meanwhile; the broker holds the rest
                self._store_failed(trouble)
                if self._stopping.is_set():
                    return
        self._behind_since = self._behind_since or time.monotonic()
        self._health.last_commit_s = self._clock()
        self._store_works()
        self._source.kept()
        for parcel in parcels:
            parcel.kept()

    def _understand_some(self) -> None:
        try:
            count = self._understander.process_pending(SLICE)
        except StoreUnavailable as trouble:
            self._store_failed(trouble)
            return
        self._behind_since = self._behind_since if count == SLICE else None
        self._tell_events()

    def _run_jobs(self) -> None:
        if self._jobs.empty():
            return
        while not self._jobs.empty():
            self._jobs.get()()
        self._tell_events()

    def _tell_events(self) -> None:
        events = self._store.fresh_events()
        if events:
            self._told(events)

    def _store_failed(self, trouble: StoreUnavailable) -> None:
        if self._health.store_trouble is None:
            log.error("%s", trouble)
            self._health.store_since_s = self._clock()
        self._health.store_trouble = str(trouble)
        self._stopping.wait(RETRY_S)

    def _store_works(self) -> None:
        if self._health.store_trouble is not None:
            log.warning("The record can be written again")
            since_s, until_s = self._health.store_since_s, self._clock()
            with suppress(StoreUnavailable), self._store.work() as work:
                work.add_store_trouble(since_s, until_s)
            self._health.store_trouble, self._health.store_since_s = None, until_s

    def _wake(self) -> None:
        with suppress(OSError):  # a full buffer wakes as well, and after the end there is nobody to wake
            self._waker.send(b"\0")
