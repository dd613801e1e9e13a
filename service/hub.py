"""Passes events to those who listen now. Whoever was away asks the Reader for what came meanwhile; here nothing is kept."""

import threading
from collections.abc import Callable, Sequence

from service.model import Event

Listener = Callable[[Event | None], None]
"""Gets each event, and None when there will be no more."""


class Hub:
    """Listeners are called in the keeper's thread and must not block."""

    def __init__(self) -> None:
        self._listeners: set[Listener] = set()
        self._lock = threading.Lock()

    def listen(self, listener: Listener) -> Callable[[], None]:
        """Call `listener` with each event from now on; the answer ends it."""
        with self._lock:
            self._listeners = {*self._listeners, listener}

        def leave() -> None:
            with self._lock:
                self._listeners = self._listeners - {listener}

        return leave

    def end(self) -> None:
        """Tell every listener that there will be no more: the process ends."""
        for listener in self._listeners:
            listener(None)

    def tell(self, events: Sequence[Event]) -> None:
        for event in events:
            for listener in self._listeners:
                listener(event)
