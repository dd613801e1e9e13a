"""Answers the questions of pages and the API (`ports.Reader`) over SQL. Changes nothing; safe from any thread."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, Select, func, or_, select

from adapters.sql import tables
from adapters.sql.alarm_reader import AlarmReader
from adapters.sql.ask_record import AskReader
from adapters.sql.capture_record import CaptureReader
from adapters.sql.changes import Changes
from adapters.sql.engine import table, unavailable_told
from adapters.sql.fact_reader import FactReader
from adapters.sql.finding_reader import FindingReader
from adapters.sql.outbox_reader import OutboxReader
from adapters.sql.paging import whole
from adapters.sql.press_reader import DOORS, PLACE, PressReader
from adapters.sql.supply_reader import SupplyReader
from adapters.sql.watch_reader import WatchReader
from adapters.sql.who_reader import WhoReader
from service import model
from service.errors import NotFound

SITE, CHIME, DOOR, BOOT = table(tables.Site), table(tables.Chime), table(tables.Door), table(tables.Boot)
KEPT, PROGRESS, FATE = table(tables.KeptPack), table(tables.Progress), table(tables.PackFate)
EVENT, LOOK = table(tables.Event), table(tables.Look)


class SqlReader(
    PressReader,
    WatchReader,
    SupplyReader,
    FindingReader,
    WhoReader,
    OutboxReader,
    AlarmReader,
    FactReader,
    AskReader,
    CaptureReader,
):
    """See `ports.Reader` for what each question means.

    Parameters
    ----------
    changes : what the writer in this process changes; None where there is none, and then nobody knows.
    """

    def __init__(self, engine: Engine, changes: Changes | None = None) -> None:
        self._engine, self._changes = engine, changes

    @contextmanager
    def _asking(self) -> Iterator[Connection]:
        with unavailable_told(), self._engine.connect() as connection:
            yield connection

    # places

    def sites(self) -> Sequence[model.Site]:
        query = (
            select(SITE.c.site, SITE.c.name, SITE.c.time_zone)
            .where(SITE.c.id.in_(select(CHIME.c.site_id).where(CHIME.c.claimed)))
            .order_by(SITE.c.name)
        )
        with self._asking() as connection:
            return [model.Site(*row) for row in connection.execute(query)]

    def site(self, site: str) -> model.Site:
        with self._asking() as connection:
            row = connection.execute(
                select(SITE.c.site, SITE.c.name, SITE.c.time_zone).where(SITE.c.site == site)
            ).first()
        if row is None:
            raise NotFound(f"no site {site!r} has been heard")
        return model.Site(*row)

    def chimes(self, site: str | None = None, *, claimed: bool | None = None) -> Sequence[model.Chime]:
        query = _chimes().order_by(CHIME.c.id)
        if site is not None:
            query = query.where(SITE.c.site == site)
        if claimed is not None:
            query = query.where(CHIME.c.claimed == claimed)
        with self._asking() as connection:
            return [_chime(row) for row in connection.execute(query)]

    def chime(self, site: str, chime: str) -> model.Chime:
        with self._asking() as connection:
            row = connection.execute(_chimes().where(SITE.c.site == site, CHIME.c.chime == chime)).first()
        if row is None:
            raise NotFound(f"no chime {chime!r} at {site!r} has been heard")
        return _chime(row)

    def doors(self, site: str, chime: str | None = None) -> Sequence[model.Door]:
        query = select(*PLACE, DOOR.c.name, DOOR.c.first_heard_s).select_from(DOORS).where(SITE.c.site == site)
        if chime is not None:
            query = query.where(CHIME.c.chime == chime)
        with self._asking() as connection:
            rows = connection.execute(query.order_by(DOOR.c.id)).all()
        return [model.Door(r.site, r.chime, r.door, r.name or r.door.title(), r.first_heard_s) for r in rows]

    # the inbox, events, looks

    def set_aside(
        self,
        *,
        site: str | None = None,
        cursor: str | None = None,
        limit: int = 100,
        fates: Sequence[str] = ("quarantined", "unexpected"),
    ) -> tuple[Sequence[model.SetAside], str | None]:
        query = (
            select(
                FATE.c.pack_id,
                KEPT.c.received_s,
                KEPT.c.topic,
                FATE.c.site,
                FATE.c.chime,
                KEPT.c.via,
                FATE.c.fate,
                FATE.c.reason,
                func.length(KEPT.c.payload),
                KEPT.c.payload,
            )
            .select_from(FATE.join(KEPT, KEPT.c.id == FATE.c.pack_id))
            .where(FATE.c.fate.in_(fates))
        )
        if site is not None:  # what has no address may be anybody's
            query = query.where(or_(FATE.c.site == site, FATE.c.site.is_(None)))
        if cursor is not None:
            query = query.where(FATE.c.pack_id < whole(cursor))
        with self._asking() as connection:
            rows = connection.execute(query.order_by(FATE.c.pack_id.desc()).limit(limit + 1)).all()
        onward = str(rows[limit - 1].pack_id) if len(rows) > limit else None
        return [model.SetAside(*tuple(row)) for row in rows[:limit]], onward

    def events_after(self, event_id: int, limit: int = 1000) -> Sequence[model.Event]:
        query = (
            select(EVENT.c.id, EVENT.c.at_s, EVENT.c.kind, EVENT.c.site, EVENT.c.chime, EVENT.c.data)
            .where(EVENT.c.id > event_id)
            .order_by(EVENT.c.id)
            .limit(limit)
        )
        with self._asking() as connection:
            return [model.Event(*row) for row in connection.execute(query)]

    def last_event_id(self) -> int:
        with self._asking() as connection:
            return int(connection.execute(select(func.coalesce(func.max(EVENT.c.id), 0))).scalar_one())

    def counts(self) -> model.Counts:
        with self._asking() as connection:
            kept = int(connection.execute(select(func.coalesce(func.max(KEPT.c.id), 0))).scalar_one())
            understood = int(
                connection.execute(select(func.coalesce(func.max(PROGRESS.c.understood_id), 0))).scalar_one()
            )
            fates = {
                row[0]: int(row[1])
                for row in connection.execute(select(FATE.c.fate, func.count()).group_by(FATE.c.fate))
            }
        return model.Counts(
            kept,
            kept - understood,
            fates.get("duplicate", 0),
            fates.get("quarantined", 0),
            fates.get("refused", 0),
            fates.get("unexpected", 0),
        )

    def previous_look_s(self, site: str, person: str) -> float | None:
        query = (
            select(LOOK.c.previous_s)
            .join(SITE, SITE.c.id == LOOK.c.site_id)
            .where(SITE.c.site == site, LOOK.c.person == person)
        )
        with self._asking() as connection:
            found = connection.execute(query).scalar()
        return None if found is None else float(found)


def _chimes() -> Select[Any]:
    return select(CHIME, SITE.c.site).select_from(CHIME.join(SITE, SITE.c.id == CHIME.c.site_id))


def _chime(row: Any) -> model.Chime:
    level = tuple(part for part in row.level.split(",") if part)
    return model.Chime(
        row.site,
        row.chime,
        row.claimed,
        row.device,
        row.first_heard_s,
        row.last_heard_s,
        row.alive,
        row.alive_since_s,
        level,
    )
