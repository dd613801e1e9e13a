"""The part of the reader about presses, visits, soundings, and what people and cadences say of them."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from functools import cache
from math import inf
from typing import Any

from sqlalchemy import Connection, Select, bindparam, func, select

from adapters.sql import tables
from adapters.sql.engine import table
from adapters.sql.paging import page_of
from adapters.sql.power_ups import uncertainty_of
from adapters.sql.who_reader import packs_noted, with_who
from service import model
from service.errors import NotFound
from service.presses.away import joined
from service.presses.pulses import JOIN_S, sureness
from service.presses.visits import ANSWER_S, answered

SITE, CHIME, DOOR, BOOT = table(tables.Site), table(tables.Chime), table(tables.Door), table(tables.Boot)
PRESS, VISIT, SOUNDING = table(tables.Press), table(tables.Visit), table(tables.Sounding)

DOORS = DOOR.join(CHIME, CHIME.c.id == DOOR.c.chime_id).join(SITE, SITE.c.id == CHIME.c.site_id)
PLACE = (SITE.c.site, CHIME.c.chime, DOOR.c.door)

TICK_S = 1e-4
"""Of the contract: a chime that waits until a press must be over waits `JOIN_S`, give or take a tick [s]."""

NEAR_S = 86_400.0
"""Soundings of visits no further apart than two of these are asked for together; more than `ANSWER_S` [s]."""


class PressReader:
    """Part of `SqlReader`."""

    def _asking(self) -> AbstractContextManager[Connection]:
        raise NotImplementedError

    def chimes(self, site: str | None = None, *, claimed: bool | None = None) -> Sequence[model.Chime]:
        raise NotImplementedError

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
            rows, onward = page_of(connection, query, PRESS, start_s, end_s, cursor, limit, newest_first)
            return presses_of(connection, rows), onward

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
        least_presses: int = 1,
    ) -> tuple[Sequence[model.Visit], str | None]:
        with self._asking() as connection:
            query = _visits().where(VISIT.c.door_id.in_(self._door_ids(connection, site, chime, door)))
            if least_presses > 1:
                query = query.where(_presses_in_visit() >= least_presses)
            rows, onward = page_of(connection, query, VISIT, start_s, end_s, cursor, limit, newest_first)
            found = with_who(connection, site, visits_of(connection, rows), {row.id: row.door_id for row in rows})
        return self._answered(site, found), onward

    def visit(self, site: str, visit_id: int) -> model.Visit:
        with self._asking() as connection:
            told = visit_of(connection, site, visit_id)
            if told is None:
                raise NotFound(f"no visit {visit_id} at {site!r}")
            found = with_who(connection, site, [told[0]], {visit_id: told[1]})
        return self._answered(site, found)[0]

    def visits_noted(self, site: str, words: Sequence[str], limit: int = 100) -> Sequence[model.Visit]:
        with self._asking() as connection:
            noted = packs_noted(connection, site, words, limit)
            told = select(PRESS.c.visit_id).where(PRESS.c.pack_id.in_({pack for _, pack in noted}))
            rows = connection.execute(_visits().where(VISIT.c.id.in_(told))).all() if noted else []
            near = [row for row in rows if row.door_id in {door_id for door_id, _ in noted}]
            found = with_who(connection, site, visits_of(connection, near), {row.id: row.door_id for row in near})
        return self._answered(site, [visit for visit in found if visit.who or visit.note])

    def _answered(self, site: str, visits: Sequence[model.Visit]) -> list[model.Visit]:
        """With how many presses the chime answered, where it tells when it sounds."""
        if not visits:
            return []
        sounds: dict[str, list[float]] = {c.chime: [] for c in self.chimes(site) if "sound" in c.level}
        for first_s, last_s in joined((v.start_s - NEAR_S, v.end_s + NEAR_S) for v in visits):
            for sounding in self.soundings(site, first_s, last_s):
                sounds.setdefault(sounding.chime, []).append(sounding.start_s)
        near = {chime: sorted(starts) for chime, starts in sounds.items()}
        return [
            replace(visit, sounded=answered((p.start_s for p in visit.presses), _around(near[visit.chime], visit)))
            if visit.chime in near
            else visit
            for visit in visits
        ]

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


def press_of(connection: Connection, press_id: int) -> model.Press | None:
    return next(iter(presses_of(connection, connection.execute(_one_press(), {"press_id": press_id}).all())), None)


def visit_of(connection: Connection, site: str, visit_id: int) -> tuple[model.Visit, int] | None:
    """A visit as its presses alone tell of it, and the row of its door."""
    row = connection.execute(_visits().where(SITE.c.site == site, VISIT.c.id == visit_id)).first()
    return None if row is None else (visits_of(connection, [row])[0], int(row.door_id))


def visits_of(connection: Connection, rows: Sequence[Any]) -> list[model.Visit]:
    """Rows of `_visits` as visits with their presses; neither sounds nor people have been asked yet."""
    presses: dict[int, list[model.Press]] = {row.id: [] for row in rows}
    if rows:
        told = connection.execute(_presses().where(PRESS.c.visit_id.in_(presses)).order_by(PRESS.c.start_s))
        for press in presses_of(connection, told.all()):
            presses[press.visit_id].append(press)
    return [model.Visit(r.id, r.site, r.chime, r.door, r.start_s, r.end_s, None, tuple(presses[r.id])) for r in rows]


def _around(starts_s: Sequence[float], visit: model.Visit) -> Sequence[float]:
    """Of sounds in order, those that may answer a press of this visit."""
    return starts_s[bisect_left(starts_s, visit.start_s - ANSWER_S) : bisect_right(starts_s, visit.end_s + ANSWER_S)]


def presses_of(connection: Connection, rows: Sequence[Any]) -> list[model.Press]:
    """Rows of `_presses` as presses; how sure their times are follows from the clocks of their power-ups as they are now."""
    boots = {boot.id: boot for boot in connection.execute(select(BOOT).where(BOOT.c.id.in_({r.boot_id for r in rows})))}
    sure = {boot_id: uncertainty_of(boot) for boot_id, boot in boots.items()}
    ends = _ends_of(connection, boots.values())
    return [_press(row, sure[row.boot_id](row.start_up_s), _until(row) > ends[row.boot_id]) for row in rows]


def _ends_of(connection: Connection, boots: Iterable[Any]) -> dict[int, float]:
    """By power-up: a press that lasted beyond this was cut off by its end; infinite where it goes on, or its end is not known [s of it]."""
    chimes = {boot.chime_id for boot in boots}
    newest = select(BOOT.c.chime_id, func.max(BOOT.c.start_s).label("start_s")).group_by(BOOT.c.chime_id)
    last_s = {row.chime_id: row.start_s for row in connection.execute(newest.where(BOOT.c.chime_id.in_(chimes)))}
    return {
        boot.id: boot.last_up_s - JOIN_S + TICK_S
        if boot.number is not None and boot.last_up_s is not None and last_s[boot.chime_id] > boot.start_s
        else inf
        for boot in boots
    }


def _until(row: Any) -> float:
    return float(row.start_up_s if row.end_up_s is None else row.end_up_s)


def _visits() -> Select[Any]:
    return select(VISIT.c.id, VISIT.c.door_id, VISIT.c.start_s, VISIT.c.end_s, *PLACE).select_from(
        VISIT.join(DOORS, DOOR.c.id == VISIT.c.door_id)
    )


def _presses_in_visit() -> Any:
    return select(func.count()).where(PRESS.c.visit_id == VISIT.c.id).scalar_subquery()


def _presses() -> Select[Any]:
    return select(PRESS, *PLACE).select_from(PRESS.join(DOORS, DOOR.c.id == PRESS.c.door_id))


@cache
def _one_press() -> Select[Any]:
    """Asked for after each press; made once."""
    return _presses().where(PRESS.c.id == bindparam("press_id"))


def _press(row: Any, uncertainty_s: float, cut_off: bool) -> model.Press:
    return model.Press(
        row.id,
        row.visit_id,
        row.site,
        row.chime,
        row.door,
        row.start_s,
        row.end_s,
        uncertainty_s,
        row.source,
        row.pulses,
        row.drop_outs,
        row.bounce,
        sureness(row.source, row.pulses, row.widest_s),
        row.longest_gap_s,
        cut_off,
        row.pack_id,
    )
