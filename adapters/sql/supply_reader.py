"""The part of the Reader that answers about the supply."""

from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from typing import Any, NamedTuple

from sqlalchemy import Connection, Integer, Select, Table, cast, func, select

from adapters.sql import rollup_tables, tables
from adapters.sql.engine import table
from adapters.sql.rolling import DAY_S, HOUR_S
from service import model

SITE, CHIME, READING, WAVEFORM = table(tables.Site), table(tables.Chime), table(tables.Reading), table(tables.Waveform)

TOLD_APART = ("mean_v", "low_v", "regulated_min_v", "temperature_c", "link_dbw")
"""What a chime may tell in packs of its own; of each the latest."""

ROLL_UP, ROLLED = table(rollup_tables.RollUp), table(rollup_tables.Rolled)

LONG_STEPS = 5.0
"""Days in a step from which on days are read instead of hours."""

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
            if step_s is None:
                stretch = (READING.c.chime_id == chime_id, READING.c.end_s >= start_s, READING.c.end_s < end_s)
                query = select(READING).where(*stretch).order_by(READING.c.end_s).limit(limit)
                return [_window(row) for row in connection.execute(query)]
            return _joined(connection, chime_id, start_s, end_s, step_s, limit)

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

    def bursts(self, site: str, chime: str, start_s: float, end_s: float, limit: int = 100) -> Sequence[model.Burst]:
        with self._asking() as connection:
            query = (
                select(WAVEFORM)
                .where(
                    WAVEFORM.c.chime_id == _chime_id(connection, site, chime),
                    WAVEFORM.c.kind.in_(("idle", "test", "step", "sound")),
                    WAVEFORM.c.start_s >= start_s,
                    WAVEFORM.c.start_s < end_s,
                )
                .order_by(WAVEFORM.c.start_s.desc())
                .limit(limit)
            )
            rows = connection.execute(query).all()
        return [model.Burst(row.kind, row.start_s, row.rate_hz, row.lsb_v, row.codes) for row in rows]

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


class Part(NamedTuple):
    """Of one step, from one source. `weight_s` weighs the mean."""

    windows: int
    weight_s: float
    mean_v: float | None
    min_v: float | None
    max_v: float | None
    low_v: float | None
    regulated_min_v: float | None
    temperature_c: float | None
    link_dbw: float | None


def _joined(
    connection: Connection, chime_id: int | None, start_s: float, end_s: float, step_s: float, limit: int
) -> list[model.SupplyPoint]:
    """Joined to steps counted from `start_s`: from days or hours that were joined before, where steps are long and they are there, and
    from the readings for the rest. The mean weighs each window by its length."""
    parts: dict[int, list[Part]] = {}
    length_s = DAY_S if step_s >= LONG_STEPS * DAY_S else HOUR_S
    rolled_s = connection.execute(select(ROLLED.c.until_s).where(ROLLED.c.chime_id == chime_id)).scalar()
    first_s = -(-start_s // length_s) * length_s
    last_s = min(rolled_s if rolled_s is not None else 0.0, end_s) // length_s * length_s
    if step_s >= HOUR_S and last_s > first_s:
        rows = _steps(
            ROLL_UP, ROLL_UP.c.start_s, ROLL_UP.c.weight_s, func.sum(ROLL_UP.c.windows), start_s, step_s
        ).where(
            ROLL_UP.c.chime_id == chime_id,
            ROLL_UP.c.length_s == length_s,
            ROLL_UP.c.start_s >= first_s,
            ROLL_UP.c.start_s < last_s,
        )
        stretches = [(start_s, first_s), (last_s, end_s)]
        _add(parts, connection.execute(rows))
    else:
        stretches = [(start_s, end_s)]
    for begin_s, until_s in stretches:
        weight = READING.c.window_s + 1e-9  # a chime that does not tell its window counts each reading alike
        rows = _steps(READING, READING.c.end_s, weight, func.count(), start_s, step_s).where(
            READING.c.chime_id == chime_id, READING.c.end_s >= begin_s, READING.c.end_s < until_s
        )
        _add(parts, connection.execute(rows.limit(limit)))
    return [
        model.SupplyPoint(start_s + number * step_s, start_s + (number + 1) * step_s, *_together(parts[number]))
        for number in sorted(parts)[:limit]
    ]


def _steps(source: Table, at: Any, weight: Any, windows: Any, start_s: float, step_s: float) -> Select[Any]:
    step = cast(func.floor((at - start_s) / step_s), Integer).label("step")
    return (
        select(
            step,
            windows,
            func.sum(weight),
            func.sum(source.c.mean_v * weight) / func.sum(weight),
            func.min(source.c.min_v),
            func.max(source.c.max_v),
            func.min(source.c.low_v),
            func.min(source.c.regulated_min_v),
            func.avg(source.c.temperature_c),
            func.avg(source.c.link_dbw),
        )
        .group_by(step)
        .order_by(step)
    )


def _add(parts: dict[int, list[Part]], rows: Iterable[Any]) -> None:
    for number, *values in rows:
        parts.setdefault(number, []).append(Part(*values))


def _together(parts: Sequence[Part]) -> tuple[Any, ...]:
    """All that a step has, as `model.SupplyPoint` has it."""
    if len(parts) == 1:
        return parts[0].windows, *parts[0][2:]

    def of(name: str, join: Callable[[list[float]], float]) -> float | None:
        values = [value for value in (getattr(part, name) for part in parts) if value is not None]
        return join(values) if values else None

    means = [(part.mean_v, part.weight_s) for part in parts if part.mean_v is not None]
    weight_s = sum(weight for _, weight in means)
    return (
        sum(part.windows for part in parts),
        sum(mean * weight for mean, weight in means) / weight_s if weight_s else None,
        of("min_v", min),
        of("max_v", max),
        of("low_v", min),
        of("regulated_min_v", min),
        of("temperature_c", lambda values: sum(values) / len(values)),
        of("link_dbw", lambda values: sum(values) / len(values)),
    )


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
