"""The part of the writer's transaction about who rang: notes on visits, taught cadences, absences."""

from collections.abc import Iterable
from dataclasses import asdict

from sqlalchemy import delete, insert, update

from adapters.sql import log_tables, tables
from adapters.sql.engine import table
from adapters.sql.people import People
from adapters.sql.press_reader import visit_of
from adapters.sql.who_reader import own_packs
from service.errors import NotFound, Refused
from service.presses.away import Away
from service.who_ports import Taught

SITE = table(tables.Site)
NOTE, CADENCE, AWAY = table(log_tables.VisitNote), table(log_tables.Cadence), table(log_tables.Away)


class WhoWork(People):
    """Part of `SqlWork`."""

    def put_note(self, site: str, visit_id: int, who: str | None, note: str | None, by: str, at_s: float) -> None:
        found = visit_of(self._connection, site, visit_id)
        if found is None:
            raise NotFound(f"no visit {visit_id} at {site!r}")
        visit, door_id = found
        packs = own_packs(self._connection, [visit], {visit.id: door_id})[visit.id]
        if not packs:
            raise Refused(
                "One pack tells of this visit and of an earlier one at this door: a note goes with the earlier one."
                if any(press.pack_id is not None for press in visit.presses)
                else "It is not known which pack told of this visit; `bellcrank rebuild` finds out, then it can have a note."
            )
        self._connection.execute(delete(NOTE).where(NOTE.c.door_id == door_id, NOTE.c.pack_id.in_(packs)))
        if who or note:
            self._connection.execute(
                insert(NOTE).values(door_id=door_id, pack_id=min(packs), who=who, note=note, by=by, at_s=at_s)
            )

    def put_cadence(self, site: str, taught: Taught) -> None:
        site_id, name = self._site_id(site), taught.cadence.name
        self._connection.execute(delete(CADENCE).where(CADENCE.c.site_id == site_id, CADENCE.c.name == name))
        self._connection.execute(
            insert(CADENCE).values(
                site_id=site_id, name=name, taught_s=taught.taught_s, by=taught.by, form=taught.cadence.to_json()
            )
        )

    def remove_cadence(self, site: str, name: str) -> None:
        mine = (CADENCE.c.site_id == self._site_id(site)) & (CADENCE.c.name == name)
        if self._connection.execute(delete(CADENCE).where(mine)).rowcount == 0:
            raise NotFound(f"no cadence {name!r} has been taught at {site!r}")

    def replace_away(self, site: str, person: str, aways: Iterable[Away], start_s: float, end_s: float) -> None:
        site_id = self._site_id(site)
        mine = (AWAY.c.site_id == site_id) & (AWAY.c.person == person)
        self._connection.execute(delete(AWAY).where(mine, AWAY.c.start_s < end_s, AWAY.c.end_s > start_s))
        longest = {(one.uid, one.start_s): one for one in sorted(aways, key=lambda one: one.end_s)}
        if longest:
            rows = [{"site_id": site_id, "person": person, **asdict(one)} for one in longest.values()]
            self._connection.execute(insert(AWAY), rows)

    def add_away(self, site: str, person: str, away: Away) -> None:
        site_id = self._site_id(site)
        key = {"site_id": site_id, "person": person, "uid": away.uid, "start_s": away.start_s}
        told = {"summary": away.summary, "end_s": away.end_s}
        same = [AWAY.c[name] == value for name, value in key.items()]
        if self._connection.execute(update(AWAY).where(*same).values(told)).rowcount == 0:
            self._connection.execute(insert(AWAY).values(key | told))

    def remove_away(self, site: str, person: str, uid: str) -> None:
        mine = (AWAY.c.site_id == self._site_id(site)) & (AWAY.c.person == person) & (AWAY.c.uid == uid)
        if self._connection.execute(delete(AWAY).where(mine)).rowcount == 0:
            raise NotFound(f"no absence {uid!r} of {person!r} at {site!r}")
