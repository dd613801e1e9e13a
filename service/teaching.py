"""Lessons: a household teaches its chime a cadence by pressing it three times at one door. One lesson a site, in memory only.

A lesson is no thread and keeps nothing it has heard: whenever it is asked, and a little after each press, it looks at the visits
of its door as the record has them now, so that packs that come late or twice change nothing. Knows no SQL and no HTTP.
"""

import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

from service.errors import NotFound, Refused, StoreUnavailable
from service.model import Event
from service.names import clean_name
from service.ports import Clock, Reader, Work
from service.presses.lesson import LESSON_S, PARTED_S, Lesson
from service.who_ports import Taught, intervals

LATER_S = PARTED_S + 1.0
"""So long after a press a phrase that ended with it is over, and the pack that told of it has been understood [s]."""


class Writer(Protocol):
    """The keeper, as far as it is needed here."""

    def do(self, action: Callable[[Work], None], timeout_s: float = 10.0) -> None: ...


@dataclass(frozen=True, slots=True)
class Held:
    """A lesson at a door, with what it has come to: `kept`, or `refused` with a sentence, or neither yet."""

    lesson: Lesson
    chime: str
    door: str
    by: str
    kept: bool = False
    refused: str | None = None

    @property
    def is_over(self) -> bool:
        return self.kept or self.refused is not None


def in_a_while(after_s: float, action: Callable[[], None]) -> None:
    """Call it once after so many seconds, in a thread of its own that holds up nobody's end."""
    timer = threading.Timer(after_s, action)
    timer.daemon = True
    timer.start()


class Teaching:
    """Safe from any thread.

    Parameters
    ----------
    later : calls an action after so many seconds [s].
    """

    def __init__(
        self,
        reader: Reader,
        writer: Writer,
        clock: Clock,
        later: Callable[[float, Callable[[], None]], None] = in_a_while,
    ) -> None:
        self._reader, self._writer, self._clock, self._later = reader, writer, clock, later
        self._held: dict[str, Held] = {}
        self._lock = threading.Lock()

    def begin(self, site: str, chime: str, door: str, name: str, by: str) -> None:
        """Listen at this door from now on, in place of an earlier lesson of the site. Raises NotFound; Refused for an unfit name."""
        self._reader.chime(site, chime)
        if door not in [one.door for one in self._reader.doors(site, chime)]:
            raise NotFound(f"no door {door!r} of chime {chime!r} at {site!r} has been heard")
        held = Held(Lesson(clean_name(name), self._clock()), chime, door, clean_name(by) if by else "somebody")
        with self._lock:
            self._held[site] = held

    def forget(self, site: str, name: str) -> None:
        """End the lesson of this name, and forget what was taught under it. Raises NotFound where there is neither."""
        with self._lock:
            ended = site in self._held and self._held[site].lesson.name == name
            if ended:
                del self._held[site]
            if not ended or name in [taught.cadence.name for taught in self._reader.cadences(site)]:
                self._writer.do(lambda work: work.remove_cadence(site, name))

    def lesson(self, site: str) -> Held | None:
        """The last lesson of a site as it stands now. Raises StoreUnavailable."""
        with self._lock:
            if site in self._held:
                self._look(site)
            return self._held.get(site)

    def told(self, event: Event | None) -> None:
        """A listener of the hub: a press at a site where a lesson is open is looked at in a while. Never blocks."""
        held = self._held.get(event.site) if event is not None and event.kind == "press" else None
        if held is not None and not held.is_over and self._clock() < held.lesson.ends_s + LATER_S:
            self._later(LATER_S, self.tick)

    def tick(self) -> None:
        """One look at all lessons. A store that is away now is met again in the next."""
        try:
            with self._lock:
                for site in list(self._held):
                    self._look(site)
        except StoreUnavailable:
            return

    def _look(self, site: str) -> None:
        held, now_s = self._held[site], self._clock()
        if held.is_over:
            return
        held = replace(held, lesson=self._heard(site, held, now_s))
        self._held[site] = self._concluded(site, held) if held.lesson.stage(now_s) == "heard" else held

    def _heard(self, site: str, held: Held, now_s: float) -> Lesson:
        """What the record has of it now. A visit may have begun before the lesson did."""
        lesson = Lesson(held.lesson.name, held.lesson.begun_s)
        visits, _ = self._reader.visits(
            site, lesson.begun_s - LESSON_S, lesson.ends_s, chime=held.chime, door=held.door, limit=1000
        )
        for visit in visits:
            lesson = lesson.with_visit(intervals(visit.presses), now_s)
        return lesson

    def _concluded(self, site: str, held: Held) -> Held:
        try:
            cadence = held.lesson.cadence(taught.cadence for taught in self._reader.cadences(site))
        except Refused as refused:
            return replace(held, refused=str(refused))
        last_s = max(end_s or start_s for example in held.lesson.examples for start_s, end_s in example)
        taught = Taught(cadence, last_s, held.by)
        self._writer.do(lambda work: work.put_cadence(site, taught))
        return replace(held, kept=True)
