"""The tables of the outbox: ways out, and letters, which are events on their way to one of them.

As in `tables.py`: numbers carry their unit in the column's name, times are POSIX seconds, and a change needs a migration.
"""

from typing import Any

from sqlalchemy import JSON, BigInteger, Column, Index
from sqlmodel import Field, SQLModel

from adapters.sql.tables import BIG_KEY


class Outlet(SQLModel, table=True):
    """A way out. `form` is its JSON object, with what is secret in it."""

    __table_args__ = {"sqlite_autoincrement": True}

    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True)
    form: dict[str, Any] = Field(sa_column=Column(JSON, nullable=False))
    off: str = ""


class Letter(SQLModel, table=True):
    """One event for one way out, whole, so that it can be sent when the event itself has been forgotten."""

    __table_args__ = (
        Index("letter_by_state", "outlet_id", "state", "id"),
        Index("letter_by_time", "state", "tried_s"),
        {"sqlite_autoincrement": True},
    )

    id: int | None = Field(default=None, sa_column=Column(BIG_KEY, primary_key=True))
    outlet_id: int = Field(foreign_key="outlet.id")
    event_id: int = Field(sa_column=Column(BigInteger, nullable=False))
    key: str
    written_s: float
    urgency: int
    state: str = "waiting"  # delivered, dead
    tries: int = 0
    first_s: float | None = None
    tried_s: float | None = None
    due_s: float | None = None
    answer: str = ""
    content: dict[str, Any] = Field(sa_column=Column(JSON, nullable=False))
