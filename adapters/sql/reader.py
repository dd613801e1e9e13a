"""Answers the questions of pages and the API (`ports.Reader`) over SQL. Changes nothing; safe from any thread."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, Select, and_, func, or_, select

from adapters.sql import tables
from adapters.sql.engine import table, unavailable_told
from adapters.sql.finding_reader import FindingReader
from adapters.sql.supply_reader import SupplyReader
from service import model
from service.errors import NotFound, Refused
from service.presses.visits import ANSWER_S, answered

SITE, CHIME, DOOR, BOOT = table(tables.Site), table(tables.Chime), table(tables.Door), table(tables.Boot)
KEPT, PROGRESS, FATE = table(tables.KeptPack), table(tables.Progress), table(tables.PackFate)
PRESS, VISIT, SOUNDING = table(tables.Press), table(tables.Visit), table(tables.Sounding)
EVENT, LOOK = table(tables.Event), table(tables.Look)

DOORS = DOOR.join(CHIME, CHIME.c.id == DOOR.c.chime_id).join(SITE, SITE.c.id == CHIME.c.site_id)
PLACE = (SITE.c.site, CHIME.c.chime, DOOR.c.door)


class SqlReader(SupplyReader, FindingReader):
    """See `ports.Reader` for what each question means."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

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

    # presses and visits

    def presses(
        self,
        site: str,
        start_s: float,
        end_s: float,
        *,
        chime: str | None = None,
        door: str | None = None,
        cursor: str | None = None,
        limit: int = 100,
        newest_first: bool = False,
    ) -> tuple[Sequence[model.Press], str | None]:
        with self._asking() as connection:
            query = _presses().where(PRESS.c.door_id.in_(self._door_ids(connection, site, chime, door)))
            rows, onward = _page(connection, query, PRESS, start_s, end_s, cursor, limit, newest_first)
            return [_press(row) for row in rows], onward

    def press(self, site: str, press_id: int) -> model.Press:
        with self._asking() as connection:
            found = press_of(connection, press_id)
        if found is None or found.site != site:
            raise NotFound(f"no press {press_id} at {site!r}")
        return found

    def visits(
        self,
        site: str,
        start_s: float,
        end_s: float,
        *,
        chime: str | None = None,
        door: str | None = None,
        cursor: str | None = None,
        limit: int = 100,
        newest_first: bool = False,
    ) -> tuple[Sequence[model.Visit], str | None]:
        with self._asking() as connection:
            query = (
                select(VISIT.c.id, VISIT.c.start_s, VISIT.c.end_s, *PLACE)
                .select_from(VISIT.join(DOORS, DOOR.c.id == VISIT.c.door_id))
                .where(VISIT.c.door_id.in_(self._door_ids(connection, site, chime, door)))
            )
            rows, onward = _page(connection, query, VISIT, start_s, end_s, cursor, limit, newest_first)
            if not rows:
                return [], onward
            presses: dict[int, list[model.Press]] = {row.id: [] for row in rows}
            for press in connection.execute(_presses().where(PRESS.c.visit_id.in_(presses)).order_by(PRESS.c.start_s)):
                presses[press.visit_id].append(_press(press))
        first, last = min(r.start_s for r in rows), max(r.end_s for r in rows)
        sounds: dict[str, list[float]] = {c.chime: [] for c in self.chimes(site) if "sound" in c.level}
        for sounding in self.soundings(site, first - ANSWER_S, last + ANSWER_S, chime):
            sounds.setdefault(sounding.chime, []).append(sounding.start_s)
        return [
            model.Visit(
                r.id,
                r.site,
                r.chime,
                r.door,
                r.start_s,
                r.end_s,
                answered((p.start_s for p in presses[r.id]), sounds[r.chime]) if r.chime in sounds else None,
                tuple(presses[r.id]),
            )
            for r in rows
        ], onward

    def soundings(self, site: str, start_s: float, end_s: float, chime: str | None = None) -> Sequence[model.Sounding]:
        query = (
            select(SITE.c.site, CHIME.c.chime, SOUNDING.c.start_s, SOUNDING.c.end_s)
            .select_from(
                SOUNDING.join(CHIME, CHIME.c.id == SOUNDING.c.chime_id).join(SITE, SITE.c.id == CHIME.c.site_id)
            )
            .where(SITE.c.site == site, SOUNDING.c.start_s >= start_s, SOUNDING.c.start_s < end_s)
        )
        if chime is not None:
            query = query.where(CHIME.c.chime == chime)
        with self._asking() as connection:
            return [model.Sounding(*row) for row in connection.execute(query.order_by(SOUNDING.c.start_s))]

    def _door_ids(self, connection: Connection, site: str, chime: str | None, door: str | None) -> list[int]:
        query = select(DOOR.c.id).select_from(DOORS).where(SITE.c.site == site)
        if chime is not None:
            query = query.where(CHIME.c.chime == chime)
        if door is not None:
            query = query.where(DOOR.c.door == door)
        return list(connection.execute(query).scalars())

    # boots and blind time

    def boots(self, site: str, chime: str, start_s: float, end_s: float) -> Sequence[model.Boot]:
        return [boot for boot in self._boots(site, chime) if boot.last_heard_s >= start_s and boot.start_s < end_s]

    def blind_spells(self, site: str, start_s: float, end_s: float, now_s: float) -> Sequence[model.BlindSpell]:
        found: list[model.BlindSpell] = []
        for chime in self.chimes(site):
            heard_until_s: float | None = None
            for boot in self._boots(site, chime.chime):
                if heard_until_s is not None and heard_until_s < boot.start_s:
                    spell = model.BlindSpell(site, chime.chime, heard_until_s, boot.start_s, "chime without power")
                    if boot.start_s > start_s and heard_until_s < end_s:
                        found.append(spell)
                heard_until_s = max(heard_until_s or 0.0, boot.last_heard_s)
        return sorted(found, key=lambda spell: spell.start_s)

    def _boots(self, site: str, chime: str) -> list[model.Boot]:
        """Power-ups of a chime that numbers them, oldest first."""
        query = (
            select(SITE.c.site, CHIME.c.chime, BOOT.c.number, BOOT.c.cause, BOOT.c.start_s, BOOT.c.last_heard_s)
            .select_from(BOOT.join(CHIME, CHIME.c.id == BOOT.c.chime_id).join(SITE, SITE.c.id == CHIME.c.site_id))
            .where(SITE.c.site == site, CHIME.c.chime == chime, BOOT.c.number.is_not(None))
            .order_by(BOOT.c.start_s)
        )
        with self._asking() as connection:
            return [model.Boot(*row) for row in connection.execute(query)]

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
            query = query.where(FATE.c.pack_id < _whole(cursor))
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


