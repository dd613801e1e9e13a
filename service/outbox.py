"""Carries letters to the ways out: at least once, in order for each, tried again by the published schedule.

Each outlet has a thread of its own, so that one that is down delays no other; what waits for it lies in the record and is read in
small pages. A letter is noted as delivered after it was taken: whoever is killed in between sends it again, with the same key.
In quiet hours urgent letters pass those that are held; else nothing passes anything. Knows no network and no SQL.
"""

import logging
import random
import threading
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, nullcontext, suppress
from dataclasses import dataclass, field, replace
from typing import Any, Protocol, TypeVar

from service import retries
from service.cloud_events import cloud_event, new_id
from service.errors import StoreUnavailable
from service.model import Event
from service.outbox_ports import Letter, OpenSender, Sender
from service.outlets import NO_MORE, Outlet
from service.ports import Clock, Reader, Work
from service.presses.away import is_away
from service.retries import Answer

log = logging.getLogger(__name__)
T = TypeVar("T")

PAGE = 20
"""Letters read at once."""

DIGEST_LIMIT = 200
"""Events in one mail; the rest follow in the next."""

LOOK_EVERY_S = 30.0
"""How often it is looked whether quiet hours have ended or a clock was set [s]."""

NOTE_WITHIN_S = 0.2
"""What was taken is noted together, this long after the first at the latest: a commit takes longer than a letter (chosen) [s]."""

RETRY_S = 1.0
"""Pause before the record is asked again after it has failed [s]."""

JOIN_WITHIN_S = 2.0
FORGET_EVERY_S = 3600.0
DELIVERED_KEPT_S, DEAD_KEPT_S = 7 * 86_400.0, 30 * 86_400.0
"""How long one can look up what was sent, and send again what was not (chosen) [s]."""


class Doing(Protocol):
    """Whoever writes (`keeper.Keeper`)."""

    def do(self, action: Callable[[Work], T], timeout_s: float = 10.0) -> T: ...


