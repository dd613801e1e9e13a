"""What happens when nothing arrives: old events are forgotten. (Delays, shelving and silence come with the alarms.)"""

import threading

from service.errors import StoreUnavailable
from service.keeper import Keeper
from service.ports import Clock

EVENTS_KEPT_S = 7 * 86400.0
"""A listener that was away for longer reads the record instead [s]."""

EVERY_S = 3600.0


class Timers:
    """Runs in a thread of its own."""

    def __init__(self, keeper: Keeper, clock: Clock) -> None:
        self._keeper, self._clock, self._stopping = keeper, clock, threading.Event()

    def run(self) -> None:
        while not self._stopping.wait(EVERY_S):
            self.tick()

    def tick(self) -> None:
        """One round. A store that is away now is met again in the next."""
        try:
            self._keeper.do(lambda work: work.forget_events(self._clock() - EVENTS_KEPT_S))
        except StoreUnavailable:
            return

    def stop(self) -> None:
        self._stopping.set()
