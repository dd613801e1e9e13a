"""What blind time and unseen presses are computed from, beside presses and signs: power-ups with the packs that came of them, and when
a chime or the service was away."""

from collections.abc import Callable, Sequence
from functools import cache
from itertools import pairwise
from math import inf
from typing import Any

from sqlalchemy import Connection, Select, bindparam, select

from adapters.sql import log_tables, tables
from adapters.sql.engine import table
from adapters.sql.ledgers import clock_of
from service import model
from service.presses import blind, heard
from service.walltime import Line

SITE, CHIME, BOOT = table(tables.Site), table(tables.Chime), table(tables.Boot)
PRESENCE, HEARD, WATCH = table(tables.Presence), table(log_tables.Heard), table(log_tables.Watch)


MOVED_S = 0.5
"""Less is what a power-up may lag behind its clock before it is dated anew, and more [s]."""

ARRIVED_S = 1.0
"""Uncertainty of what is dated by arrival alone [s]."""

AGREE_S, FAR_S = 0.25, 10.0
"""Two packs of a power-up that were made so far apart and waited alike, but for so much, have hardly waited both [s]."""


@cache
def all_boots() -> Select[Any]:
    """Asked for every minute by each chime's rules; made once."""
    columns = (BOOT.c.id, BOOT.c.number, BOOT.c.cause, BOOT.c.start_s, BOOT.c.last_heard_s)
    return (
        select(*columns, BOOT.c.dated_offset_s, BOOT.c.dated_drift)
        .select_from(BOOT.join(CHIME, CHIME.c.id == BOOT.c.chime_id).join(SITE, SITE.c.id == CHIME.c.site_id))
        .where(SITE.c.site == bindparam("site"), CHIME.c.chime == bindparam("chime"))
        .order_by(BOOT.c.start_s, BOOT.c.id)
    )


@cache
def _heard() -> Select[Any]:
    mine = HEARD.c.boot_id.in_(bindparam("boots", expanding=True))
    return select(HEARD).where(mine).order_by(HEARD.c.boot_id, HEARD.c.first_seq, HEARD.c.first_up_s)


def chime_id(chime: model.Chime) -> Any:
    return (
        select(CHIME.c.id)
        .join(SITE, SITE.c.id == CHIME.c.site_id)
        .where(SITE.c.site == chime.site, CHIME.c.chime == chime.chime)
        .scalar_subquery()
    )


def with_runs(
    connection: Connection, boots: Sequence[Any], start_s: float, end_s: float
) -> list[tuple[Any, Line, list[heard.Run], list[heard.Hole]]]:
    """Power-ups of the stretch, and the ones before and after it, with their runs of packs and what is missing between."""
    last_before = max((row.last_heard_s for row in boots if row.last_heard_s < start_s), default=-inf)
    next_after = min((row.start_s for row in boots if row.start_s >= end_s), default=inf)
    wanted = [
        row
        for row in boots
        if row.last_heard_s >= min(start_s, last_before) and (row.start_s < end_s or row.start_s == next_after)
    ]
    runs: dict[int, list[heard.Run]] = {row.id: [] for row in wanted}
    for r in connection.execute(_heard(), {"boots": list(runs)}):
        runs[r.boot_id].append(heard.Run(r.first_up_s, r.last_up_s, r.first_seq, r.last_seq, r.dropped, r.id))
    return [(row, Line(row.dated_offset_s, row.dated_drift), runs[row.id], heard.holes(runs[row.id])) for row in wanted]


def loose_s(connection: Connection, boots: Sequence[Any]) -> dict[int, float]:
    """By how much power-ups may have run earlier than they are dated, since all their packs came late; only where it is
    more than `MOVED_S` [s]."""
    ids = [row.id for row in boots if row.number is not None]
    found = {}
    for boot in connection.execute(_dated(), {"boots": ids}) if ids else ():
        late = [(up_s, late_s) for up_s, late_s in boot.witnesses]
        least_s = min(late_s for _, late_s in late)
        near = [up_s for up_s, late_s in late if late_s - least_s < AGREE_S]
        if boot.dated_offset_s > least_s - MOVED_S and max(near) - min(near) >= FAR_S:
            continue
        unsure_s = uncertainty_of(boot)(boot.last_up_s)
        if unsure_s > MOVED_S:
            found[boot.id] = unsure_s
    return found


def uncertainty_of(boot: Any) -> Callable[[float], float]:
    """How sure the times of a power-up are, by its clock; and by how much they were moved away from what that says, since the next
    power-up had begun by then."""
    if boot.number is None:
        return lambda up_s: ARRIVED_S
    clock, dated = clock_of(boot), Line(boot.dated_offset_s, boot.dated_drift)
    moved_s = clock.line().differs(dated, boot.last_up_s)
    return lambda up_s: clock.uncertainty_s(up_s) + (moved_s if moved_s > MOVED_S else 0.0)


@cache
def _dated() -> Select[Any]:
    return select(BOOT).where(BOOT.c.id.in_(bindparam("boots", expanding=True)))


def absences(connection: Connection, chime: model.Chime) -> list[blind.Stretch]:
    """When the presence topic said that the chime is away."""
    query = select(PRESENCE.c.at_s, PRESENCE.c.alive).where(PRESENCE.c.chime_id == chime_id(chime))
    changes = [(row[0], row[1]) for row in connection.execute(query.order_by(PRESENCE.c.at_s, PRESENCE.c.id))]
    return [(at_s, until_s) for (at_s, alive), (until_s, _) in pairwise([*changes, (inf, True)]) if not alive]


def between_watches(connection: Connection) -> list[blind.Stretch]:
    """When the service was down."""
    rows = connection.execute(select(WATCH.c.start_s, WATCH.c.last_s).order_by(WATCH.c.start_s)).all()
    return [(before.last_s, after.start_s) for before, after in pairwise(rows) if after.start_s > before.last_s]