@dataclass(slots=True)
class Carrier:
    """One outlet. `turn` sends one letter, or one digest, and is called by one thread only.

    Parameters
    ----------
    draw : of the jitter, evenly from 0 to 1.
    offsets_s : of the retries; the published ones but in tests.
    one_at_a_time : entered while the record is read, so that many outlets do not each keep a connection warm.
    """

    outlet: Outlet
    reader: Reader
    keeper: Doing
    clock: Clock
    sender: Sender
    draw: Callable[[], float] = random.random
    offsets_s: tuple[float, ...] = retries.OFFSETS_S
    one_at_a_time: AbstractContextManager[Any] = field(default_factory=nullcontext)
    _pace_s: float = 0.0
    _not_before_s: float = 0.0
    _page: list[Letter] | None = None
    _taken: list[tuple[list[int], float, str]] = field(default_factory=list)  # not noted yet: letters, when, answer
    _failure: Callable[[Work], None] | None = None  # not noted yet
    _quiet: bool = False  # nothing was to be sent when it was last looked

    def turn(self) -> float:
        """One step; how long there is nothing to do then [s], if nothing new is written. Raises StoreUnavailable."""
        now_s = self.clock()
        if self._failure is not None or self._must_note(now_s):
            self.note()
        if 0.0 < self._not_before_s - now_s <= retries.LONGEST_STEP_S:
            return self._not_before_s - now_s
        letters, wait_s = self._next(now_s)
        if not letters:
            if not self._taken:
                return wait_s
            if self._quiet:
                self.note()
                return wait_s
            self._quiet = True
            return min(wait_s, NOTE_WITHIN_S)
        self._quiet = False
        try:
            answer = self.sender.send(letters, now_s)
        except Exception as error:
            log.exception("A letter to %s could not be sent", self.outlet.name)
            answer = Answer(False, f"unexpected: {type(error).__name__}: {error}", refused=True)
        self._conclude(letters, answer)
        return 0.0

    def again(self) -> None:
        """Something new was written, or the outlet has changed: look at the record afresh."""
        self._page = None

    def _next(self, now_s: float) -> tuple[Sequence[Letter], float]:
        """What is to be sent now; or nothing, and how long that holds."""
        outlet = self.outlet
        if outlet.off:
            return (), LOOK_EVERY_S
        away = outlet.away_lowest is not None and self._is_away(now_s)
        urgency = outlet.lets_through(now_s, away)
        if urgency or outlet.digest != "each":
            self._page = None
        if not self._page:
            limit = PAGE if outlet.digest == "each" else DIGEST_LIMIT
            taken = {number for numbers, _, _ in self._taken for number in numbers}
            with self.one_at_a_time:
                found = self.reader.waiting_letters(outlet.id, urgency, limit + len(taken))
            self._page = [letter for letter in found if letter.id not in taken]
        if not self._page:
            return (), LOOK_EVERY_S
        first = self._page[0]
        due_s = first.due_s if first.due_s is not None else outlet.collected_until_s(first.written_s)
        if 0.0 < due_s - now_s <= retries.LONGEST_STEP_S:
            self._page = None
            return (), min(due_s - now_s, LOOK_EVERY_S)
        return self._page[:1] if outlet.digest == "each" else self._page, 0.0

    def _is_away(self, now_s: float) -> bool:
        if self.outlet.site is None or self.outlet.person is None:
            return False
        return is_away(self.reader.away(self.outlet.site, self.outlet.person, now_s, now_s + 1.0), now_s)

    def _conclude(self, letters: Sequence[Letter], answer: Answer) -> None:
        """Decide what becomes of what was sent. It is noted by `note`, whenever the record can be written."""
        now_s, first, ids = self.clock(), letters[0], [one.id for one in letters]
        self._pace_s = retries.pace_s(self._pace_s, answer)
        self._not_before_s = now_s + self._pace_s if self._pace_s else 0.0
        if answer.delivered:
            self._taken.append((ids, now_s, answer.told))
            self._page = (self._page or [])[len(ids) :]
            return
        self._page = None
        first_s = first.first_s if first.first_s is not None else now_s
        due_s = retries.next_try_s(answer, first.written_s, first_s, now_s, self.draw(), self.offsets_s)
        outlet_id = self.outlet.id
        if answer.gone:  # this letter waits with the others, in case somebody switches the outlet on again
            due_s, self.outlet = now_s, replace(self.outlet, off=NO_MORE)
        if due_s is None:  # the next one is not tried at once: the receiver may be down
            self._not_before_s = max(self._not_before_s, now_s + self.offsets_s[0])
            log.warning("%s: given up after %d tries: %s", self.outlet.name, first.tries + 1, answer.told)

        def record(work: Work) -> None:
            work.letters_failed(ids, now_s, answer.told, due_s)
            if answer.gone:
                work.switch_outlet(outlet_id, NO_MORE)

        self._failure = record

    def _must_note(self, now_s: float) -> bool:
        return len(self._taken) >= PAGE or bool(self._taken and not 0.0 <= now_s - self._taken[0][1] < NOTE_WITHIN_S)

    def note(self) -> None:
        """Note what became of letters. Raises StoreUnavailable, and then it is still to be noted."""
        taken, failure = self._taken, self._failure
        if not taken and failure is None:
            return

        def note(work: Work) -> None:
            for ids, at_s, answer in taken:
                work.letters_delivered(ids, at_s, answer)
            if failure is not None:
                failure(work)

        self.keeper.do(note)
        self._taken, self._failure = [], None


