"""Chimes and boots that the writer keeps at hand between transactions. After a failed one they are read anew."""

from itertools import count as counting
from typing import Any

from sqlalchemy import Connection, func, insert, select

from adapters.sql import log_tables, tables
from adapters.sql.engine import inserted_key, table, update_by_id
from service.hostclock import HostClock, HostClocks, Reading
from service.ledger import BootLedger, ChimeLedger
from service.presses.heard import Run
from service.walltime import BootClock, Line

SITE, CHIME, DOOR, BOOT = table(tables.Site), table(tables.Chime), table(tables.Door), table(tables.Boot)
EVENT, HEARD, WATCH = table(tables.Event), table(log_tables.Heard), table(log_tables.Watch)
GENERATION = select(table(tables.Progress).c.generation)

CLOCKS_BEFORE = 4
"""Power-ups that are asked how fast the crystal of their board runs."""


class Ledgers:
    """Belongs to the one writer."""

    def __init__(self, time_zone: str) -> None:
        self._time_zone = time_zone
        self._generation: int | None = None
        self.forget()

    def forget(self) -> None:
        """Trust nothing at hand any more."""
        self._chimes: dict[tuple[str, str], ChimeLedger] = {}
        self._event_ids: counting[int] | None = None
        self.forget_clocks()

    def check(self, connection: Connection) -> None:
        """At the beginning of a transaction: somebody else may have exchanged what is derived."""
        generation = connection.execute(GENERATION).scalar()
        if generation != self._generation:
            self.forget()
        self._generation = generation

    def forget_clocks(self) -> None:
        self._clocks: HostClocks | None = None

    def host_clocks(self, connection: Connection) -> HostClocks:
        if self._clocks is None:
            rows = connection.execute(
                select(WATCH.c.after_pack_id, WATCH.c.host, WATCH.c.offset_s).order_by(WATCH.c.id)
            )
            self._clocks = HostClocks([Reading(row[0], HostClock(row[1], row[2])) for row in rows])
        return self._clocks

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
            chime.boots[number] = [_boot(row, _runs(connection, row.id)) for row in rows]
        return chime.boots[number]

    def chime_with(self, boot: BootLedger | None = None, door_id: int | None = None) -> int | None:
        """Row of the chime that has this power-up or this door, where it is at hand."""
        for one in self._chimes.values():
            if door_id in one.doors.values() or (boot and any(boot is of for of in one.boots.get(boot.number, ()))):
                return one.id
        return None

    def all_chimes(self, connection: Connection) -> list[ChimeLedger]:
        rows = connection.execute(select(SITE.c.site, CHIME.c.chime).join(SITE, SITE.c.id == CHIME.c.site_id))
        return [self.chime(connection, site, chime, 0.0) for site, chime in rows.all()]

    def boots_since(self, connection: Connection, chime: ChimeLedger, since_s: float) -> list[BootLedger]:
        """Power-ups of the chime that were heard since then."""
        self.save(connection)
        rows = connection.execute(
            select(BOOT.c.id, BOOT.c.number).where(BOOT.c.chime_id == chime.id, BOOT.c.last_heard_s >= since_s)
        ).all()
        return [boot for key, number in rows for boot in self.boots(connection, chime, number) if boot.id == key]

    def clocks_before(self, connection: Connection, chime: ChimeLedger, boot: BootLedger) -> list[BootClock]:
        self.save(connection)
        same = (BOOT.c.chime_id == chime.id) & (BOOT.c.id < boot.id) & BOOT.c.number.is_not(None)
        rows = connection.execute(select(BOOT).where(same).order_by(BOOT.c.id.desc()).limit(CLOCKS_BEFORE))
        return [clock_of(row) for row in rows]

    def new_boot(
        self,
        connection: Connection,
        chime: ChimeLedger,
        number: int | None,
        received_s: float,
        line: Line,
        host: str | None,
    ) -> BootLedger:
        known = self.boots(connection, chime, number)
        boot = BootLedger(0, number, received_s, dated=line, readings_dated=line, host=host)
        values = {"chime_id": chime.id, "number": number, **_columns(boot)}
        boot.id = inserted_key(connection.execute(insert(BOOT), values))
        known.insert(0, boot)
        return boot

    def save(self, connection: Connection) -> None:
        """Write what has changed."""
        for chime in self._chimes.values():
            if chime.changed:
                connection.execute(
                    update_by_id(CHIME),
                    {
                        "row_id": chime.id,
                        "device": chime.device,
                        "first_heard_s": chime.first_heard_s,
                        "last_heard_s": chime.last_heard_s,
                        "alive": chime.alive,
                        "alive_since_s": chime.alive_since_s,
                        "level": ",".join(sorted(chime.level)),
                    },
                )
                chime.changed = False
            for boot in (boot for boots in chime.boots.values() for boot in boots if boot.changed):
                connection.execute(update_by_id(BOOT), {"row_id": boot.id, **_columns(boot)})
                _save_runs(connection, boot)
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


