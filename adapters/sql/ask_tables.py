"""The table of requests to chimes. As in `tables.py`: times are POSIX seconds, and a change needs a migration."""

from sqlalchemy import Index
from sqlmodel import Field, SQLModel


class Ask(SQLModel, table=True):
    __table_args__ = (
        Index("ask_by_chime", "chime_id", "asked_s"),
        Index("ask_by_time", "asked_s"),
        {"sqlite_autoincrement": True},  # a chime knows a request by its number
    )

    id: int | None = Field(default=None, primary_key=True)
    chime_id: int = Field(foreign_key="chime.id")
    what: str
    by: str
    why: str
    asked_s: float
    until_s: float | None
    state: str
    ended_s: float | None
    told: str
