"""Readings of the supply joined to hours and days, so that ten years are drawn from a few thousand rows. Derived, and made when there is
time; what is not joined yet is read from the readings themselves. As in `tables.py`: a change needs a migration."""

from sqlmodel import Field, SQLModel


class RollUp(SQLModel, table=True):
    """An hour or a day of a chime, in UTC. `weight_s`: length of the windows; means are weighed by it."""

    __tablename__ = "roll_up"

    chime_id: int = Field(foreign_key="chime.id", primary_key=True)
    length_s: int = Field(primary_key=True)
    start_s: float = Field(primary_key=True)
    windows: int
    weight_s: float
    mean_v: float | None
    min_v: float | None
    max_v: float | None
    low_v: float | None
    regulated_min_v: float | None
    temperature_c: float | None
    link_dbw: float | None


class Rolled(SQLModel, table=True):
    """How far readings are joined, and the newest reading there was then: a later number with an earlier time came late."""

    chime_id: int = Field(foreign_key="chime.id", primary_key=True)
    until_s: float
    reading_id: int
