"""The writer's transaction over SQL (`ports.Work`), and the store that opens it.

Rows that nobody reads back within the transaction are gathered and written together at its end: that is what makes a
pack cheap. Chimes and boots are kept at hand between transactions and forgotten when one fails.
"""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, delete, func, insert, select, update

from adapters.sql import tables
from adapters.sql.alarm_work import AlarmWork
from adapters.sql.ask_record import AskWork
from adapters.sql.capture_record import CaptureWork
from adapters.sql.changes import Changes, Written
from adapters.sql.engine import open_engine, reading_engine, table, unavailable_told
from adapters.sql.finding_reader import TESTIMONY
from adapters.sql.finding_work import FindingWork
from adapters.sql.kept_reader import arrival_of
from adapters.sql.ledgers import Ledgers
from adapters.sql.outbox_reader import LETTER
from adapters.sql.outbox_work import OutboxWork
from adapters.sql.press_reader import press_of
from adapters.sql.press_work import PressWork
from adapters.sql.reader import SqlReader
from adapters.sql.rolling import RollWork
from adapters.sql.time_work import TimeWork
from adapters.sql.who_work import WhoWork
from service import model
from service.ledger import BootLedger, ChimeLedger
from service.walltime import BootClock, Line

KEPT, PROGRESS, FATE = table(tables.KeptPack), table(tables.Progress), table(tables.PackFate)
KEY, CONTENT = table(tables.PackKey), table(tables.ContentKey)
PRESENCE, READING, WAVEFORM, EVENT = (
    table(tables.Presence),
    table(tables.Reading),
    table(tables.Waveform),
    table(tables.Event),
)


class SqlStore:
    """The record in a database. One writer; any number of readers.

    Parameters
    ----------
    url : SQLAlchemy's, such as "sqlite:///record.sqlite" or "postgresql+psycopg://...".
    time_zone : IANA name that a new site gets.
    inbox : another record, from which kept packs are taken instead of this one's own.
    """

    def __init__(self, url: str, time_zone: str = "UTC", inbox: Engine | None = None) -> None:
        self.engine: Engine = open_engine(url)
        self._reading: Engine = reading_engine(self.engine)
        self._inbox = inbox
        self._ledgers = Ledgers(time_zone)
        self._changes = Changes()
        self._events: list[model.Event] = []

    @contextmanager
    def work(self) -> Iterator["SqlWork"]:
        try:
            with unavailable_told(), self.engine.begin() as connection:
                self._ledgers.check(connection)
                work = SqlWork(connection, self._ledgers, self._inbox)
                yield work
                work.flush()
        except BaseException:
            self._ledgers.forget()
            raise
        self._changes.committed(work.written)
        self._events += work.events

    def fresh_events(self) -> Sequence[model.Event]:
        events, self._events = self._events, []
        return events

    def reader(self) -> SqlReader:
        return SqlReader(self._reading, self._changes)

    def rest(self) -> None:
        """Close the connections that no reader uses now: each holds a cache in memory, and a new one is open in a moment."""
        if self._reading is not self.engine:
            self._reading.dispose()

    def close(self) -> None:
        self._reading.dispose()
        self.engine.dispose()
        if self._inbox is not None:
            self._inbox.dispose()