def clock_of(row: Any) -> BootClock:
    """The clock of a power-up, as it is kept in its row."""
    own = row.own_clock or {}
    return BootClock(
        tuple((up, late) for up, late in row.witnesses),
        tuple((up, late) for up, late in own.get("readings", ())),
        tuple(own["drift_known"]) if own.get("drift_known") else None,
    )


def _own_clock(clock: BootClock) -> dict[str, Any] | None:
    """What is kept beside the witnesses; nearly always nothing."""
    if not clock.readings and clock.drift_known is None:
        return None
    return {"readings": [list(reading) for reading in clock.readings], "drift_known": clock.drift_known}


def _runs(connection: Connection, boot_id: int) -> list[Run]:
    rows = connection.execute(
        select(HEARD).where(HEARD.c.boot_id == boot_id).order_by(HEARD.c.first_seq, HEARD.c.first_up_s, HEARD.c.id)
    )
    return [Run(r.first_up_s, r.last_up_s, r.first_seq, r.last_seq, r.dropped, r.id) for r in rows]


def _boot(row: Any, runs: list[Run]) -> BootLedger:
    return BootLedger(
        row.id,
        row.number,
        row.first_received_s,
        row.cause,
        clock_of(row),
        Line(row.dated_offset_s, row.dated_drift),
        Line(row.readings_offset_s, row.readings_drift),
        row.last_up_s,
        row.highest_seq,
        row.host,
        runs,
    )


def _columns(boot: BootLedger) -> dict[str, Any]:
    return {
        "cause": boot.cause,
        "host": boot.host,
        "start_s": boot.dated.wall_s(0.0) if boot.number is not None else boot.first_received_s,
        "last_heard_s": boot.dated.wall_s(boot.last_up_s),
        "last_up_s": boot.last_up_s,
        "highest_seq": boot.highest_seq,
        "first_received_s": boot.first_received_s,
        "witnesses": [list(witness) for witness in boot.clock.witnesses],
        "own_clock": _own_clock(boot.clock),
        "dated_offset_s": boot.dated.offset_s,
        "dated_drift": boot.dated.drift,
        "readings_offset_s": boot.readings_dated.offset_s,
        "readings_drift": boot.readings_dated.drift,
    }


def _save_runs(connection: Connection, boot: BootLedger) -> None:
    """Write the runs of a power-up that have changed."""
    for run in boot.changed_runs.values():
        values = {
            "boot_id": boot.id,
            "first_up_s": run.first_up_s,
            "last_up_s": run.last_up_s,
            "first_seq": run.first_seq,
            "last_seq": run.last_seq,
            "dropped": run.dropped,
        }
        if run.id is None:
            run.id = inserted_key(connection.execute(insert(HEARD), values))
        else:
            connection.execute(update_by_id(HEARD), {"row_id": run.id, **values})
    boot.changed_runs.clear()
    if boot.gone_runs:
        connection.execute(HEARD.delete().where(HEARD.c.id.in_(boot.gone_runs)))
        boot.gone_runs.clear()
