"""The tables of examinations: testimony, fit-out sheets, commissioning records, quantities, and findings with their life.

As in `tables.py`: numbers carry their unit in the column's name, times are POSIX seconds, and a change needs a migration.
"""

from typing import Any

from sqlalchemy import JSON, BigInteger, Column, Index
from sqlmodel import Field, SQLModel

from adapters.sql.tables import BIG_KEY


class Testimony(SQLModel, table=True):
    """Kept packs that an examination may want, in the chime's own time. Wall time follows from the boot when they are read,
    so that nothing need be dated anew."""

    __table_args__ = (Index("testimony_by_up", "boot_id", "kind", "up_s"),)

    pack_id: int = Field(sa_column=Column(BIG_KEY, primary_key=True, autoincrement=False))
    boot_id: int = Field(foreign_key="boot.id")
    kind: str  # survey, event, window
    up_s: float


class Commissioning(SQLModel, table=True):
    """A commissioning record of a chime. Of several the one taken last counts."""

    __table_args__ = (Index("commissioning_by_taken", "chime_id", "taken_s"),)

    id: int | None = Field(default=None, primary_key=True)
    chime_id: int = Field(foreign_key="chime.id")
    taken_s: float
    start_s: float  # of the testimony it consists of
    end_s: float
    by: str  # whoever took it; empty: packs were marked so when they arrived


class CommissioningPack(SQLModel, table=True):
    """The packs of a commissioning record."""

    __tablename__ = "commissioning_pack"

    commissioning_id: int = Field(primary_key=True, foreign_key="commissioning.id")
    pack_id: int = Field(sa_column=Column(BigInteger, primary_key=True, autoincrement=False))


class FitOutSheet(SQLModel, table=True):
    """A fit-out sheet as it was handed in. The newest of a chime counts; the others are its history."""

    __tablename__ = "fitout"
    __table_args__ = (Index("fitout_by_kept", "chime_id", "kept_s"),)

    id: int | None = Field(default=None, primary_key=True)
    chime_id: int = Field(foreign_key="chime.id")
    kept_s: float
    by: str
    sheet: dict[str, Any] = Field(sa_column=Column(JSON, nullable=False))


class Quantity(SQLModel, table=True):
    """What a survey measured, once for each survey, as the last examination of it had it. `at_s`: when it was taken."""

    __table_args__ = (Index("quantity_by_time", "chime_id", "name", "at_s"),)

    id: int | None = Field(default=None, sa_column=Column(BIG_KEY, primary_key=True))
    chime_id: int = Field(foreign_key="chime.id")
    name: str
    at_s: float
    value: float
    low: float
    high: float


class Finding(SQLModel, table=True):
    """A finding and where it stands; see service/findings/life.py."""

    __table_args__ = (Index("finding_by_state", "chime_id", "state"), {"sqlite_autoincrement": True})

    id: int | None = Field(default=None, primary_key=True)
    chime_id: int = Field(foreign_key="chime.id")
    name: str
    door: str | None = None
    state: str
    likelihood: float
    also_possible: list[str] = Field(sa_column=Column(JSON, nullable=False))
    evidence: list[Any] = Field(sa_column=Column(JSON, nullable=False))
    since_s: float | None = None
    raised_s: float
    found_s: float
    cleared_s: float | None = None
    absences: int
    weighed_s: float
    looked_s: float


class FindingChange(SQLModel, table=True):
    """A transition of a finding."""

    __tablename__ = "finding_change"
    __table_args__ = (Index("finding_change_by_finding", "finding_id"),)

    id: int | None = Field(default=None, primary_key=True)
    finding_id: int = Field(foreign_key="finding.id")
    at_s: float
    before: str | None = None
    after: str
    why: str


class Examination(SQLModel, table=True):
    """The last examination of a chime: made when, on testimony up to which pack and moment; what it lacked, or why it failed."""

    chime_id: int = Field(primary_key=True, foreign_key="chime.id")
    examined_s: float
    pack_id: int = Field(sa_column=Column(BigInteger, nullable=False))
    newest_s: float
    survey_s: float | None = None
    missing: list[str] = Field(sa_column=Column(JSON, nullable=False))
    trouble: str | None = None
