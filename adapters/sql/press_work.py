"""The part of the writer's transaction about presses, visits, and what chimes tell of their contacts and sound."""

from collections.abc import Iterable, Sequence

from sqlalchemy import and_, delete, func, insert, or_, select, update

from adapters.sql import tables
from adapters.sql.changes import Written
from adapters.sql.engine import inserted_key, table, update_by_id
from adapters.sql.ledgers import Ledgers
from adapters.sql.people import People
from service.ledger import BootLedger, ChimeLedger
from service.ports import PressRow, VisitRow
from service.presses.pulses import Fragment

PRESS, VISIT = table(tables.Press), table(tables.Visit)
CONTACT, SOUNDING = table(tables.Contact), table(tables.Sounding)

LONGEST_S = 86400.0
"""How far back a press or a visit may have begun that is still looked for around a moment; makes the search by start an index range."""


class PressWork(People):
    """Part of `SqlWork`."""

    written: Written
    _ledgers: Ledgers

    # presses and visits

    def presses_near(
        self, door_id: int, boot: BootLedger, start_up_s: float, end_up_s: float
    ) -> list[tuple[int, Fragment]]:
        rows = self._connection.execute(
            select(PRESS)
            .where(
                PRESS.c.door_id == door_id,
                PRESS.c.boot_id == boot.id,
                PRESS.c.start_up_s.between(start_up_s - LONGEST_S, end_up_s),
                func.coalesce(PRESS.c.end_up_s, PRESS.c.start_up_s) >= start_up_s,
            )
            .order_by(PRESS.c.start_up_s)
        )
        return [
            (
                r.id,
                Fragment(
                    r.start_up_s,
                    r.end_up_s,
                    r.source,
                    r.pulses,
                    r.longest_gap_s,
                    r.drop_outs,
                    r.bounce,
                    r.widest_s,
                    r.pack_id,
                ),
            )
            for r in rows
        ]

    def put_press(self, door_id: int, boot: BootLedger, press: Fragment, press_id: int | None) -> int:
        values = {
            "door_id": door_id,
            "boot_id": boot.id,
            "start_up_s": press.start_up_s,
            "end_up_s": press.end_up_s,
            "start_s": boot.dated.wall_s(press.start_up_s),
            "end_s": None if press.end_up_s is None else boot.dated.wall_s(press.end_up_s),
            "source": press.source,
            "pulses": press.pulses,
            "longest_gap_s": press.longest_gap_s,
            "drop_outs": press.drop_outs,
            "bounce": press.bounce,
            "widest_s": press.widest_s,
            "pack_id": press.pack_id,
        }
        self.written.presses(self._ledgers.chime_with(door_id=door_id))
        if press_id is None:
            return inserted_key(self._connection.execute(insert(PRESS), values))
        self._connection.execute(update_by_id(PRESS), {"row_id": press_id, **values})
        return press_id

    def remove_presses(self, press_ids: Sequence[int]) -> None:
        if press_ids:
            self.written.presses(None)
            self._connection.execute(delete(PRESS).where(PRESS.c.id.in_(press_ids)))

    def presses_between(self, door_id: int, start_s: float, end_s: float) -> list[PressRow]:
        last_sign = func.coalesce(PRESS.c.end_s, PRESS.c.start_s)
        rows = self._connection.execute(
            select(PRESS.c.id, PRESS.c.visit_id, PRESS.c.start_s, last_sign).where(
                PRESS.c.door_id == door_id,
                PRESS.c.start_s.between(start_s - LONGEST_S, end_s),
                last_sign >= start_s,
            )
        )
        return [PressRow(*row) for row in rows]

    def put_visit(
        self, door_id: int, visit_id: int | None, start_s: float, end_s: float, press_ids: Sequence[int]
    ) -> int:
        values = {"door_id": door_id, "start_s": start_s, "end_s": end_s}
        self.written.presses(self._ledgers.chime_with(door_id=door_id))
        if visit_id is None:
            visit_id = inserted_key(self._connection.execute(insert(VISIT), values))
        else:
            self._connection.execute(update_by_id(VISIT), {"row_id": visit_id, **values})
        stray = or_(PRESS.c.visit_id.is_(None), PRESS.c.visit_id != visit_id)
        self._connection.execute(update(PRESS).where(and_(PRESS.c.id.in_(press_ids), stray)).values(visit_id=visit_id))
        return visit_id

    def visits_near(self, door_id: int, start_s: float, end_s: float) -> list[VisitRow]:
        rows = self._connection.execute(
            select(VISIT.c.id, VISIT.c.start_s, VISIT.c.end_s)
            .where(
                VISIT.c.door_id == door_id,
                VISIT.c.start_s.between(start_s - LONGEST_S, end_s),
                VISIT.c.end_s >= start_s,
            )
            .order_by(VISIT.c.id)
        )
        return [VisitRow(*row) for row in rows]

    def merge_visits(self, visit_id: int, into_id: int) -> None:
        self._connection.execute(update(PRESS).where(PRESS.c.visit_id == visit_id).values(visit_id=into_id))
        self.remove_visits([visit_id])

    def remove_visits(self, visit_ids: Iterable[int]) -> None:
        gone = list(visit_ids)
        if gone:
            self.written.presses(None)
            self._connection.execute(delete(VISIT).where(VISIT.c.id.in_(gone)))

    # contacts and sounds told by the chime

    def add_contact(self, boot: BootLedger, lane: str, up_s: float, closed: bool) -> None:
        self._connection.execute(insert(CONTACT).values(boot_id=boot.id, lane=lane, up_s=up_s, closed=closed))

    def contacts_around(self, boot: BootLedger, lane: str, up_s: float) -> list[tuple[float, bool]]:
        at = select(CONTACT.c.up_s, CONTACT.c.closed).where(CONTACT.c.boot_id == boot.id, CONTACT.c.lane == lane)
        before = at.where(CONTACT.c.up_s < up_s).order_by(CONTACT.c.up_s.desc()).limit(1)
        here = at.where(CONTACT.c.up_s == up_s).limit(1)
        after = at.where(CONTACT.c.up_s > up_s).order_by(CONTACT.c.up_s).limit(1)
        return [(row.up_s, row.closed) for query in (before, here, after) for row in self._connection.execute(query)]

    def put_sounding(self, chime: ChimeLedger, boot: BootLedger, start_up_s: float, end_up_s: float | None) -> None:
        values = {
            "chime_id": chime.id,
            "boot_id": boot.id,
            "start_up_s": start_up_s,
            "end_up_s": end_up_s,
            "start_s": boot.dated.wall_s(start_up_s),
            "end_s": None if end_up_s is None else boot.dated.wall_s(end_up_s),
        }
        same = and_(SOUNDING.c.boot_id == boot.id, SOUNDING.c.start_up_s == start_up_s)
        if self._connection.execute(update(SOUNDING).where(same).values(values)).rowcount == 0:
            self._connection.execute(insert(SOUNDING).values(values))
