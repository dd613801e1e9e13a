"""The part of the writer's transaction about time: dating anew, which packs came, the host's clock, when this bridge listened."""

from math import inf
from typing import Any

from sqlalchemy import Connection, Table, func, insert, select, update

from adapters.sql import log_tables, tables
from adapters.sql.changes import Written
from adapters.sql.engine import table
from adapters.sql.ledgers import Ledgers
from service import model
from service.hostclock import HostClock
from service.ledger import BootLedger, ChimeLedger
from service.walltime import Line

CHIME, PRESS, VISIT = table(tables.Chime), table(tables.Press), table(tables.Visit)
SOUNDING, WAVEFORM, READING = table(tables.Sounding), table(tables.Waveform), table(tables.Reading)
PRESENCE, CONTACT, KEPT = table(tables.Presence), table(tables.Contact), table(tables.KeptPack)
HEARD, RISE, WATCH = table(log_tables.Heard), table(log_tables.RailRise), table(log_tables.Watch)
TROUBLE, REDATING = table(log_tables.StoreTrouble), table(log_tables.Redating)
STRETCHES = (PRESS, SOUNDING, RISE)
"""Rows with start and end, in the chime's time and in wall time."""


TOO_FAR_S = 60.0
"""Readings that are moved by less stay in the hour to which they were joined (chosen) [s]."""