def press_of(connection: Connection, press_id: int) -> model.Press | None:
    row = connection.execute(_presses().where(PRESS.c.id == press_id)).first()
    return None if row is None else _press(row)


def _presses() -> Select[Any]:
    return select(PRESS, *PLACE).select_from(PRESS.join(DOORS, DOOR.c.id == PRESS.c.door_id))


def _press(row: Any) -> model.Press:
    return model.Press(
        row.id,
        row.visit_id,
        row.site,
        row.chime,
        row.door,
        row.start_s,
        row.end_s,
        row.uncertainty_s,
        row.source,
        row.pulses,
        row.drop_outs,
        row.bounce,
        row.doubtful,
    )


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


def _page(
    connection: Connection,
    query: Select[Any],
    target: Any,
    start_s: float,
    end_s: float,
    cursor: str | None,
    limit: int,
    newest_first: bool,
) -> tuple[Sequence[Any], str | None]:
    """Rows of `target` that start in the stretch, in order of (start_s, id), and the cursor of the next page."""
    at, key = target.c.start_s, target.c.id
    query = query.where(at >= start_s, at < end_s)
    if cursor is not None:
        time, _, row = cursor.partition("_")
        after_s, after = _number(time), _whole(row)
        beyond = (at < after_s, key < after) if newest_first else (at > after_s, key > after)
        query = query.where(or_(beyond[0], and_(at == after_s, beyond[1])))
    order = (at.desc(), key.desc()) if newest_first else (at, key)
    rows = connection.execute(query.order_by(*order).limit(limit + 1)).all()
    onward = f"{rows[limit - 1].start_s!r}_{rows[limit - 1].id}" if len(rows) > limit else None
    return rows[:limit], onward


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise Refused("This cursor is none that Bellcrank has given.") from None


def _whole(text: str) -> int:
    return int(_number(text))
