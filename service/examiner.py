"""When chimes are examined: in a thread of its own, once a chime that has told something new has been quiet for a while.

An examination that fails is told in the log and in the record, and stops nothing; the next testimony brings the next one.
Knows no SQL and no fault of any installation.
"""

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from service import examination
from service.errors import StoreUnavailable
from service.examination import Examined
from service.ports import Clock, Reader, Work

log = logging.getLogger(__name__)

QUIET_S = 60.0
"""A chime is examined when it has been quiet for this long: a survey and the presses with it come in several packs. Windows
of the rail, which come all day, break no quiet [s]."""

LATEST_S = 900.0
"""One that is never quiet, or sends windows only, is examined this long after its first new testimony, and again as often [s]."""

EVERY_S = 5.0
"""Between two looks at what has arrived [s]."""


_BEYOND_ALL = 2**62
"""No pack has this number: at the start only the newest is asked for."""


class Writer(Protocol):
    """The keeper, as far as it is needed here."""

    def do(self, action: Callable[[Work], None], timeout_s: float = 10.0) -> None: ...


@dataclass(slots=True)
class _Waiting:
    """New testimony of a chime was first seen, and last seen that was more than windows, at these times."""

    first_s: float
    last_s: float | None = None

    def is_over(self, now_s: float) -> bool:
        quiet = self.last_s is not None and now_s - self.last_s >= QUIET_S
        return quiet or now_s - self.first_s >= LATEST_S


class Examiner:
    """Start it with `run` in a thread of its own.

    Every chime is looked at once after the start, since something may have arrived while nobody examined.

    Parameters
    ----------
    examine : (site, chime, now) -> what was read and concluded; wherever it is done.
    """

    def __init__(
        self, reader: Reader, writer: Writer, examine: Callable[[str, str, float], Examined | None], clock: Clock
    ) -> None:
        self._reader, self._writer, self._read_and_judge, self._clock = reader, writer, examine, clock
        self._seen_pack_id: int | None = None
        self._waiting: dict[tuple[str, str], _Waiting] = {}
        self._asked: set[tuple[str, str]] = set()
        self._stopping = threading.Event()
        self._lock = threading.Lock()

    def run(self) -> None:
        while not self._stopping.wait(EVERY_S):
            self.tick()

    def stop(self) -> None:
        self._stopping.set()

    def ask(self, site: str, chime: str) -> None:
        """Examine this chime at the next look: what it is compared with has changed. From any thread."""
        with self._lock:
            self._asked.add((site, chime))

    def tick(self) -> None:
        """One look at what has arrived. A store that is away now is met again in the next."""
        try:
            for place in self._due():
                self._examine(*place)
                self._waiting.pop(place, None)
        except StoreUnavailable:
            return

    def _due(self) -> list[tuple[str, str]]:
        now_s = self._clock()
        since = self._seen_pack_id
        newest, heard = self._reader.testimony_after(_BEYOND_ALL if since is None else since)
        if since is None:
            places = [(chime.site, chime.chime) for chime in self._reader.chimes()]
            heard = [(*place, True) for place in places if self._has_more(*place)]
        self._seen_pack_id = newest
        for site, chime, more in heard:
            waits = self._waiting.setdefault((site, chime), _Waiting(now_s))
            waits.last_s = now_s if more else waits.last_s
        with self._lock:
            asked, self._asked = self._asked, set()
        for place in asked:
            self._waiting[place] = _Waiting(now_s - LATEST_S)
        return [place for place, waits in self._waiting.items() if waits.is_over(now_s)]

    def _has_more(self, site: str, chime: str) -> bool:
        """Whether there is testimony that its last examination has not seen."""
        newest_s = self._reader.newest_testimony_s(site, chime)
        last = next(iter(self._reader.examinations(site, chime)), None)
        return newest_s is not None and (last is None or newest_s > last.newest_s)

    def _examine(self, site: str, chime: str) -> None:
        now_s = self._clock()
        try:
            examined = self._read_and_judge(site, chime, now_s)
            if examined is not None:
                self._writer.do(lambda work: examination.conclude(work, examined))
        except StoreUnavailable:
            raise
        except Exception as error:
            log.exception("The examination of %s at %s failed", chime, site)
            before = next(iter(self._reader.examinations(site, chime)), None)
            record = examination.failed(error, site, chime, now_s, before)
            self._writer.do(lambda work: work.put_examination(record))
