"""The part of the writer's transaction that people ask for: claims, names, looks."""

from sqlalchemy import Connection, insert, select, update

from adapters.sql import tables
from adapters.sql.engine import table
from service.errors import NotFound

SITE, CHIME, DOOR, LOOK = table(tables.Site), table(tables.Chime), table(tables.Door), table(tables.Look)


class People:
    """Part of `SqlWork`."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def is_known(self, site: str, chime: str) -> bool:
        return bool(
            self._connection.execute(
                select(CHIME.c.claimed)
                .join(SITE, SITE.c.id == CHIME.c.site_id)
                .where(SITE.c.site == site, CHIME.c.chime == chime)
            ).scalar()
        )

    def claim(self, site: str, chime: str, name: str | None) -> None:
        site_id = self._site_id(site)
        claimed = self._connection.execute(
            update(CHIME).where(CHIME.c.site_id == site_id, CHIME.c.chime == chime).values(claimed=True)
        )
        if claimed.rowcount == 0:
            raise NotFound(f"no chime {chime!r} at {site!r} has been heard")
        if name:
            self._connection.execute(update(SITE).where(SITE.c.id == site_id).values(name=name))

    def rename_site(self, site: str, name: str, time_zone: str) -> None:
        self._connection.execute(
            update(SITE).where(SITE.c.id == self._site_id(site)).values(name=name, time_zone=time_zone)
        )

    def rename_door(self, site: str, chime: str, door: str, name: str) -> None:
        chimes = select(CHIME.c.id).where(CHIME.c.site_id == self._site_id(site), CHIME.c.chime == chime)
        renamed = self._connection.execute(
            update(DOOR).where(DOOR.c.chime_id.in_(chimes), DOOR.c.door == door).values(name=name)
        )
        if renamed.rowcount == 0:
            raise NotFound(f"no door {door!r} of chime {chime!r} at {site!r} has been heard")

    def look(self, site: str, person: str, now_s: float, same_look_s: float) -> None:
        site_id = self._site_id(site)
        mine = (LOOK.c.site_id == site_id) & (LOOK.c.person == person)
        last_s = self._connection.execute(select(LOOK.c.last_s).where(mine)).scalar()
        if last_s is None:
            self._connection.execute(insert(LOOK).values(site_id=site_id, person=person, last_s=now_s))
        elif now_s - last_s > same_look_s:
            self._connection.execute(update(LOOK).where(mine).values(previous_s=last_s, last_s=now_s))
        else:
            self._connection.execute(update(LOOK).where(mine).values(last_s=now_s))

    def _site_id(self, site: str) -> int:
        found = self._connection.execute(select(SITE.c.id).where(SITE.c.site == site)).scalar()
        if found is None:
            raise NotFound(f"no site {site!r} has been heard")
        return int(found)
