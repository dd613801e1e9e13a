"""The part of the writer's transaction about ways out: letters are written with their event, and what became of them."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import delete, func, insert, select, update

from adapters.sql.engine import inserted_key
from adapters.sql.outbox_reader import LETTER, OUTLET, all_outlets
from adapters.sql.people import People
from service.cloud_events import cloud_event, new_id
from service.errors import NotFound, Refused
from service.model import Event
from service.outlet_form import write_outlet
from service.outlets import MOST_OUTLETS, Mail, Outlet, urgency

ANSWER_LIMIT = 300
"""Characters of an answer that are kept."""


SAME_WITHIN_S = 60.0
"""Presses of one number that begin further apart are two: a rebuild counts them anew (chosen) [s]."""


class OutboxWork(People):
    """Part of `SqlWork`, which gathers rows in `_waiting`."""

    _waiting: dict[Any, list[dict[str, Any]]]
    _outlets: list[Outlet] | None = None

    def _write_letters(self, event: Event, written_s: float) -> None:
        """One for each way out that wants the event. A chime that nobody has claimed is told to nobody outside."""
        if self._outlets is None:
            self._outlets = all_outlets(self._connection)
        wanting = [outlet for outlet in self._outlets if outlet.off == "" and outlet.wants(event)]
        if not wanting or not self.is_known(event.site, event.chime):
            return
        key = new_id(event.id)
        content = cloud_event(event, key)
        for outlet in wanting:
            if event.kind == "press" and isinstance(outlet.way, Mail) and self._is_told(outlet.id, content):
                continue
            self._waiting[LETTER].append(
                {
                    "outlet_id": outlet.id,
                    "event_id": event.id,
                    "key": key,
                    "written_s": written_s,
                    "urgency": urgency(event),
                    "content": content,
                }
            )

    def _is_told(self, outlet_id: int, content: dict[str, Any]) -> bool:
        """Whether a letter tells of this press already; one that nobody has tried to send then tells of it as it is by now.

        While a button is held its press is told anew with every pack.
        """
        told = content["data"]
        for row in self._waiting[LETTER]:
            if row["outlet_id"] == outlet_id and _same_press(row["content"], content):
                row["content"] = content | {"id": row["key"]}
                return True
        rows = self._connection.execute(
            select(LETTER.c.id, LETTER.c.key, LETTER.c.state, LETTER.c.tries, LETTER.c.content)
            .where(LETTER.c.outlet_id == outlet_id, LETTER.c.content["data"]["id"].as_integer() == told.get("id"))
            .order_by(LETTER.c.id.desc())
        )
        newest = next((row for row in rows if _same_press(row.content, content)), None)
        if newest is not None and newest.state == "waiting" and newest.tries == 0:
            anew = content | {"id": newest.key}
            self._connection.execute(update(LETTER).where(LETTER.c.id == newest.id).values(content=anew))
        return newest is not None

    # ways out

    def put_outlet(self, outlet: Outlet) -> int:
        self._outlets = None
        values = {"name": outlet.name, "form": write_outlet(outlet), "off": outlet.off}
        same = select(OUTLET.c.id).where(OUTLET.c.name == outlet.name, OUTLET.c.id != outlet.id)
        if self._connection.execute(same).first() is not None:
            raise Refused(f"There is a way out called {outlet.name!r} already.")
        if outlet.id:
            self._change(outlet.id, values)
            return outlet.id
        if self._connection.execute(select(func.count()).select_from(OUTLET)).scalar_one() >= MOST_OUTLETS:
            raise Refused(f"There can be {MOST_OUTLETS} ways out; remove one first.")
        return inserted_key(self._connection.execute(insert(OUTLET).values(values)))

    def switch_outlet(self, outlet_id: int, off: str) -> None:
        self._change(outlet_id, {"off": off})

    def remove_outlet(self, outlet_id: int) -> None:
        self._outlets = None
        self._connection.execute(delete(LETTER).where(LETTER.c.outlet_id == outlet_id))
        if self._connection.execute(delete(OUTLET).where(OUTLET.c.id == outlet_id)).rowcount == 0:
            raise NotFound(f"no way out has the number {outlet_id}")

    def _change(self, outlet_id: int, values: dict[str, Any]) -> None:
        self._outlets = None
        changed = self._connection.execute(update(OUTLET).where(OUTLET.c.id == outlet_id).values(values))
        if changed.rowcount == 0:
            raise NotFound(f"no way out has the number {outlet_id}")

    # letters

    def letters_delivered(self, letter_ids: Sequence[int], at_s: float, answer: str) -> None:
        self._tried(letter_ids, at_s, answer, {"state": "delivered", "due_s": None})

    def letters_failed(self, letter_ids: Sequence[int], at_s: float, answer: str, due_s: float | None) -> None:
        self._tried(letter_ids, at_s, answer, {"state": "dead" if due_s is None else "waiting", "due_s": due_s})

    def _tried(self, letter_ids: Sequence[int], at_s: float, answer: str, what: dict[str, Any]) -> None:
        values = {
            "tries": LETTER.c.tries + 1,
            "first_s": func.coalesce(LETTER.c.first_s, at_s),
            "tried_s": at_s,
            "answer": answer[:ANSWER_LIMIT],
            **what,
        }
        mine = LETTER.c.id.in_(letter_ids) & (LETTER.c.state == "waiting")  # a thread that was late changes nothing
        self._connection.execute(update(LETTER).where(mine).values(values))

    def hurry_letters(self, outlet_id: int) -> None:
        mine = (LETTER.c.outlet_id == outlet_id) & (LETTER.c.state == "waiting")
        self._connection.execute(update(LETTER).where(mine).values(due_s=None, first_s=None))

    def resend_letters(self, outlet_id: int, letter_ids: Sequence[int] | None, at_s: float) -> int:
        dead = (LETTER.c.outlet_id == outlet_id) & (LETTER.c.state == "dead")
        if letter_ids is not None:
            dead &= LETTER.c.id.in_(letter_ids)
        anew = ("outlet_id", "event_id", "key", "urgency", "content")
        rows = self._connection.execute(select(*(LETTER.c[name] for name in anew)).where(dead).order_by(LETTER.c.id))
        again = [dict(row._mapping) | {"written_s": at_s} for row in rows]
        self._connection.execute(delete(LETTER).where(dead))
        if again:
            self._connection.execute(insert(LETTER), again)
        return len(again)

    def forget_letters(self, delivered_before_s: float, dead_before_s: float) -> None:
        for state, before_s in (("delivered", delivered_before_s), ("dead", dead_before_s)):
            old = (LETTER.c.state == state) & (LETTER.c.tried_s < before_s)
            self._connection.execute(delete(LETTER).where(old))


def _same_press(one: dict[str, Any], other: dict[str, Any]) -> bool:
    if one["type"] != other["type"] or "id" not in one["data"] or one["data"]["id"] != other["data"].get("id"):
        return False
    starts = [datetime.fromisoformat(each["data"]["start"]).timestamp() for each in (one, other)]
    return abs(starts[0] - starts[1]) < SAME_WITHIN_S
