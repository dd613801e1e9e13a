"""Kept packs out of the record as they came, in the order of their arrival and a few hundred at a time.

Each question is a short one of its own, so that neither memory nor the log of the database grows while a long record is
written out, and the service may go on meanwhile. Refuses to know what the packs say.
"""

from collections.abc import Iterator
from math import inf
from typing import Any

from sqlalchemy import Engine, func, select

from adapters.sql import tables
from adapters.sql.engine import table, unavailable_told
from adapters.sql.ledgers import Ledgers
from service.hostclock import HostClocks
from service.model import Arrival

KEPT, FATE = table(tables.KeptPack), table(tables.PackFate)

AT_ONCE = 200
"""Packs that are read together: 13 MB where all are as large as a pack may be."""


def kept_packs(
    engine: Engine,
    site: str | None = None,
    chime: str | None = None,
    start_s: float = -inf,
    end_s: float = inf,
    refused: bool = True,
) -> Iterator[Arrival]:
    """What arrived in the stretch (half open), and is kept now: what is kept while this goes on is not among it.

    Parameters
    ----------
    site, chime : names of the contract; where they are given, only what was sent to topics of these.
    refused : also what was refused, as nobody had claimed its chime while enrolment was closed.

    Raises
    ------
    StoreUnavailable
    """
    with unavailable_told(), engine.connect() as connection:
        newest = int(connection.execute(select(func.coalesce(func.max(KEPT.c.id), 0))).scalar_one())
        clocks = Ledgers("UTC").host_clocks(connection)
    last = 0
    while last < newest:
        query = select(KEPT).where(KEPT.c.id > last, KEPT.c.id <= newest)
        if site is not None:  # a hyphen is all that a name may have beside letters and digits: LIKE means nothing by it
            query = query.where(KEPT.c.topic.like(f"%/1/{site}/{chime or '%'}/%"))
        if not refused:
            query = query.where(KEPT.c.id.not_in(select(FATE.c.pack_id).where(FATE.c.fate == "refused")))
        with unavailable_told(), engine.connect() as connection:
            rows = connection.execute(query.order_by(KEPT.c.id).limit(AT_ONCE)).all()
        if not rows:
            return
        last = rows[-1].id
        for row in rows:
            arrival = arrival_of(row, clocks)
            if start_s <= arrival.received_s < end_s:
                yield arrival


def arrival_of(row: Any, clocks: HostClocks) -> Arrival:
    """What was kept, its time by the clock of the host as it stands now. A recording brings its times with it."""
    host, shift_s = clocks.of(row.id) if row.via != "file" else ("", 0.0)
    return Arrival(
        row.topic,
        row.payload,
        row.received_s + shift_s,
        row.via,
        row.content_type,
        row.redelivered,
        row.packet_id,
        row.commissioning,
        host,
    )
