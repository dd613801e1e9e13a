"""What happens when nothing arrives: silence is noticed, and old events are forgotten."""

import threading
from collections.abc import Callable, Sequence

from service.errors import StoreUnavailable
from service.keeper import Keeper
from service.model import Event
from service.ports import Clock, Work

EVENTS_KEPT_S = 7 * 86400.0
"""A listener that was away for longer reads the record instead [s]."""

LOOK_EVERY_S = 10.0
FORGET_EVERY_S = 3600.0
TIDY_EVERY_S = 60.0


class Timers:
    """Runs in a thread of its own.

    Parameters
    ----------
    look : called every ten seconds, beside the writer; what it finds is told in one transaction, as soon as there can be one.
    tidy : called every minute.
    weigh : called after each look, beside the writer, also where the store was away.
    """

    def __init__(
        self,
        keeper: Keeper,
        clock: Clock,
        look: Callable[[float], Sequence[Event]],
        tidy: Callable[[], None] = lambda: None,
        weigh: Callable[[], None] = lambda: None,
    ) -> None:
        self._keeper, self._clock, self._look, self._tidy, self._weigh = keeper, clock, look, tidy, weigh
        self._stopping = threading.Event()
        self._forgot_s = self._tidied_s = 0.0
        self._untold: list[Event] = []

    def run(self) -> None:
        while not self._stopping.wait(LOOK_EVERY_S):
            self.tick()

    def tick(self) -> None:
        """One round. A store that is away now is met again in the next."""
        now_s = self._clock()
        try:
            self._untold += self._look(now_s)
            if self._untold:
                self._keeper.do(self._tell)
                self._untold.clear()
            self._keeper.do(lambda work: work.roll_readings(now_s))
            if abs(now_s - self._forgot_s) >= FORGET_EVERY_S:
                self._keeper.do(lambda work: work.forget_events(now_s - EVENTS_KEPT_S))
                self._forgot_s = now_s
        except StoreUnavailable:
            pass
        self._weigh()
        if abs(now_s - self._tidied_s) >= TIDY_EVERY_S:
            self._tidy()
            self._tidied_s = now_s

    def _tell(self, work: Work) -> None:
        for one in self._untold:
            work.add_event(one.kind, one.at_s, one.site, one.chime, one.data)

    def stop(self) -> None:
        self._stopping.set()
