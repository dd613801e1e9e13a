"""Pages of rows in order of time, and the cursors between them. A cursor says after which row to go on."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, Select, and_, or_

from service.errors import Refused


def page_of(
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
        after_s, after = number(time), whole(row)
        beyond = (at < after_s, key < after) if newest_first else (at > after_s, key > after)
        query = query.where(or_(beyond[0], and_(at == after_s, beyond[1])))
    order = (at.desc(), key.desc()) if newest_first else (at, key)
    rows = connection.execute(query.order_by(*order).limit(limit + 1)).all()
    onward = f"{rows[limit - 1].start_s!r}_{rows[limit - 1].id}" if len(rows) > limit else None
    return rows[:limit], onward


def number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise Refused("This cursor is none that Bellcrank has given.") from None


def whole(text: str) -> int:
    return int(number(text))
