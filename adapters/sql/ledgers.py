"""Chimes and boots that the writer keeps at hand between transactions. After a failed one they are read anew."""

from itertools import count as counting
from typing import Any

from sqlalchemy import Connection, func, insert, select, update

from adapters.sql import tables
from adapters.sql.engine import inserted_key, table
from service.ledger import BootLedger, ChimeLedger
from service.walltime import BootClock, Line

SITE, CHIME, DOOR, BOOT = table(tables.Site), table(tables.Chime), table(tables.Door), table(tables.Boot)
EVENT = table(tables.Event)


class Ledgers:
    """Belongs to the one writer."""

    def __init__(self, time_zone: str) -> None:
        self._time_zone = time_zone
        self.forget()

    def forget(self) -> None:
        """Trust nothing at hand any more."""
        self._chimes: dict[tuple[str, str], ChimeLedger] = {}
        self._event_ids: counting[int] | None = None

    def next_event_id(self, connection: Connection) -> int:
        if self._event_ids is None:
            self._event_ids = counting(
                int(connection.execute(select(func.coalesce(func.max(EVENT.c.id), 0))).scalar_one()) + 1
            )
        return next(self._event_ids)

    def chime(self, connection: Connection, site: str, chime: str, heard_s: float) -> ChimeLedger:
        found = self._chimes.get((site, chime))
        if found is None:
            found = self._chimes[site, chime] = self._read(connection, site, chime) or self._new(
                connection, site, chime, heard_s
            )
        return found

    def door(self, connection: Connection, chime: ChimeLedger, door: str, heard_s: float) -> int:
        if door not in chime.doors:
            chime.doors[door] = inserted_key(
                connection.execute(insert(DOOR).values(chime_id=chime.id, door=door, first_heard_s=heard_s))
            )
        return chime.doors[door]

    def boots(self, connection: Connection, chime: ChimeLedger, number: int | None) -> list[BootLedger]:
        if number not in chime.boots:
            same = BOOT.c.number.is_(None) if number is None else BOOT.c.number == number
            rows = connection.execute(select(BOOT).where(BOOT.c.chime_id == chime.id, same).order_by(BOOT.c.id.desc()))
            chime.boots[number] = [_boot(row) for row in rows]
        return chime.boots[number]

    def new_boot(
        self, connection: Connection, chime: ChimeLedger, number: int | None, received_s: float, line: Line
    ) -> BootLedger:
        known = self.boots(connection, chime, number)
        boot = BootLedger(0, number, received_s, dated=line, readings_dated=line)
        values = {"chime_id": chime.id, "number": number, "first_received_s": received_s, **_columns(boot)}
        boot.id = inserted_key(connection.execute(insert(BOOT).values(values)))
        known.insert(0, boot)
        return boot

    def save(self, connection: Connection) -> None:
        """Write what has changed."""
        for chime in self._chimes.values():
            if chime.changed:
                connection.execute(
                    update(CHIME)
                    .where(CHIME.c.id == chime.id)
                    .values(
                        device=chime.device,
                        first_heard_s=chime.first_heard_s,
                        last_heard_s=chime.last_heard_s,
                        alive=chime.alive,
                        alive_since_s=chime.alive_since_s,
                        level=",".join(sorted(chime.level)),
                    )
                )
                chime.changed = False
            for boot in (boot for boots in chime.boots.values() for boot in boots if boot.changed):
                connection.execute(update(BOOT).where(BOOT.c.id == boot.id).values(_columns(boot)))
                boot.changed = False

    def _read(self, connection: Connection, site: str, chime: str) -> ChimeLedger | None:
        row = connection.execute(
            select(CHIME).join(SITE, SITE.c.id == CHIME.c.site_id).where(SITE.c.site == site, CHIME.c.chime == chime)
        ).first()
        if row is None:
            return None
        doors = connection.execute(select(DOOR.c.door, DOOR.c.id).where(DOOR.c.chime_id == row.id))
        return ChimeLedger(
            row.id,
            site,
            chime,
            row.first_heard_s,
            row.last_heard_s,
            row.device,
            row.alive,
            row.alive_since_s,
            set(row.level.split(",")) - {""},
            {row.door: row.id for row in doors},
        )

    def _new(self, connection: Connection, site: str, chime: str, heard_s: float) -> ChimeLedger:
        site_id = connection.execute(select(SITE.c.id).where(SITE.c.site == site)).scalar()
        if site_id is None:
            site_id = inserted_key(
                connection.execute(
                    insert(SITE).values(site=site, name=site.replace("-", " ").title(), time_zone=self._time_zone)
                )
            )
        key = inserted_key(
            connection.execute(
                insert(CHIME).values(
                    site_id=site_id, chime=chime, claimed=False, first_heard_s=heard_s, last_heard_s=heard_s, level=""
                )
            )
        )
        return ChimeLedger(key, site, chime, heard_s, heard_s)


def _boot(row: Any) -> BootLedger:
    return BootLedger(
        row.id,
        row.number,
        row.first_received_s,
        row.cause,
        BootClock(tuple((up, late) for up, late in row.witnesses)),
        Line(row.dated_offset_s, row.dated_drift),
        Line(row.readings_offset_s, row.readings_drift),
        row.last_up_s,
        row.highest_seq,
        row.dropped,
    )


def _columns(boot: BootLedger) -> dict[str, Any]:
    return {
        "cause": boot.cause,
        "start_s": boot.dated.wall_s(0.0) if boot.number is not None else boot.first_received_s,
        "last_heard_s": boot.dated.wall_s(boot.last_up_s),
        "last_up_s": boot.last_up_s,
        "highest_seq": boot.highest_seq,
        "dropped": boot.dropped,
        "witnesses": [list(witness) for witness in boot.clock.witnesses],
        "dated_offset_s": boot.dated.offset_s,
        "dated_drift": boot.dated.drift,
        "readings_offset_s": boot.readings_dated.offset_s,
        "readings_drift": boot.readings_dated.drift,
    }
