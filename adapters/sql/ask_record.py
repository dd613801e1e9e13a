"""Requests to chimes in the record: the part of the reader, and that of the writer's transaction."""

from collections.abc import Sequence
from contextlib import AbstractContextManager
from typing import Any

from sqlalchemy import Connection, Select, insert, select, update

from adapters.sql import ask_tables, tables
from adapters.sql.engine import inserted_key, table
from adapters.sql.people import People
from service.asks import Ask, AskState
from service.errors import NotFound

SITE, CHIME, ASK = table(tables.Site), table(tables.Chime), table(ask_tables.Ask)
PLACED = CHIME.join(SITE, SITE.c.id == CHIME.c.site_id)


class AskReader:
    """Part of `SqlReader`."""

    def _asking(self) -> AbstractContextManager[Connection]:
        raise NotImplementedError

    def asks(self, site: str, chime: str, limit: int = 100) -> Sequence[Ask]:
        query = _asks().where(SITE.c.site == site, CHIME.c.chime == chime)
        with self._asking() as connection:
            rows = connection.execute(query.order_by(ASK.c.asked_s.desc(), ASK.c.id.desc()).limit(limit))
            return [_ask(row) for row in rows]

    def open_asks(self, since_s: float) -> Sequence[Ask]:
        query = _asks().where(ASK.c.asked_s >= since_s, ASK.c.state.in_(("waiting", "unanswered")))
        with self._asking() as connection:
            return [_ask(row) for row in connection.execute(query.order_by(ASK.c.id))]


class AskWork(People):
    """Part of `SqlWork`."""

    def add_ask(self, ask: Ask) -> int:
        mine = select(CHIME.c.id).select_from(PLACED).where(SITE.c.site == ask.site, CHIME.c.chime == ask.chime)
        chime_id = self._connection.execute(mine).scalar()
        if chime_id is None:
            raise NotFound(f"no chime {ask.chime!r} at {ask.site!r} has been heard")
        values = {
            "chime_id": chime_id,
            "what": ask.what,
            "by": ask.by,
            "why": ask.why,
            "asked_s": ask.asked_s,
            "until_s": ask.until_s,
            "state": ask.state,
            "ended_s": ask.ended_s,
            "told": ask.told,
        }
        return inserted_key(self._connection.execute(insert(ASK), values))

    def end_ask(self, ask_id: int, state: AskState, ended_s: float, told: str) -> None:
        self._connection.execute(update(ASK).where(ASK.c.id == ask_id).values(state=state, ended_s=ended_s, told=told))


def _asks() -> Select[Any]:
    return select(ASK, SITE.c.site, CHIME.c.chime).select_from(PLACED.join(ASK, ASK.c.chime_id == CHIME.c.id))


def _ask(row: Any) -> Ask:
    return Ask(
        row.id,
        row.site,
        row.chime,
        row.what,
        row.by,
        row.why,
        row.asked_s,
        row.until_s,
        row.state,
        row.ended_s,
        row.told,
    )
