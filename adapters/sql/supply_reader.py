"""The part of the Reader that answers about the supply."""

from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from typing import Any

from sqlalchemy import Connection, Integer, Select, cast, func, select

from adapters.sql import tables
from adapters.sql.engine import table
from service import model

SITE, CHIME, READING, WAVEFORM = table(tables.Site), table(tables.Chime), table(tables.Reading), table(tables.Waveform)

TOLD_APART = ("mean_v", "low_v", "regulated_min_v", "temperature_c", "link_dbw")
"""What a chime may tell in packs of its own; of each the latest."""

LATELY_S = 86400.0
"""What is older than this beside the newest reading is no longer the present."""


class SupplyReader:
    """Part of `SqlReader`."""

    def _asking(self) -> AbstractContextManager[Connection]:
        raise NotImplementedError

    def supply(
        self, site: str, chime: str, start_s: float, end_s: float, step_s: float | None = None, limit: int = 10_000
    ) -> Sequence[model.SupplyPoint]:
        with self._asking() as connection:
            chime_id = _chime_id(connection, site, chime)
            stretch = (READING.c.chime_id == chime_id, READING.c.end_s >= start_s, READING.c.end_s < end_s)
            if step_s is None:
                query = select(READING).where(*stretch).order_by(READING.c.end_s).limit(limit)
                return [_window(row) for row in connection.execute(query)]
            return list(_joined(connection, stretch, start_s, step_s, limit))

    def latest_supply(self, site: str, chime: str) -> model.SupplyPoint | None:
        with self._asking() as connection:
            of_chime = select(READING).where(READING.c.chime_id == _chime_id(connection, site, chime))
            newest_first = of_chime.order_by(READING.c.end_s.desc()).limit(1)
            newest = connection.execute(newest_first).first()
            if newest is None:
                return None
            lately = newest_first.where(READING.c.end_s > newest.end_s - LATELY_S)
            rows = {name: connection.execute(lately.where(READING.c[name].is_not(None))).first() for name in TOLD_APART}
        window = rows["mean_v"] or newest
        absent: dict[str, Any] = dict.fromkeys(TOLD_APART)
        told = absent | {name: getattr(row, name) for name, row in rows.items() if row is not None}
        return replace(_window(window), **told)

    def latest_bursts(self, site: str, chime: str) -> Sequence[model.Burst]:
        with self._asking() as connection:
            chime_id = _chime_id(connection, site, chime)
            found = [connection.execute(_newest(chime_id, kind)).first() for kind in ("idle", "test", "step", "sound")]
        return [
            model.Burst(row.kind, row.start_s, row.rate_hz, row.lsb_v, row.codes) for row in found if row is not None
        ]


def _chime_id(connection: Connection, site: str, chime: str) -> int | None:
    """Asked first, so that the readings are found by one index range."""
    query = (
        select(CHIME.c.id).join(SITE, SITE.c.id == CHIME.c.site_id).where(SITE.c.site == site, CHIME.c.chime == chime)
    )
    return connection.execute(query).scalar()


def _newest(chime_id: int | None, kind: str) -> Select[Any]:
    return (
        select(WAVEFORM)
        .where(WAVEFORM.c.chime_id == chime_id, WAVEFORM.c.kind == kind)
        .order_by(WAVEFORM.c.start_s.desc())
        .limit(1)
    )


def _joined(
    connection: Connection, stretch: Any, start_s: float, step_s: float, limit: int
) -> Iterator[model.SupplyPoint]:
    """Readings joined to steps counted from `start_s`; the mean weighs each window by its length."""
    step = cast(func.floor((READING.c.end_s - start_s) / step_s), Integer).label("step")
    weight = READING.c.window_s + 1e-9  # a chime that does not tell its window counts each reading alike
    query = (
        select(
            step,
            func.count(),
            func.sum(READING.c.mean_v * weight) / func.sum(weight),
            func.min(READING.c.min_v),
            func.max(READING.c.max_v),
            func.min(READING.c.low_v),
            func.min(READING.c.regulated_min_v),
            func.avg(READING.c.temperature_c),
            func.avg(READING.c.link_dbw),
        )
        .where(*stretch)
        .group_by(step)
        .order_by(step)
        .limit(limit)
    )
    for number, windows, *values in connection.execute(query):
        yield model.SupplyPoint(start_s + number * step_s, start_s + (number + 1) * step_s, windows, *values)


def _window(row: Any) -> model.SupplyPoint:
    return model.SupplyPoint(
        row.end_s - row.window_s,
        row.end_s,
        1,
        row.mean_v,
        row.min_v,
        row.max_v,
        row.low_v,
        row.regulated_min_v,
        row.temperature_c,
        row.link_dbw,
    )
