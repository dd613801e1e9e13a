"""The tables of alarms: rules with how their alarms stand, and every transition.

As in `tables.py`: numbers carry their unit in the column's name, times are POSIX seconds, and a change needs a migration.
"""

from typing import Any

from sqlalchemy import JSON, Column, Index, UniqueConstraint
from sqlmodel import Field, SQLModel

from adapters.sql.tables import BIG_KEY


class AlarmRule(SQLModel, table=True):
    """A rule of one chime. `ready`: as the ready set has it; None: it is somebody's own. `version` counts changes of the standing."""

    __tablename__ = "alarm_rule"
    __table_args__ = (UniqueConstraint("chime_id", "rule"),)

    id: int | None = Field(default=None, primary_key=True)
    chime_id: int = Field(foreign_key="chime.id")
    rule: str
    form: dict[str, Any] = Field(sa_column=Column(JSON, nullable=False))
    ready: dict[str, Any] | None = Field(default=None, sa_column=Column(JSON(none_as_null=True)))
    changed_by: str = ""
    off: str = ""  # why it is switched off; empty: it is on
    standing: dict[str, Any] | None = Field(default=None, sa_column=Column(JSON(none_as_null=True)))
    version: int = 0


class AlarmTransition(SQLModel, table=True):
    __tablename__ = "alarm_transition"
    __table_args__ = (Index("alarm_transition_by_time", "chime_id", "at_s"),)

    id: int | None = Field(default=None, sa_column=Column(BIG_KEY, primary_key=True))
    chime_id: int = Field(foreign_key="chime.id")
    rule: str
    at_s: float
    before: str
    after: str
    event: str
    told: str
    who: str
    why: str
    until_s: float | None = None
