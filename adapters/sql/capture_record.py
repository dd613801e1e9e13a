"""Captures of an oscilloscope in the record: the part of the reader, and that of the writer's transaction."""

from collections.abc import Sequence
from contextlib import AbstractContextManager
from typing import Any

from sqlalchemy import Connection, Select, delete, insert, select

from adapters.sql import capture_tables, tables
from adapters.sql.engine import inserted_key, table
from adapters.sql.people import People
from service.capture_ports import KeptCapture
from service.errors import NotFound

SITE, CHIME, CAPTURE = table(tables.Site), table(tables.Chime), table(capture_tables.Capture)
PLACED = CHIME.join(SITE, SITE.c.id == CHIME.c.site_id)


class CaptureReader:
    """Part of `SqlReader`."""

    def _asking(self) -> AbstractContextManager[Connection]:
        raise NotImplementedError

    def captures(self, site: str, chime: str | None = None, limit: int = 100) -> Sequence[KeptCapture]:
        query = (
            _captures().where(SITE.c.site == site).order_by(CAPTURE.c.kept_s.desc(), CAPTURE.c.id.desc()).limit(limit)
        )
        if chime is not None:
            query = query.where(CHIME.c.chime == chime)
        with self._asking() as connection:
            return [_capture(row) for row in connection.execute(query)]

    def capture(self, site: str, number: int) -> KeptCapture:
        with self._asking() as connection:
            row = connection.execute(_captures().where(SITE.c.site == site, CAPTURE.c.id == number)).first()
        if row is None:
            raise NotFound(f"there is no capture {number} of {site!r}")
        return _capture(row)


class CaptureWork(People):
    """Part of `SqlWork`."""

    def add_capture(self, site: str, chime: str, kept_s: float, name: str, answer: dict[str, Any], most: int) -> int:
        mine = select(CHIME.c.id).select_from(PLACED).where(SITE.c.site == site, CHIME.c.chime == chime)
        chime_id = self._connection.execute(mine).scalar()
        if chime_id is None:
            raise NotFound(f"no chime {chime!r} at {site!r} has been heard")
        values = {"chime_id": chime_id, "kept_s": kept_s, "name": name, "answer": answer}
        number = inserted_key(self._connection.execute(insert(CAPTURE), values))
        newest = select(CAPTURE.c.id).where(CAPTURE.c.chime_id == chime_id).order_by(CAPTURE.c.id.desc()).limit(most)
        kept = [row[0] for row in self._connection.execute(newest)]
        self._connection.execute(delete(CAPTURE).where(CAPTURE.c.chime_id == chime_id, CAPTURE.c.id.not_in(kept)))
        return number

    def remove_capture(self, site: str, number: int) -> None:
        mine = select(CHIME.c.id).select_from(PLACED).where(SITE.c.site == site)
        gone = self._connection.execute(delete(CAPTURE).where(CAPTURE.c.id == number, CAPTURE.c.chime_id.in_(mine)))
        if not gone.rowcount:
            raise NotFound(f"there is no capture {number} of {site!r}")


def _captures() -> Select[Any]:
    return select(CAPTURE, SITE.c.site, CHIME.c.chime).select_from(
        PLACED.join(CAPTURE, CAPTURE.c.chime_id == CHIME.c.id)
    )


def _capture(row: Any) -> KeptCapture:
    return KeptCapture(row.id, row.site, row.chime, row.kept_s, row.name, row.answer)