class SqlWork(RollWork, TimeWork, PressWork, FindingWork, WhoWork, OutboxWork, AlarmWork, AskWork, CaptureWork):
    """One transaction."""

    def __init__(self, connection: Connection, ledgers: Ledgers, inbox: Engine | None = None) -> None:
        super().__init__(connection)
        self._ledgers, self._inbox, self.written = ledgers, inbox, Written()
        self._waiting: dict[Any, list[dict[str, Any]]] = {
            target: [] for target in (KEY, CONTENT, READING, TESTIMONY, EVENT, FATE, LETTER)
        }
        self._fresh_keys: dict[tuple[int, int], int] = {}
        self._understood_id: int | None = None
        self.events: list[model.Event] = []

    def flush(self) -> None:
        """Write what has been gathered. Called before the commit."""
        for target in self._waiting:
            self._flush(target)
        self._ledgers.save(self._connection)
        if self._understood_id is not None:
            changed = self._connection.execute(update(PROGRESS).values(understood_id=self._understood_id))
            if changed.rowcount == 0:
                self._connection.execute(insert(PROGRESS).values(id=1, understood_id=self._understood_id))

    def _flush(self, target: Any) -> None:
        rows = self._waiting[target]
        if rows:
            self._connection.execute(insert(target), rows)
            rows.clear()

    # the inbox

    def keep(self, arrivals: Iterable[model.Arrival]) -> None:
        rows = [
            {
                "received_s": a.received_s,
                "topic": a.topic,
                "via": a.via,
                "content_type": a.content_type,
                "redelivered": a.redelivered,
                "packet_id": a.packet_id,
                "commissioning": a.commissioning,
                "payload": a.payload,
            }
            for a in arrivals
        ]
        if rows:
            self._connection.execute(insert(KEPT), rows)

    def next_kept(self, limit: int) -> Sequence[tuple[int, model.Arrival]]:
        understood = select(func.coalesce(func.max(PROGRESS.c.understood_id), 0))
        last = self._understood_id or self._connection.execute(understood).scalar_one()
        query = select(KEPT).where(KEPT.c.id > last).order_by(KEPT.c.id).limit(limit)
        if self._inbox is None:
            rows = self._connection.execute(query).all()
        else:
            with self._inbox.connect() as inbox:
                rows = inbox.execute(query).all()
        clocks = self._ledgers.host_clocks(self._connection)
        return [(row.id, arrival_of(row, clocks)) for row in rows]

    def understood(self, pack_id: int) -> None:
        self._understood_id = pack_id

    def set_aside(self, pack_id: int, fate: str, reason: str, site: str | None, chime: str | None) -> None:
        self._waiting[FATE].append({"pack_id": pack_id, "fate": fate, "reason": reason, "site": site, "chime": chime})

    # chimes, doors, boots

    def chime(self, site: str, chime: str, heard_s: float) -> ChimeLedger:
        return self._ledgers.chime(self._connection, site, chime, heard_s)

    def door(self, chime: ChimeLedger, door: str, heard_s: float) -> int:
        return self._ledgers.door(self._connection, chime, door, heard_s)

    def boots(self, chime: ChimeLedger, number: int | None) -> list[BootLedger]:
        return self._ledgers.boots(self._connection, chime, number)

    def new_boot(
        self, chime: ChimeLedger, number: int | None, received_s: float, line: Line, host: str | None = None
    ) -> BootLedger:
        self.written.presses(chime.id)  # what was held is not known to be so any longer
        return self._ledgers.new_boot(self._connection, chime, number, received_s, line, host)

    def power_up(self, chime: ChimeLedger, boot: BootLedger, step: int) -> BootLedger | None:
        if boot.number is None:
            return None
        found = self._ledgers.boots(self._connection, chime, boot.number + step)
        return found[0] if len(found) == 1 else None

    def clocks_before(self, chime: ChimeLedger, boot: BootLedger) -> list[BootClock]:
        return self._ledgers.clocks_before(self._connection, chime, boot)

    def digest_of(self, boot: BootLedger, seq: int) -> int | None:
        fresh = self._fresh_keys.get((boot.id, seq))
        if fresh is not None:
            return fresh
        found = self._connection.execute(
            select(KEY.c.digest).where(KEY.c.boot_id == boot.id, KEY.c.seq == seq)
        ).scalar()
        return None if found is None else int(found)

    def add_key(self, boot: BootLedger, seq: int, digest: int) -> None:
        self._fresh_keys[boot.id, seq] = digest
        self._waiting[KEY].append({"boot_id": boot.id, "seq": seq, "digest": digest})

    def same_content(self, chime: ChimeLedger, digest: int) -> tuple[float, int | None, bool] | None:
        self._flush(CONTENT)
        row = self._connection.execute(
            select(CONTENT)
            .where(CONTENT.c.chime_id == chime.id, CONTENT.c.digest == digest)
            .order_by(CONTENT.c.id.desc())
            .limit(1)
        ).first()
        if row is None:
            return None
        last = self._connection.execute(select(func.max(CONTENT.c.id)).where(CONTENT.c.chime_id == chime.id)).scalar()
        return row.received_s, row.packet_id, row.id == last

    def add_content(self, chime: ChimeLedger, digest: int, packet_id: int | None, received_s: float) -> None:
        self._waiting[CONTENT].append(
            {"chime_id": chime.id, "digest": digest, "packet_id": packet_id, "received_s": received_s}
        )

    # the supply

    def add_reading(
        self, chime: ChimeLedger, boot: BootLedger, end_up_s: float, reading: dict[str, float | None]
    ) -> None:
        end_s = boot.readings_dated.wall_s(end_up_s)
        self.written.windows(chime.id, end_s)
        self._waiting[READING].append(
            {"chime_id": chime.id, "boot_id": boot.id, "end_up_s": end_up_s, "end_s": end_s, **reading}
        )

    def add_waveform(
        self, chime: ChimeLedger, boot: BootLedger, waveform: model.Waveform, start_up_s: float, commissioning: bool
    ) -> None:
        self._connection.execute(
            insert(WAVEFORM).values(
                chime_id=chime.id,
                boot_id=boot.id,
                kind=waveform.kind,
                start_up_s=start_up_s,
                start_s=boot.dated.wall_s(start_up_s),
                rate_hz=waveform.rate_hz,
                lsb_v=waveform.lsb_v,
                codes=waveform.codes,
                commissioning=commissioning,
            )
        )

    def press(self, press_id: int) -> model.Press | None:
        self._ledgers.save(self._connection)  # how sure its time is follows from the clock of its power-up
        return press_of(self._connection, press_id)

    # presence and events

    def add_presence(self, chime: ChimeLedger, at_s: float, alive: bool) -> None:
        self._connection.execute(insert(PRESENCE).values(chime_id=chime.id, at_s=at_s, alive=alive))

    def add_event(self, kind: model.EventKind, at_s: float, site: str, chime: str, data: dict[str, Any]) -> None:
        event = model.Event(self._ledgers.next_event_id(self._connection), at_s, kind, site, chime, data)
        self.events.append(event)
        self._waiting[EVENT].append(
            {"id": event.id, "at_s": at_s, "kind": kind, "site": site, "chime": chime, "data": data}
        )
        self._write_letters(event, at_s)

    def forget_events(self, before_s: float) -> None:
        newest = select(func.max(EVENT.c.id)).scalar_subquery()  # stays, so that ids go on growing
        self._connection.execute(delete(EVENT).where(EVENT.c.at_s < before_s, EVENT.c.id < newest))
