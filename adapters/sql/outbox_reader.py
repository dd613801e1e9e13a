"""The part of the reader about ways out: which there are, and the letters that wait for them."""

from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, func, select

from adapters.sql import outbox_tables, tables
from adapters.sql.engine import table
from adapters.sql.paging import whole
from service.errors import NotFound
from service.outbox_ports import Letter, LetterState, Waiting
from service.outlet_form import read_outlet
from service.outlets import Outlet

OUTLET, LETTER = table(outbox_tables.Outlet), table(outbox_tables.Letter)
EVENT = table(tables.Event)
IN_LETTER = [column for column in LETTER.c if column is not LETTER.c.event_id]


class OutboxReader:
    """Part of `SqlReader`."""

    def _asking(self) -> AbstractContextManager[Connection]:
        raise NotImplementedError

    def outlets(self) -> Sequence[Outlet]:
        with self._asking() as connection:
            return all_outlets(connection)

    def outlet(self, outlet_id: int) -> Outlet:
        with self._asking() as connection:
            row = connection.execute(select(OUTLET).where(OUTLET.c.id == outlet_id)).first()
        if row is None:
            raise NotFound(f"no way out has the number {outlet_id}")
        return _outlet(row)

    def waiting_letters(self, outlet_id: int, urgency: int, limit: int) -> Sequence[Letter]:
        mine = (LETTER.c.outlet_id == outlet_id, LETTER.c.state == "waiting", LETTER.c.urgency >= urgency)
        with self._asking() as connection:
            rows = connection.execute(select(*IN_LETTER).where(*mine).order_by(LETTER.c.id).limit(limit))
            return [_letter(row) for row in rows]

    def letters(
        self, outlet_id: int, state: LetterState, *, cursor: str | None = None, limit: int = 100
    ) -> tuple[Sequence[Letter], str | None]:
        query = select(*IN_LETTER).where(LETTER.c.outlet_id == outlet_id, LETTER.c.state == state)
        if cursor is not None:
            query = query.where(LETTER.c.id < whole(cursor))
        with self._asking() as connection:
            rows = connection.execute(query.order_by(LETTER.c.id.desc()).limit(limit + 1)).all()
        return [_letter(row) for row in rows[:limit]], str(rows[limit - 1].id) if len(rows) > limit else None

    def outbox(self, outlet_id: int) -> Waiting:
        mine = LETTER.c.outlet_id == outlet_id
        counted = select(LETTER.c.state, func.count(), func.min(LETTER.c.written_s), func.max(LETTER.c.tried_s))
        with self._asking() as connection:
            rows = connection.execute(counted.where(mine).group_by(LETTER.c.state)).all()
        found = {state: (count, oldest_s, last_s) for state, count, oldest_s, last_s in rows}
        nothing = (0, None, None)
        waiting, dead, delivered = (found.get(state, nothing) for state in ("waiting", "dead", "delivered"))
        return Waiting(waiting[0], waiting[1], dead[0], delivered[2])

    def told_visits(self, since_s: float) -> set[int]:
        with self._asking() as connection:
            told = select(EVENT.c.data).where(EVENT.c.kind == "visit", EVENT.c.at_s >= since_s)
            return {int(data["id"]) for data in connection.execute(told).scalars()}


def all_outlets(connection: Connection) -> list[Outlet]:
    return [_outlet(row) for row in connection.execute(select(OUTLET).order_by(OUTLET.c.id))]


def _outlet(row: Any) -> Outlet:
    return replace(read_outlet(row.form), id=row.id, off=row.off)


def _letter(row: Any) -> Letter:
    return Letter(
        row.id,
        row.outlet_id,
        row.key,
        row.written_s,
        row.urgency,
        row.content,
        row.state,
        row.tries,
        row.first_s,
        row.tried_s,
        row.due_s,
        row.answer,
    )