class Outbox:
    """All carriers, as a part of the daemon.

    Parameters
    ----------
    open_sender : how an outlet is reached; called in the outlet's thread, and for a test in the caller's.
    """

    def __init__(self, reader: Reader, keeper: Doing, clock: Clock, open_sender: OpenSender) -> None:
        self._reader, self._keeper, self._clock, self._open_sender = reader, keeper, clock, open_sender
        self._stopping, self._changed = threading.Event(), threading.Event()
        self._reading = threading.Lock()
        self._lines: dict[int, _Line] = {}
        self._forgot_s = 0.0

    def run(self) -> None:
        """Until `stop`: a thread for each outlet that there is, and once an hour what is old is forgotten."""
        try:
            while not self._stopping.is_set():
                self._changed.clear()
                try:
                    self._follow(self._reader.outlets())
                    self._forget()
                except StoreUnavailable:
                    self._changed.wait(RETRY_S)
                    continue
                self._changed.wait(FORGET_EVERY_S)
                for line in self._lines.values():
                    if line.died is not None:
                        raise line.died
        finally:
            self._follow(())

    def stop(self) -> None:
        self._stopping.set()
        self._changed.set()

    def changed(self) -> None:
        """Ways out were added, changed, switched or removed, or letters brought back."""
        self._changed.set()

    def told(self, event: Event | None) -> None:
        """A listener of the hub: wakes those who may have a letter now."""
        for line in list(self._lines.values()):
            if event is not None and line.outlet.wants(event):
                line.wake.set()

    def test(self, outlet_id: int) -> Answer:
        """Send a test event now, past the queue; what became of it. Raises NotFound."""
        outlet, now_s = self._reader.outlet(outlet_id), self._clock()
        site = outlet.site or next((one.site for one in self._reader.sites()), "test")
        chime = next((one.chime for one in self._reader.chimes(outlet.site, claimed=True)), "test")
        event = Event(0, now_s, "test", site, chime, {"told": f"The way out {outlet.name!r} works."})
        key = new_id(0)
        sender = self._open_sender(outlet)
        try:
            return sender.send([Letter(0, outlet.id, key, now_s, 0, cloud_event(event, key))], now_s)
        finally:
            sender.close()

    def _follow(self, outlets: Sequence[Outlet]) -> None:
        wanted = {outlet.id: outlet for outlet in outlets if not outlet.off}
        ending = [number for number, line in self._lines.items() if wanted.get(number) != line.outlet]
        for number in ending:
            self._lines[number].end()
        for number in ending:
            self._lines.pop(number).join()
        for number, outlet in wanted.items():
            if number in self._lines:
                self._lines[number].wake.set()
            else:
                self._lines[number] = _Line(outlet, self._carrier, self.changed)

    def _carrier(self, outlet: Outlet) -> Carrier:
        sender = self._open_sender(outlet)
        return Carrier(outlet, self._reader, self._keeper, self._clock, sender, one_at_a_time=self._reading)

    def _forget(self) -> None:
        now_s = self._clock()
        if abs(now_s - self._forgot_s) >= FORGET_EVERY_S:
            self._keeper.do(lambda work: work.forget_letters(now_s - DELIVERED_KEPT_S, now_s - DEAD_KEPT_S))
            self._forgot_s = now_s


class _Line:
    """A thread that drives a carrier until it is ended, or something died in it that nobody foresaw."""

    def __init__(self, outlet: Outlet, carrier: Callable[[Outlet], Carrier], changed: Callable[[], None]) -> None:
        self.outlet, self._carrier, self._changed = outlet, carrier, changed
        self.wake, self._ending = threading.Event(), threading.Event()
        self.died: BaseException | None = None
        self._thread = threading.Thread(target=self._run, name=f"outlet {outlet.id}", daemon=True)
        self._thread.start()

    def end(self) -> None:
        self._ending.set()
        self.wake.set()

    def join(self) -> None:
        """It may still be waiting for a receiver; what it sends then is sent again, with the same key."""
        self._thread.join(JOIN_WITHIN_S)

    def _run(self) -> None:
        try:
            self._drive(self._carrier(self.outlet))
        except BaseException as error:  # noqa: BLE001 - answered: it ends the outbox, and the process with it
            self.died = error
            self._changed()

    def _drive(self, carrier: Carrier) -> None:
        try:
            while not self._ending.is_set():
                if self.wake.is_set():
                    self.wake.clear()
                    carrier.again()
                try:
                    wait_s = carrier.turn()
                except StoreUnavailable:
                    wait_s = RETRY_S
                self.wake.wait(wait_s)
        finally:
            with suppress(StoreUnavailable):  # else what was taken is sent again, with the same key
                carrier.note()
            carrier.sender.close()
