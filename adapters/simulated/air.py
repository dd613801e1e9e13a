"""The way from the chime of the past to the bridge: delays, an outage, the presence topic, and what is lost with the power.

Takes packs and power-ups in order of time and yields arrivals in order of time. Knows no firmware and no circuit.
"""

from collections.abc import Iterable, Iterator, Sequence
from math import inf
from typing import NamedTuple

import numpy as np

from service.model import Arrival

CONNECT_S = 0.8
"""From power-up to the first pack at the broker."""

KEEPALIVE_S = 30.0
WILL_AFTER_S = 1.5 * KEEPALIVE_S
"""A broker gives a silent client up after one and a half keep-alive times (MQTT 3.1.1, 3.1.2.10)."""

RECONNECT_S = 1.5
BACKLOG_STEP_S = 0.015
QUICKEST_S, USUAL_S = 0.004, 0.012
"""The quickest delivery, and the mean of what comes on top (measured on no real network: invented)."""

BACKLOG_PACKS = 2000


class Note(NamedTuple):
    """What the chime did: "on" (power-up), "off" (power lost) or "pack"."""

    at_s: float
    what: str
    payload: bytes = b""
    commissioning: bool = False


class Air:
    """One chime's way through the air. `outages` are stretches [POSIX s] without network, in order."""

    def __init__(self, base_topic: str, outages: Sequence[tuple[float, float]], rng: np.random.Generator) -> None:
        self._pack_topic, self._alive_topic = f"{base_topic}/pack", f"{base_topic}/alive"
        self._outages, self._rng = list(outages), rng
        self._online_s, self._greeted, self._backlog = inf, False, list[Note]()
        self._will_s, self._last_s = inf, -inf

    def deliver(self, notes: Iterable[Note], end_s: float) -> Iterator[Arrival]:
        """Arrivals before `end_s`."""
        for note in notes:
            if note.at_s >= end_s:
                break
            yield from self._catch_up(note.at_s)
            if note.what == "on":
                self._online_s, self._greeted = self._free_s(note.at_s + CONNECT_S), False
                self._backlog.clear()
            elif note.what == "off":
                if self._greeted:
                    self._will_s = note.at_s + WILL_AFTER_S
                self._online_s, self._greeted = inf, False
            elif self._greeted:
                yield self._arrival(note, note.at_s + self._delay_s())
            elif len(self._backlog) < BACKLOG_PACKS:
                self._backlog.append(note)
        yield from self._catch_up(end_s)

    def _catch_up(self, now_s: float) -> Iterator[Arrival]:
        """What the network does up to now: outages begin, connections come back, the broker gives up waiting."""
        while self._outages and self._outages[0][0] <= now_s:
            start, end = self._outages.pop(0)
            if self._greeted:
                self._will_s, self._greeted = start + WILL_AFTER_S, False
            if self._online_s < inf:
                self._online_s = end + RECONNECT_S
        if self._will_s <= min(now_s, self._online_s) or (
            self._online_s <= now_s and self._will_s < inf and not self._greeted
        ):
            yield self._presence(False, min(self._will_s, self._online_s))
            self._will_s = inf
        if self._online_s <= now_s and not self._greeted:
            self._greeted = True
            yield self._presence(True, self._online_s)
            for number, note in enumerate(self._backlog):
                yield self._arrival(note, self._online_s + 0.02 + number * BACKLOG_STEP_S + self._delay_s())
            self._backlog.clear()

    def _free_s(self, at_s: float) -> float:
        return max([at_s, *(end + RECONNECT_S for start, end in self._outages if start <= at_s < end)])

    def _delay_s(self) -> float:
        return QUICKEST_S + float(self._rng.exponential(USUAL_S))

    def _in_order(self, at_s: float) -> float:
        self._last_s = max(at_s, self._last_s)
        return self._last_s

    def _arrival(self, note: Note, at_s: float) -> Arrival:
        return Arrival(self._pack_topic, note.payload, self._in_order(at_s), "file", commissioning=note.commissioning)

    def _presence(self, alive: bool, at_s: float) -> Arrival:
        return Arrival(self._alive_topic, b"1" if alive else b"0", self._in_order(at_s), "file")
