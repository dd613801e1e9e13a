"""The part of the reader about who rang: what people and cadences say of visits, and when somebody is away.

A note is kept under a door and a kept pack, which a rebuild does not change. A pack may tell of several visits; it stands for
the earliest of them.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from itertools import islice

from sqlalchemy import Connection, select

from adapters.sql import log_tables, tables
from adapters.sql.engine import table
from service import model
from service.contract import EARLIEST_S
from service.presses.away import Away
from service.presses.cadence import Cadence, recognise
from service.who_ports import Taught, intervals

SITE, CHIME, DOOR = table(tables.Site), table(tables.Chime), table(tables.Door)
PRESS = table(tables.Press)
NOTE, CADENCE, AWAY = table(log_tables.VisitNote), table(log_tables.Cadence), table(log_tables.Away)


class WhoReader:
    """Part of `SqlReader`."""

    def _asking(self) -> AbstractContextManager[Connection]:
        raise NotImplementedError

    def cadences(self, site: str) -> Sequence[Taught]:
        with self._asking() as connection:
            return taught_at(connection, site)

    def away(self, site: str, person: str, start_s: float, end_s: float) -> Sequence[Away]:
        query = (
            select(AWAY.c.uid, AWAY.c.summary, AWAY.c.start_s, AWAY.c.end_s)
            .join(SITE, SITE.c.id == AWAY.c.site_id)
            .where(SITE.c.site == site, AWAY.c.person == person, AWAY.c.start_s < end_s, AWAY.c.end_s > start_s)
            .order_by(AWAY.c.start_s, AWAY.c.end_s, AWAY.c.uid)
        )
        with self._asking() as connection:
            return [Away(*row) for row in connection.execute(query)]


def taught_at(connection: Connection, site: str) -> list[Taught]:
    query = (
        select(CADENCE.c.form, CADENCE.c.taught_s, CADENCE.c.by)
        .join(SITE, SITE.c.id == CADENCE.c.site_id)
        .where(SITE.c.site == site)
        .order_by(CADENCE.c.name)
    )
    return [Taught(Cadence.from_json(row.form), row.taught_s, row.by) for row in connection.execute(query)]


def with_who(
    connection: Connection, site: str, visits: Sequence[model.Visit], door_ids: Mapping[int, int]
) -> list[model.Visit]:
    """Visits of a site with what people and cadences say of them. `door_ids`: the row of its door by visit."""
    taught, said = taught_at(connection, site), _notes(connection, visits, door_ids)
    return [
        replace(visit, cadence=_cadence(visit, taught), who=said[visit.id][0], note=said[visit.id][1])
        if taught or visit.id in said
        else visit
        for visit in visits
    ]


def packs_noted(connection: Connection, site: str, words: Sequence[str], limit: int) -> set[tuple[int, int]]:
    """Doors and kept packs (their rows) by which visits are noted, of which all these words are said, the door's name included;
    the newest. Folded here, since SQLite folds only ASCII."""
    query = (
        select(NOTE.c.door_id, NOTE.c.pack_id, NOTE.c.who, NOTE.c.note, DOOR.c.door, DOOR.c.name)
        .select_from(
            NOTE.join(DOOR, DOOR.c.id == NOTE.c.door_id)
            .join(CHIME, CHIME.c.id == DOOR.c.chime_id)
            .join(SITE, SITE.c.id == CHIME.c.site_id)
        )
        .where(SITE.c.site == site)
        .order_by(NOTE.c.pack_id.desc())
    )
    said = (
        (door_id, pack_id, " ".join(text or "" for text in texts).casefold())
        for door_id, pack_id, *texts in connection.execute(query)
    )
    return set(islice(((door, pack) for door, pack, text in said if all(word in text for word in words)), limit))


def own_packs(
    connection: Connection, visits: Sequence[model.Visit], door_ids: Mapping[int, int]
) -> dict[int, set[int]]:
    """Of each visit the kept packs that tell of it and of no earlier one at its door."""
    first_of: dict[tuple[int, int], tuple[float, int]] = {}
    presses = [press for visit in visits for press in visit.presses if press.pack_id is not None]
    if not presses:
        return {visit.id: set() for visit in visits}
    first_s, last_s = min(press.start_s for press in presses), max(press.start_s for press in presses)
    told = connection.execute(
        select(PRESS.c.door_id, PRESS.c.pack_id, PRESS.c.visit_id, PRESS.c.start_s).where(
            PRESS.c.door_id.in_(set(door_ids.values())),
            PRESS.c.start_s.between(first_s + EARLIEST_S, last_s),
            PRESS.c.pack_id.in_({press.pack_id for press in presses}),
        )
    )
    for door_id, pack_id, visit_id, start_s in told:
        begun = (start_s, visit_id)
        first_of[door_id, pack_id] = min(first_of.get((door_id, pack_id), begun), begun)
    return {
        visit.id: {
            press.pack_id
            for press in visit.presses
            if press.pack_id is not None and first_of[door_ids[visit.id], press.pack_id][1] == visit.id
        }
        for visit in visits
    }


def _notes(
    connection: Connection, visits: Sequence[model.Visit], door_ids: Mapping[int, int]
) -> dict[int, tuple[str | None, str | None]]:
    """Who and note by visit; where two visits with notes became one, the newest of each."""
    packs = {press.pack_id for visit in visits for press in visit.presses if press.pack_id is not None}
    columns = (NOTE.c.door_id, NOTE.c.pack_id, NOTE.c.who, NOTE.c.note)
    found: dict[int, tuple[str | None, str | None]] = defaultdict(lambda: (None, None))
    if not packs:
        return found
    # a house has few notes: those between two packs are read, and the rest left out here
    among = NOTE.c.pack_id.between(min(packs), max(packs)), NOTE.c.door_id.in_(set(door_ids.values()))
    told = connection.execute(select(*columns).where(*among).order_by(NOTE.c.at_s))
    rows = [row for row in told if row.pack_id in packs]
    noted = {row.pack_id for row in rows}
    near = [visit for visit in visits if any(press.pack_id in noted for press in visit.presses)]
    visit_of = {
        (door_ids[visit_id], pack_id): visit_id
        for visit_id, packs in own_packs(connection, near, door_ids).items()
        for pack_id in packs
    }
    for door_id, pack_id, who, note in rows:
        visit_id = visit_of.get((door_id, pack_id))
        if visit_id is not None:
            found[visit_id] = (who or found[visit_id][0], note or found[visit_id][1])
    return found


def _cadence(visit: model.Visit, taught: Sequence[Taught]) -> str | None:
    """The cadence it shows, of those that had been taught when it began."""
    pressed = intervals(visit.presses) if taught and len(visit.presses) > 1 else []
    known = [one.cadence for one in taught if one.taught_s < visit.start_s and len(one.cadence.holds_s) <= len(pressed)]
    found = recognise(pressed, known) if known else None
    return found.name if found else None
