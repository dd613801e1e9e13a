"""Joins readings to hours, and hours to days, a stretch at a time. The part of the writer's transaction that is done when there is time."""

from typing import Any

from sqlalchemy import Integer, cast, delete, func, insert, literal, select, update

from adapters.sql import rollup_tables, tables
from adapters.sql.engine import table
from adapters.sql.people import People

READING, CHIME = table(tables.Reading), table(tables.Chime)
ROLL_UP, ROLLED = table(rollup_tables.RollUp), table(rollup_tables.Rolled)

HOUR_S, DAY_S = 3600, 86_400
SETTLED_S = 2.0 * HOUR_S
"""What is younger is not joined yet: most that is late is late by less (chosen)."""

AT_ONCE_S = 7.0 * DAY_S
"""At the most in one transaction: some sixty thousand readings, a tenth of a second."""

NO_READING = -1


class RollWork(People):
    """Part of `SqlWork`."""

    def roll_readings(self, now_s: float) -> bool:
        """Join what has settled, of each chime a stretch at the most. Whether there is more to do."""
        more = False
        for chime_id in self._connection.execute(select(CHIME.c.id)).scalars().all():
            more = self._roll(chime_id, now_s) or more
        return more

    def roll_again_from(self, chime_id: int, at_s: float) -> None:
        """Readings were moved: what was joined from there on is joined anew."""
        self._connection.execute(
            update(ROLLED)
            .where(ROLLED.c.chime_id == chime_id, ROLLED.c.until_s > at_s)
            .values(until_s=at_s // DAY_S * DAY_S)
        )

    def _roll(self, chime_id: int, now_s: float) -> bool:
        of_chime = READING.c.chime_id == chime_id
        rolled = self._connection.execute(select(ROLLED).where(ROLLED.c.chime_id == chime_id)).first()
        newest = self._connection.execute(select(func.max(READING.c.id))).scalar() or NO_READING
        if rolled is None:
            first_s = self._connection.execute(select(func.min(READING.c.end_s)).where(of_chime)).scalar()
            if first_s is None:
                return False
            begin_s = first_s // DAY_S * DAY_S
        else:
            late = select(func.min(READING.c.end_s)).where(
                of_chime, READING.c.id > rolled.reading_id, READING.c.end_s < rolled.until_s
            )
            late_s = self._connection.execute(late).scalar()
            begin_s = rolled.until_s if late_s is None else late_s // DAY_S * DAY_S
        settled_s = (now_s - SETTLED_S) // HOUR_S * HOUR_S
        end_s = max(min(settled_s, begin_s + AT_ONCE_S), begin_s)
        if rolled is not None and end_s == rolled.until_s == begin_s:
            return False
        day_s = begin_s // DAY_S * DAY_S
        mine = ROLL_UP.c.chime_id == chime_id
        for length_s, since_s in ((HOUR_S, begin_s), (DAY_S, day_s)):
            self._connection.execute(
                delete(ROLL_UP).where(mine, ROLL_UP.c.length_s == length_s, ROLL_UP.c.start_s >= since_s)
            )
        self._take(_hours(chime_id, begin_s, end_s))
        self._take(_days(chime_id, day_s, end_s // DAY_S * DAY_S))
        self._connection.execute(delete(ROLLED).where(ROLLED.c.chime_id == chime_id))
        self._connection.execute(insert(ROLLED).values(chime_id=chime_id, until_s=end_s, reading_id=newest))
        return bool(end_s < settled_s)

    def _take(self, joined: Any) -> None:
        self._connection.execute(insert(ROLL_UP).from_select([column.name for column in ROLL_UP.columns], joined))


def _hours(chime_id: int, begin_s: float, end_s: float) -> Any:
    """A reading belongs to the hour in which it ends."""
    hour = cast(func.floor(READING.c.end_s / HOUR_S), Integer)
    weight = READING.c.window_s + 1e-9  # a chime that does not tell its window counts each reading alike
    return (
        select(
            literal(chime_id),
            literal(HOUR_S),
            hour * float(HOUR_S),
            func.count(),
            func.sum(weight),
            func.sum(READING.c.mean_v * weight) / func.sum(weight),
            func.min(READING.c.min_v),
            func.max(READING.c.max_v),
            func.min(READING.c.low_v),
            func.min(READING.c.regulated_min_v),
            func.avg(READING.c.temperature_c),
            func.avg(READING.c.link_dbw),
        )
        .where(READING.c.chime_id == chime_id, READING.c.end_s >= begin_s, READING.c.end_s < end_s)
        .group_by(hour)
    )


def _days(chime_id: int, begin_s: float, end_s: float) -> Any:
    day = cast(func.floor(ROLL_UP.c.start_s / DAY_S), Integer)
    return (
        select(
            literal(chime_id),
            literal(DAY_S),
            day * float(DAY_S),
            func.sum(ROLL_UP.c.windows),
            func.sum(ROLL_UP.c.weight_s),
            func.sum(ROLL_UP.c.mean_v * ROLL_UP.c.weight_s) / func.sum(ROLL_UP.c.weight_s),
            func.min(ROLL_UP.c.min_v),
            func.max(ROLL_UP.c.max_v),
            func.min(ROLL_UP.c.low_v),
            func.min(ROLL_UP.c.regulated_min_v),
            func.avg(ROLL_UP.c.temperature_c),
            func.avg(ROLL_UP.c.link_dbw),
        )
        .where(
            ROLL_UP.c.chime_id == chime_id,
            ROLL_UP.c.length_s == HOUR_S,
            ROLL_UP.c.start_s >= begin_s,
            ROLL_UP.c.start_s < end_s,
        )
        .group_by(day)
    )
