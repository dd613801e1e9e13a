"""The table of captures of an oscilloscope. As in `tables.py`: times are POSIX seconds, and a change needs a migration."""

from typing import Any

from sqlalchemy import JSON, Column, Index
from sqlmodel import Field, SQLModel


class Capture(SQLModel, table=True):
    __table_args__ = (
        Index("capture_by_chime", "chime_id", "kept_s"),
        {"sqlite_autoincrement": True},  # a page that was bookmarked never shows another one
    )

    id: int | None = Field(default=None, primary_key=True)
    chime_id: int = Field(foreign_key="chime.id")
    kept_s: float
    name: str
    answer: dict[str, Any] = Field(sa_column=Column(JSON, nullable=False))