class TimeWork:
    """Part of `SqlWork`."""

    written: Written
    _connection: Connection
    _ledgers: Ledgers

    def roll_again_from(self, chime_id: int, at_s: float) -> None:
        raise NotImplementedError

    def _flush(self, target: Any) -> None:
        raise NotImplementedError

    def redate(self, boot: BootLedger, line: Line) -> None:
        boot.dated, boot.changed, rate = line, True, 1.0 + line.drift
        self.written.presses(self._ledgers.chime_with(boot))
        for target in STRETCHES:
            self._connection.execute(
                update(target)
                .where(target.c.boot_id == boot.id)
                .values(
                    start_s=line.offset_s + target.c.start_up_s * rate, end_s=line.offset_s + target.c.end_up_s * rate
                )
            )
        self._connection.execute(
            update(WAVEFORM)
            .where(WAVEFORM.c.boot_id == boot.id)
            .values(start_s=line.offset_s + WAVEFORM.c.start_up_s * rate)
        )
        moved = select(PRESS.c.visit_id).where(PRESS.c.boot_id == boot.id)
        mine = select(func.min(PRESS.c.start_s)).where(PRESS.c.visit_id == VISIT.c.id)
        last = select(func.max(func.coalesce(PRESS.c.end_s, PRESS.c.start_s))).where(PRESS.c.visit_id == VISIT.c.id)
        self._connection.execute(
            update(VISIT)
            .where(VISIT.c.id.in_(moved))
            .values(start_s=mine.scalar_subquery(), end_s=last.scalar_subquery())
        )

    def redate_readings(self, boot: BootLedger, line: Line) -> None:
        before = boot.readings_dated
        boot.readings_dated, boot.changed = line, True
        self.written.windows(self._ledgers.chime_with(boot), -inf)
        self._flush(READING)
        ends = self._connection.execute(
            select(READING.c.chime_id, func.min(READING.c.end_up_s), func.max(READING.c.end_up_s))
            .where(READING.c.boot_id == boot.id)
            .group_by(READING.c.chime_id)
        ).first()
        if ends is not None and max(abs(line.wall_s(up_s) - before.wall_s(up_s)) for up_s in ends[1:]) > TOO_FAR_S:
            self.roll_again_from(ends[0], min(before.wall_s(ends[1]), line.wall_s(ends[1])))
        self._connection.execute(
            update(READING)
            .where(READING.c.boot_id == boot.id)
            .values(end_s=line.offset_s + READING.c.end_up_s * (1.0 + line.drift))
        )

    def press_stretches(self, boot: BootLedger) -> list[tuple[int, float, float]]:
        last_sign = func.max(func.coalesce(PRESS.c.end_s, PRESS.c.start_s))
        rows = self._connection.execute(
            select(PRESS.c.door_id, func.min(PRESS.c.start_s), last_sign)
            .where(PRESS.c.boot_id == boot.id)
            .group_by(PRESS.c.door_id)
        )
        return [(row[0], row[1], row[2]) for row in rows]

    def add_redating(self, redating: model.Redating) -> None:
        chime = self._ledgers.chime(self._connection, redating.site, redating.chime, redating.at_s)
        self._connection.execute(
            insert(REDATING).values(
                chime_id=chime.id,
                at_s=redating.at_s,
                start_s=redating.start_s,
                end_s=redating.end_s,
                shift_s=redating.shift_s,
                why=redating.why,
            )
        )

    def add_rise(self, chime: ChimeLedger, boot: BootLedger, start_up_s: float, end_up_s: float, rise_v: float) -> None:
        values = {"chime_id": chime.id, "boot_id": boot.id, "start_up_s": start_up_s, "end_up_s": end_up_s}
        start_s, end_s = boot.dated.wall_s(start_up_s), boot.dated.wall_s(end_up_s)
        self._connection.execute(insert(RISE).values(**values, start_s=start_s, end_s=end_s, rise_v=rise_v))

    # the host's clock

    def listen(self, clock: HostClock, now_s: float) -> None:
        newest = self._connection.execute(select(func.coalesce(func.max(KEPT.c.id), 0))).scalar_one()
        self._connection.execute(
            insert(WATCH).values(
                host=clock.host, offset_s=clock.offset_s, after_pack_id=newest, start_s=now_s, last_s=now_s
            )
        )
        self._ledgers.forget_clocks()

    def first_listened_s(self, host: str) -> float:
        return float(
            self._connection.execute(select(func.min(WATCH.c.start_s)).where(WATCH.c.host == host)).scalar_one()
        )

    def still_listening(self, now_s: float) -> None:
        newest = select(func.max(WATCH.c.id)).scalar_subquery()
        self._connection.execute(update(WATCH).where(WATCH.c.id == newest).values(last_s=now_s))

    def last_clock(self, host: str) -> HostClock | None:
        row = self._connection.execute(
            select(WATCH.c.host, WATCH.c.offset_s).where(WATCH.c.host == host).order_by(WATCH.c.id.desc()).limit(1)
        ).first()
        return None if row is None else HostClock(*row)

    def add_store_trouble(self, start_s: float, end_s: float) -> None:
        self._connection.execute(insert(TROUBLE).values(start_s=start_s, end_s=end_s))

    def boots_heard_by(self, host: str, since_s: float) -> list[tuple[ChimeLedger, BootLedger]]:
        """Power-ups heard since then; of chimes without boot and up, the ones that are dated by this power-up of the host.

        None that was heard from recordings alone: no clock of this host has dated them.
        """
        return [
            (chime, boot)
            for chime in self._ledgers.all_chimes(self._connection)
            for boot in self._ledgers.boots_since(self._connection, chime, since_s)
            if (boot.number is not None and boot.host != "") or boot.host == host
        ]

    def shift_arrivals(self, host: str, since_s: float, shift_s: float) -> None:
        """What is dated by arrival alone: presence, watches, store troubles, when chimes were heard, whole unnumbered power-ups."""
        for target, column in ((PRESENCE, "at_s"), (TROUBLE, "start_s"), (TROUBLE, "end_s")):
            self._shift(target, column, target.c[column] >= since_s, shift_s)
        for column in ("start_s", "last_s"):
            self._shift(WATCH, column, WATCH.c.host == host, shift_s)
        heard = self.boots_heard_by(host, since_s)
        for chime in {chime.id: chime for chime, _ in heard}.values():  # once, however many power-ups it had
            chime.last_heard_s += shift_s if chime.last_heard_s >= since_s else 0.0
            chime.first_heard_s += shift_s if chime.first_heard_s >= since_s else 0.0
            chime.changed = True
        for _, boot in heard:
            if boot.number is None:
                self._shift_unnumbered(boot, shift_s)

    def _shift_unnumbered(self, boot: BootLedger, shift_s: float) -> None:
        self._flush(READING)
        moved = [
            *((target, column) for target in STRETCHES for column in ("start_up_s", "end_up_s")),
            (READING, "end_up_s"),
            (WAVEFORM, "start_up_s"),
            (CONTACT, "up_s"),
        ]
        for target, column in moved:
            self._shift(target, column, target.c.boot_id == boot.id, shift_s)
        for run in boot.runs:
            run.first_up_s, run.last_up_s = run.first_up_s + shift_s, run.last_up_s + shift_s
            boot.changed_runs[id(run)] = run
        boot.last_up_s, boot.first_received_s = boot.last_up_s + shift_s, boot.first_received_s + shift_s
        self.redate(boot, Line(0.0))
        self.redate_readings(boot, Line(0.0))

    def _shift(self, target: Table, column: str, where: Any, shift_s: float) -> None:
        self._connection.execute(update(target).where(where).values({column: target.c[column] + shift_s}))
