"""A host whose clock somebody sets, a bridge on it that starts and stops, and a chime that goes on whatever they do.

All times are true ones, from T0 on [s]; the host's clock shows them with an error.
"""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from adapters.sql.work import SqlStore
from service.health import Health
from service.hostclock import HostClock, Watched
from service.intake import Understander
from service.keeper import Keeper, Parcel
from service.model import Arrival, Press, Redating
from tests.builders import CHIME, PRESS, SITE, T0, TOPIC

LATE_S = 0.05

PRESSED = {**PRESS, "t": -0.2}
"""A press that began 0.2 s before its pack was made."""


class Air:
    """A source (`keeper.Source`) that stamps what comes by the clock of the bridge at that moment, as the real one does."""

    def __init__(self, watched: Watched) -> None:
        self._watched, self._coming = watched, list[tuple[str, bytes]]()

    def bring(self, topic: str, payload: bytes) -> None:
        self._coming.append((topic, payload))

    def wait(self, waker: int, timeout_s: float) -> bool:
        return bool(self._coming)

    def collect(self, limit: int) -> list[Arrival]:
        taken, self._coming = self._coming, []
        return [Arrival(topic, payload, self._watched.now_s()) for topic, payload in taken]

    def kept(self) -> None: ...
    def stop(self) -> None: ...


class Bridge:
    """`wrong_s`: by how much the host's clock is wrong. Turns the keeper by hand, so that nothing depends on threads."""

    def __init__(self, store: SqlStore, wrong_s: float = 0.0) -> None:
        self.store, self.wrong_s, self.true_s = store, wrong_s, 0.0
        self._power_ups = 0
        self.host_starts()

    # the host

    def host_starts(self, wrong_s: float | None = None) -> None:
        self._power_ups += 1
        self._host_on_s = self.true_s - 100.0
        self.wrong_s = self.wrong_s if wrong_s is None else wrong_s
        self.starts()

    def clock_is_set(self, wrong_s: float = 0.0) -> None:
        self.wrong_s = wrong_s

    def _read(self) -> HostClock:
        return HostClock(f"power-up {self._power_ups}", T0 + self._host_on_s + self.wrong_s)

    def _uptime_s(self) -> float:
        return self.true_s - self._host_on_s

    # the service

    def starts(self) -> None:
        """What was in memory is gone."""
        if self.true_s or self._power_ups > 1:
            self.ends()
        self.store._ledgers.forget()
        self.watched = Watched(self._read, self._uptime_s)
        self.air = Air(self.watched)
        health = Health("0.0", T0, "127.0.0.1:7433")
        now_s = lambda: T0 + self.true_s + self.wrong_s  # noqa: E731
        self.keeper = Keeper(
            self.store, self.air, Understander(self.store), health, now_s, lambda events: None, watched=self.watched
        )
        self.turns()

    def ends(self) -> None:
        """The keeper's thread, which was never started, ends: it finishes and closes what it holds."""
        self.keeper.stop()
        self.keeper.run()

    def turns(self, times: int = 3) -> None:
        for _ in range(times):
            self.keeper._turn()

    def hears(self, payload: bytes, true_s: float, topic: str = TOPIC) -> None:
        self.true_s = true_s
        self.air.bring(topic, payload)
        self.turns()

    def listens(self, until_s: float, every_s: float = 20.0) -> None:
        """Nothing comes meanwhile."""
        while self.true_s < until_s:
            self.true_s = min(self.true_s + every_s, until_s)
            self.turns(1)

    def handed_in(self, payload: bytes, true_s: float) -> None:
        """Over HTTP: stamped when it comes, kept when the keeper next turns."""
        self.true_s = true_s
        self.keeper.submit(Parcel(Arrival(TOPIC, payload, self.watched.now_s(), "http"), lambda: None))


Bridged = Callable[..., Bridge]
"""Makes a bridge that is ended after the test."""


def numbered(seq: int, up_s: float, *records: dict[str, Any], boot: int = 1) -> bytes:
    head = [{"n": "boot", "v": boot}, {"n": "seq", "v": seq}, {"n": "up", "u": "s", "v": up_s}]
    return json.dumps([*head, *WINDOW, *records]).encode()


def unnumbered(*records: dict[str, Any], mean_v: float = 14.2) -> bytes:
    return json.dumps([{"n": "rail.mean", "u": "V", "v": mean_v}, WINDOW[1], *records]).encode()


WINDOW = [{"n": "rail.mean", "u": "V", "v": 14.2}, {"n": "rail.window", "u": "s", "v": 60}]


def pressed_at(store: SqlStore, site: str = SITE) -> list[float]:
    """When presses began, from T0 on."""
    found: list[Press] = list(store.reader().presses(site, 0.0, 2.0 * T0)[0])
    return [press.start_s - T0 for press in found]


def redatings(store: SqlStore) -> list[Redating]:
    return list(store.reader().redatings(SITE, 0.0, 2.0 * T0))


@contextmanager
def memory() -> Iterator[SqlStore]:
    opened = SqlStore("sqlite://", "Europe/London")
    yield opened
    opened.close()


__all__ = [
    "CHIME",
    "PRESSED",
    "SITE",
    "T0",
    "Bridge",
    "Bridged",
    "memory",
    "numbered",
    "pressed_at",
    "redatings",
    "unnumbered",
]
