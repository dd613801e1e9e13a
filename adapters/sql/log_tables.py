"""The tables that make the press log honest: which packs came, what the rail told, when this bridge listened and by which clock,
what was dated anew, and what people add to visits.

As in `tables.py`: numbers carry their unit in the column's name, times are POSIX seconds, and a change needs a migration.
"""

from typing import Any

from sqlalchemy import JSON, BigInteger, Column, Index
from sqlmodel import Field, SQLModel

from adapters.sql.tables import BIG_KEY


class Heard(SQLModel, table=True):
    """Packs of one power-up that came without a gap. What is missing lies between two rows."""

    __table_args__ = (Index("heard_by_boot", "boot_id", "first_up_s"),)

    id: int | None = Field(default=None, sa_column=Column(BIG_KEY, primary_key=True))
    boot_id: int = Field(foreign_key="boot.id")
    first_up_s: float
    last_up_s: float
    first_seq: int | None = Field(default=None, sa_column=Column(BigInteger))
    last_seq: int | None = Field(default=None, sa_column=Column(BigInteger))
    dropped: int = 0


class RailRise(SQLModel, table=True):
    """The cycle maximum rose, and no load of the chime explains it: told by the chime, or seen in the cycles it sent."""

    __tablename__ = "rail_rise"
    __table_args__ = (Index("rail_rise_by_start", "chime_id", "start_s"), Index("rail_rise_by_boot", "boot_id"))

    id: int | None = Field(default=None, sa_column=Column(BIG_KEY, primary_key=True))
    chime_id: int = Field(foreign_key="chime.id")
    boot_id: int = Field(foreign_key="boot.id")
    start_up_s: float
    end_up_s: float
    start_s: float
    end_s: float
    rise_v: float


class Watch(SQLModel, table=True):
    """This bridge listened from `start_s` to `last_s`, by a clock that stood `offset_s` before the host's uptime.

    Packs kept after `after_pack_id` were received by that clock. When the host's clock is set, a new row begins.
    """

    id: int | None = Field(default=None, primary_key=True)
    host: str  # names the host's own power-up
    offset_s: float
    after_pack_id: int = Field(sa_column=Column(BigInteger, nullable=False))
    start_s: float
    last_s: float


class StoreTrouble(SQLModel, table=True):
    """The record could not be written in this stretch."""

    __tablename__ = "store_trouble"

    id: int | None = Field(default=None, primary_key=True)
    start_s: float
    end_s: float


class Redating(SQLModel, table=True):
    """Presses of a chime in this stretch (as it is dated now) were moved by `shift_s`, at `at_s`, for a reason."""

    __table_args__ = (Index("redating_by_time", "chime_id", "end_s"),)

    id: int | None = Field(default=None, primary_key=True)
    chime_id: int = Field(foreign_key="chime.id")
    at_s: float
    start_s: float
    end_s: float
    shift_s: float
    why: str


class VisitNote(SQLModel, table=True):
    """What a person says of a visit: who it was, a note. Found again by the first kept pack that tells of the visit."""

    __tablename__ = "visit_note"

    door_id: int = Field(primary_key=True, foreign_key="door.id")
    pack_id: int = Field(sa_column=Column(BigInteger, primary_key=True, autoincrement=False))
    who: str | None = None
    note: str | None = None
    by: str
    at_s: float


class Cadence(SQLModel, table=True):
    """A way of pressing that a household has taught."""

    __table_args__ = (Index("cadence_by_name", "site_id", "name", unique=True),)

    id: int | None = Field(default=None, primary_key=True)
    site_id: int = Field(foreign_key="site.id")
    name: str
    taught_s: float
    by: str
    form: dict[str, Any] = Field(sa_column=Column(JSON, nullable=False))


class Away(SQLModel, table=True):
    """Nobody is at home: from a person's calendar, or said by hand. `uid` as the calendar has it."""

    __table_args__ = (Index("away_by_uid", "site_id", "person", "uid", "start_s", unique=True),)

    id: int | None = Field(default=None, primary_key=True)
    site_id: int = Field(foreign_key="site.id")
    person: str
    uid: str
    summary: str
    start_s: float
    end_s: float
