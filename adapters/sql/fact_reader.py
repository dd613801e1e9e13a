"""The part of the reader about the facts that rules watch: asked for every minute of every chime, so each question is one statement that
is made once, and brings no more than is needed."""

from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager
from functools import cache
from typing import Any

from sqlalchemy import (
    BindParameter,
    Connection,
    Integer,
    Select,
    and_,
    bindparam,
    cast,
    func,
    or_,
    select,
    union_all,
)

from adapters.sql import tables
from adapters.sql.changes import EVERYTHING, Changes
from adapters.sql.engine import table
from adapters.sql.ledgers import GENERATION
from service.alarm_ports import Changed, Ring
from service.presses.pulses import sureness

SITE, CHIME, DOOR, BOOT = table(tables.Site), table(tables.Chime), table(tables.Door), table(tables.Boot)
PRESS, VISIT, READING = table(tables.Press), table(tables.Visit), table(tables.Reading)


class FactReader:
    """Part of `SqlReader`; see `alarm_ports.AlarmReader` for what each question means."""

    _changes: Changes | None

    def _asking(self) -> AbstractContextManager[Connection]:
        raise NotImplementedError

    def changed(self, site: str, chime: str, mark: object) -> Changed:
        if self._changes is None:
            return EVERYTHING
        with self._asking() as connection:
            row = connection.execute(_place(), {"site": site, "chime": chime}).first()
        return EVERYTHING if row is None else self._changes.since(row.id, mark, row.generation or 0)

    def rings(self, site: str, chime: str, start_s: float) -> Sequence[Ring]:
        rows = sorted(self._told(_rings(), site, chime, start_s), key=lambda row: (row.start_s, row.id))
        return [
            Ring(
                row.door,
                row.start_s,
                row.end_s,
                row.pulses,
                sureness(row.source, row.pulses, row.widest_s) == "doubtful",
                row.visit_id,
                row.visit_start_s,
            )
            for row in rows
            if row.start_s >= start_s or row.end_s is None or row.end_s >= start_s
        ]

    def heard_moments(self, site: str, chime: str, start_s: float, step_s: float) -> Sequence[float]:
        return _moments(self._told(_heard(), site, chime, start_s, step_s=step_s))

    def pressed_moments(self, site: str, chime: str, start_s: float, step_s: float) -> Sequence[float]:
        return _moments(self._told(_pressed(), site, chime, start_s, step_s=step_s))

    def windows(
        self, site: str, chime: str, names: Sequence[str], start_s: float, limit: int
    ) -> Sequence[tuple[float | None, ...]]:
        return [tuple(row) for row in self._told(_windows(tuple(names)), site, chime, start_s, most=limit)]

    def _told(self, query: Any, site: str, chime: str, start_s: float, **more: float) -> Sequence[Any]:
        with self._asking() as connection:
            return connection.execute(query, {"site": site, "chime": chime, "start_s": start_s, **more}).all()


FROM_S: BindParameter[float] = bindparam("start_s")


def _moments(rows: Iterable[Any]) -> list[float]:
    """First and last of each step; once, where there is but one."""
    return [at_s for first_s, last_s in rows for at_s in ((first_s,) if first_s == last_s else (first_s, last_s))]


def _mine() -> Any:
    """The row of the chime."""
    placed = CHIME.join(SITE, SITE.c.id == CHIME.c.site_id)
    named = and_(SITE.c.site == bindparam("site"), CHIME.c.chime == bindparam("chime"))
    return select(CHIME.c.id).select_from(placed).where(named).scalar_subquery()


@cache
def _place() -> Select[Any]:
    return select(CHIME.c.id, GENERATION.scalar_subquery().label("generation")).where(CHIME.c.id == _mine())


@cache
def _rings() -> Any:
    """Those that begin in the stretch, by their index; and of each door the one before, where it lasts into it."""
    earlier = PRESS.alias()
    before = (
        select(earlier.c.id)
        .where(earlier.c.door_id == DOOR.c.id, earlier.c.start_s < FROM_S)
        .order_by(earlier.c.start_s.desc(), earlier.c.id.desc())
        .limit(1)
        .correlate(DOOR)
        .scalar_subquery()
    )
    lasting = or_(PRESS.c.end_s.is_(None), PRESS.c.end_s >= FROM_S)
    return union_all(
        _pressed_with(PRESS.c.door_id == DOOR.c.id).where(PRESS.c.start_s >= FROM_S),
        _pressed_with(PRESS.c.id == before).where(lasting),
    )


def _pressed_with(of_door: Any) -> Select[Any]:
    """With the end of those whose chime restarted while the contact was closed: it is not known to have been closed any longer."""
    later = BOOT.alias()
    restarted_s = select(func.min(later.c.start_s)).where(
        later.c.chime_id == BOOT.c.chime_id, later.c.start_s > BOOT.c.start_s
    )
    end_s = func.coalesce(PRESS.c.end_s, restarted_s.scalar_subquery())
    columns = (PRESS.c.source, PRESS.c.pulses, PRESS.c.widest_s, PRESS.c.visit_id)
    return (
        select(
            PRESS.c.id,
            DOOR.c.door,
            PRESS.c.start_s,
            end_s.label("end_s"),
            *columns,
            VISIT.c.start_s.label("visit_start_s"),
        )
        .select_from(
            DOOR.join(PRESS, of_door)
            .join(VISIT, VISIT.c.id == PRESS.c.visit_id)
            .join(BOOT, BOOT.c.id == PRESS.c.boot_id)
        )
        .where(DOOR.c.chime_id == _mine())
    )


@cache
def _heard() -> Select[Any]:
    return _first_and_last(READING.c.end_s).where(READING.c.chime_id == _mine(), READING.c.end_s >= FROM_S)


@cache
def _pressed() -> Select[Any]:
    doors = select(DOOR.c.id).where(DOOR.c.chime_id == _mine())
    return _first_and_last(PRESS.c.start_s).where(PRESS.c.door_id.in_(doors), PRESS.c.start_s >= FROM_S)


def _first_and_last(at: Any) -> Select[Any]:
    step = cast(func.floor(at / bindparam("step_s")), Integer).label("step")
    return select(func.min(at), func.max(at)).group_by(step).order_by(step)


@cache
def _windows(names: tuple[str, ...]) -> Select[Any]:
    columns = [READING.c[name] for name in names]
    return (
        select(READING.c.end_s, *columns)
        .where(
            READING.c.chime_id == _mine(),
            READING.c.end_s >= FROM_S,
            or_(*(column.is_not(None) for column in columns)),
        )
        .order_by(READING.c.end_s, READING.c.id)
        .limit(bindparam("most"))
    )
