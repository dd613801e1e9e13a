"""What leaves the record as a file: kept packs as a recording, and the log with what says where it may be incomplete.

Everything is handed on as it is read, a page at a time. Knows no file format of presses, no SQL and no command line.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush, merge
from math import inf
from typing import NamedTuple, TypeVar

from service import model, recordings
from service.errors import BadPack, BadTopic, Refused
from service.model import Arrival
from service.ports import Reader

T = TypeVar("T")

DAY_S = 86_400.0
"""No visit that begins longer before a press is looked for [s]; the record's own limit."""

PAGE = 1000


class Asked(NamedTuple):
    """What is to leave: all, or one site, or one chime of it; what arrived or began in the stretch (half open)."""

    site: str | None = None
    chime: str | None = None
    start_s: float = -inf
    end_s: float = inf


@dataclass(slots=True)
class Counted:
    """How much has left, counted on the way."""

    out: int = 0
    left_out: int = 0  # outside the contract: a recording cannot hold it

    def all(self, items: Iterable[T]) -> Iterator[T]:
        for item in items:
            self.out += 1
            yield item

    def __str__(self) -> str:
        """
        >>> str(Counted(12, 2)), str(Counted(1))
        ('10 written; 2 outside the contract left out.', '1 written.')
        """
        beside = f"; {self.left_out} outside the contract left out" if self.left_out else ""
        return f"{self.out - self.left_out} written{beside}."


class Rung(NamedTuple):
    """A press, and the visit that it belongs to."""

    press: model.Press
    visit: model.Visit

    @property
    def start_s(self) -> float:
        return self.press.start_s


Entry = Rung | model.Unseen | model.BlindSpell


def recording_of(arrivals: Iterable[Arrival], counted: Counted) -> Iterator[bytes]:
    """Lines of a recording. What no recording can hold, a topic or a presence outside the contract, is left out and counted."""
    for arrival in counted.all(arrivals):
        try:
            if not arrival.topic.endswith(("/pack", "/alive")):
                raise BadTopic(arrival.topic)
            line = recordings.write(arrival)
        except BadPack:
            counted.left_out += 1
            continue
        yield line.encode() + b"\n"


def check_asked(reader: Reader, asked: Asked) -> None:
    """Raises NotFound where nobody has heard of the site or the chime, Refused for a chime without its site."""
    if asked.site is not None:
        reader.site(asked.site)
        if asked.chime is not None:
            reader.chime(asked.site, asked.chime)
    elif asked.chime is not None:
        raise Refused(f"Chime {asked.chime!r} of which site? Name it with --site.")


def entries(reader: Reader, asked: Asked, now_s: float) -> Iterator[Entry]:
    """The log of the stretch: presses that begin in it, and what says where it may be incomplete; oldest first, house by house."""
    for site in sites(reader, asked):
        spells = reader.blind_spells(site, asked.start_s, asked.end_s, now_s)
        streams: list[Iterator[Entry]] = [
            _rung(reader, site, asked),
            (one for one in reader.unseen(site, asked.start_s, asked.end_s) if asked.chime in (None, one.chime)),
            (one for one in spells if asked.chime in (None, one.chime)),
        ]
        yield from merge(*streams, key=lambda entry: entry.start_s)


def sites(reader: Reader, asked: Asked) -> Sequence[str]:
    """The one asked for, or all that were ever heard, claimed or not."""
    return [asked.site] if asked.site is not None else sorted({one.site for one in reader.chimes()})


def visits(reader: Reader, site: str, asked: Asked) -> Iterator[model.Visit]:
    """Visits that begin in the stretch, oldest first."""
    cursor: str | None = None
    while True:
        found, cursor = reader.visits(site, asked.start_s, asked.end_s, chime=asked.chime, cursor=cursor, limit=PAGE)
        yield from found
        if cursor is None:
            return


def _rung(reader: Reader, site: str, asked: Asked) -> Iterator[Rung]:
    """Presses in order of time, though visits at two doors may run side by side: held back until no visit can begin earlier."""
    waiting: list[tuple[float, int, Rung]] = []
    for visit in visits(reader, site, asked._replace(start_s=asked.start_s - DAY_S)):
        while waiting and waiting[0][0] <= visit.start_s:
            yield heappop(waiting)[2]
        for press in visit.presses:
            if asked.start_s <= press.start_s < asked.end_s:
                heappush(waiting, (press.start_s, press.id, Rung(press, visit)))
    while waiting:
        yield heappop(waiting)[2]
