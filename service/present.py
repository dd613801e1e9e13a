"""How a chime is at present, in a few fields: what is retained on its topic `now`. Made from the record, whenever an event changes it.

Nothing of it need be kept: after a restart it is made anew. Knows no broker.
"""

import json
import threading
from collections.abc import Callable
from typing import Any

from service.errors import NotFound, StoreUnavailable
from service.model import Door, Event
from service.ports import Clock, Reader
from service.telling import rfc3339, rfc3339_or_none

PRESSES_OF_S = 86_400.0
"""The last press at a door is told while it is not older than this [s]."""

LAST = 10
"""Presses looked at, newest first, for one that is not doubtful."""

AGAIN_AFTER_S = 5.0
"""Pause before a broker that did not take it is asked again [s]."""

PAUSE_S = 0.25
"""Between two looks: what changes together is told together [s]."""

ANEW_EVERY_S = 3600.0
"""How often it is told even if nothing has changed, for a broker that has forgotten [s]."""

Publish = Callable[[str, str, bytes], bool]
"""Site, chime, payload; whether it was taken."""


def present(reader: Reader, site: str, chime: str, now_s: float, known: dict[str, Any] | None = None) -> dict[str, Any]:
    """JSON-ready. Raises NotFound.

    `doors`: the last press of the day at each; `blind`: why presses cannot be recorded now; `findings`: those that are open.
    `known`: what was told before, where only presses have come since.
    """
    told = reader.chime(site, chime)
    known = known or {"blind": _blind(reader, site, chime, now_s), "findings": _findings(reader, site, chime)}
    return {
        "alive": told.alive,
        "heard": rfc3339(told.last_heard_s),
        "doors": {door.door: _door(reader, door, now_s) for door in reader.doors(site, chime)},
        "blind": known["blind"],
        "findings": known["findings"],
    }


def _door(reader: Reader, door: Door, now_s: float) -> dict[str, Any]:
    day = (now_s - PRESSES_OF_S, now_s + PRESSES_OF_S)
    presses, _ = reader.presses(door.site, *day, chime=door.chime, door=door.door, limit=LAST, newest_first=True)
    last = next((press for press in presses if not press.doubtful), None)
    return {
        "name": door.name,
        "pressed": rfc3339(last.start_s) if last else None,
        "released": rfc3339_or_none(last.end_s) if last else None,
    }


def _blind(reader: Reader, site: str, chime: str, now_s: float) -> str | None:
    spells = reader.blind_spells(site, now_s - 60.0, now_s, now_s)
    return next((one.why for one in spells if one.chime == chime and one.end_s is None and one.door is None), None)


def _findings(reader: Reader, site: str, chime: str) -> list[dict[str, Any]]:
    return [
        {"name": one.finding.name, "door": one.finding.door, "state": one.state.value}
        for one in reader.findings(site, chime)
    ]


class Present:
    """A part of the daemon."""

    def __init__(self, reader: Reader, clock: Clock, publish: Publish) -> None:
        self._reader, self._clock, self._publish = reader, clock, publish
        self._wake, self._ending = threading.Event(), threading.Event()
        self._changed: dict[tuple[str, str], bool] = {}  # whether more than presses has come
        self._lock = threading.Lock()
        self._last: dict[tuple[str, str], dict[str, Any]] = {}

    def run(self) -> None:
        wait_s, anew_s = 0.0, 0.0
        while not self._ending.is_set():
            self._wake.wait(wait_s)
            self._wake.clear()
            now_s = self._clock()
            if abs(now_s - anew_s) >= ANEW_EVERY_S:
                anew_s = now_s
                self._all_anew()
            wait_s = ANEW_EVERY_S if self.turn() else AGAIN_AFTER_S
            self._ending.wait(PAUSE_S)

    def stop(self) -> None:
        self._ending.set()
        self._wake.set()

    def told(self, event: Event | None) -> None:
        """A listener of the hub. How the rail is comes too often to be told here."""
        if event is not None and event.kind != "supply":
            with self._lock:
                place = event.site, event.chime
                self._changed[place] = self._changed.get(place, False) or event.kind not in ("press", "visit")
            self._wake.set()

    def turn(self) -> bool:
        """Tell what has changed. False: something was not taken, and is told later."""
        with self._lock:
            changed, self._changed = self._changed, {}
        left = dict[tuple[str, str], bool]()
        for place, more in sorted(changed.items()):
            try:
                if not self._tell(*place, more):
                    left[place] = more
            except NotFound:
                continue
            except StoreUnavailable:
                left[place] = more
        with self._lock:
            for place, more in left.items():
                self._changed[place] = self._changed.get(place, False) or more
        return not left

    def _tell(self, site: str, chime: str, more: bool) -> bool:
        if not self._reader.chime(site, chime).claimed:
            return True
        now_s = self._clock()
        state = present(self._reader, site, chime, now_s, None if more else self._last.get((site, chime)))
        if state == self._last.get((site, chime)):
            return True
        payload = json.dumps({"at": rfc3339(now_s), **state}, separators=(",", ":"), ensure_ascii=False)
        if not self._publish(site, chime, payload.encode()):
            return False
        self._last[site, chime] = state
        return True

    def _all_anew(self) -> None:
        try:
            places = {(one.site, one.chime) for one in self._reader.chimes(claimed=True)}
        except StoreUnavailable:
            return
        self._last.clear()
        with self._lock:
            self._changed |= dict.fromkeys(places, True)
