"""Looks for visits by what is said of them: who it was, a note, the cadence it was pressed in, the door.

Asks the Reader and compares; knows no page and no SQL.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from service import model
from service.ports import Reader

MOST = 60
"""Visits that are found at once, the newest."""

PAGE = 200
LOOKED_AT = 400
"""So many visits, the newest, are read to find those in a cadence: a visit is not kept with its cadence, which may be taught anew."""


@dataclass(frozen=True, slots=True)
class Found:
    """`visits` newest first. `more`: there are older ones. `looked_back_s`: a cadence was looked for only so far back [POSIX s]."""

    visits: Sequence[model.Visit]
    more: bool
    looked_back_s: float | None = None


def search(reader: Reader, site: str, text: str, now_s: float) -> Found:
    """Visits of which every word of `text` is said somewhere, whatever its case. Nothing is found of no words. Raises NotFound."""
    reader.site(site)
    words = text.casefold().split()
    doors = {(door.chime, door.door): f"{door.name} {door.door}" for door in reader.doors(site)}

    def is_meant(visit: model.Visit) -> bool:
        said = (visit.who, visit.note, visit.cadence, doors.get((visit.chime, visit.door)), visit.door)
        return all(any(word in one.casefold() for one in said if one) for word in words)

    if not words:
        return Found((), False)
    found = {one.id: one for one in reader.visits_noted(site, words, MOST + 1) if is_meant(one)}
    looked_back_s = None
    for place, name in doors.items():
        if all(word in name.casefold() for word in words):
            found |= {one.id: one for one in _newest(reader, site, now_s, *place)}
    taught = [one for one in reader.cadences(site) if any(word in one.cadence.name.casefold() for word in words)]
    if taught:
        first_s, least = min(one.taught_s for one in taught), min(len(one.cadence.holds_s) for one in taught)
        some, looked_back_s = _pressed(reader, site, first_s, now_s, least)
        found |= {one.id: one for one in some if is_meant(one)}
    newest = _newest_first(found.values())
    return Found(newest[:MOST], len(newest) > MOST, looked_back_s)


def _newest(reader: Reader, site: str, now_s: float, chime: str, door: str) -> Sequence[model.Visit]:
    found, _ = reader.visits(site, 0.0, now_s + 1.0, chime=chime, door=door, limit=MOST + 1, newest_first=True)
    return found


def _pressed(
    reader: Reader, site: str, first_s: float, now_s: float, least: int
) -> tuple[Sequence[model.Visit], float | None]:
    """Visits of at least so many presses, and how far back they reach where that is not to the first moment."""
    found: list[model.Visit] = []
    cursor: str | None = None
    while len(found) < LOOKED_AT:
        page, cursor = reader.visits(
            site, first_s, now_s + 1.0, cursor=cursor, limit=PAGE, newest_first=True, least_presses=least
        )
        found += page
        if cursor is None:
            return found, None
    return found, found[-1].start_s


def _newest_first(visits: Iterable[model.Visit]) -> list[model.Visit]:
    return sorted(visits, key=lambda one: (one.start_s, one.id), reverse=True)
