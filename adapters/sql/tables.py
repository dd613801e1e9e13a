"""The tables. SQLModel declares them; the writer and the reader speak to them through SQLAlchemy Core.

Numbers carry their unit in the column's name; times are POSIX seconds, UTC. A change here needs a migration
(DEVELOPERS.md, "Migrations"); a test compares the two.
"""

from typing import Any

from sqlalchemy import JSON, BigInteger, Column, Index, Integer, LargeBinary, UniqueConstraint
from sqlmodel import Field, SQLModel

BIG_KEY = BigInteger().with_variant(Integer, "sqlite")  # SQLite numbers rows by itself only under this type
"""Ten years of packs pass two thousand million; SQLite's integer is 64 bits wide anyway."""


class Site(SQLModel, table=True):
    """A house."""

    id: int | None = Field(default=None, primary_key=True)
    site: str = Field(unique=True)
    name: str
    time_zone: str


class Chime(SQLModel, table=True):
    """A chime on the wall of a house; `claimed` once its owner has said so."""

    __table_args__ = (UniqueConstraint("site_id", "chime"),)

    id: int | None = Field(default=None, primary_key=True)
    site_id: int = Field(foreign_key="site.id")
    chime: str
    claimed: bool = False
    device: str | None = None
    first_heard_s: float
    last_heard_s: float
    alive: bool | None = None
    alive_since_s: float | None = None
    level: str = ""  # comma-separated


class Door(SQLModel, table=True):
    """A push button, heard of through its chime."""

    __table_args__ = (UniqueConstraint("chime_id", "door"),)

    id: int | None = Field(default=None, primary_key=True)
    chime_id: int = Field(foreign_key="chime.id")
    door: str
    name: str | None = None
    first_heard_s: float


class KeptPack(SQLModel, table=True):
    """Bytes as they came, before anybody looked inside. Never changed; everything else can be made anew from these."""

    __tablename__ = "kept_pack"
    __table_args__ = {"sqlite_autoincrement": True}

    id: int | None = Field(default=None, sa_column=Column(BIG_KEY, primary_key=True))
    received_s: float
    topic: str
    via: str
    content_type: str | None = None
    redelivered: bool = False
    packet_id: int | None = None
    commissioning: bool = False
    payload: bytes = Field(sa_column=Column(LargeBinary, nullable=False))


class Progress(SQLModel, table=True):
    """One row: kept packs up to `understood_id` have been understood or set aside. `generation` grows when what is derived has
    been exchanged from outside: then nothing kept at hand is true any more."""

    id: int = Field(default=1, primary_key=True)
    understood_id: int = Field(default=0, sa_column=Column(BigInteger, nullable=False))
    generation: int = 0


class PackFate(SQLModel, table=True):
    """What became of a kept pack that was not understood."""

    __tablename__ = "pack_fate"
    __table_args__ = (Index("pack_fate_by_fate", "fate", "pack_id"),)

    pack_id: int = Field(sa_column=Column(BigInteger, primary_key=True, autoincrement=False))
    fate: str  # quarantined, duplicate, refused, unexpected
    reason: str
    site: str | None = None
    chime: str | None = None


class Boot(SQLModel, table=True):
    """One power-up of a chime. `number` is None for the one that stands for a chime without boot and up."""

    __table_args__ = (Index("boot_by_number", "chime_id", "number"),)

    id: int | None = Field(default=None, primary_key=True)
    chime_id: int = Field(foreign_key="chime.id")
    number: int | None = Field(default=None, sa_column=Column(BigInteger))
    cause: str | None = None
    host: str | None = None  # power-up of the host by whose clock a chime without boot and up is dated; empty: a file
    first_received_s: float
    start_s: float
    last_heard_s: float
    last_up_s: float
    highest_seq: int = Field(default=-1, sa_column=Column(BigInteger, nullable=False))
    witnesses: list[Any] = Field(default_factory=list, sa_column=Column(JSON, nullable=False))
    own_clock: dict[str, Any] | None = Field(
        default=None, sa_column=Column(JSON)
    )  # readings of the chime's, drift known before
    dated_offset_s: float  # the line by which presses, soundings and bursts of this boot are dated now
    dated_drift: float
    readings_offset_s: float  # the same for supply readings, which are re-dated more coarsely
    readings_drift: float


class PackKey(SQLModel, table=True):
    """(boot, seq) of each understood pack: what makes delivery exactly once."""

    __tablename__ = "pack_key"

    boot_id: int = Field(primary_key=True, foreign_key="boot.id")
    seq: int = Field(sa_column=Column(BigInteger, primary_key=True, autoincrement=False))
    digest: int = Field(sa_column=Column(BigInteger, nullable=False))


class ContentKey(SQLModel, table=True):
    """Digest of each understood pack that had no (boot, seq)."""

    __tablename__ = "content_key"
    __table_args__ = (Index("content_key_by_digest", "chime_id", "digest"),)

    id: int | None = Field(default=None, sa_column=Column(BIG_KEY, primary_key=True))
    chime_id: int = Field(foreign_key="chime.id")
    digest: int = Field(sa_column=Column(BigInteger, nullable=False))
    packet_id: int | None = None
    received_s: float


class Visit(SQLModel, table=True):
    """One caller's presses at one door together."""

    __table_args__ = (Index("visit_by_start", "door_id", "start_s"), {"sqlite_autoincrement": True})

    id: int | None = Field(default=None, sa_column=Column(BIG_KEY, primary_key=True))
    door_id: int = Field(foreign_key="door.id")
    start_s: float
    end_s: float


class Press(SQLModel, table=True):
    """One press, in the chime's time (`_up_s`) and in wall time."""

    __table_args__ = (
        Index("press_by_up", "boot_id", "door_id", "start_up_s"),
        Index("press_by_start", "door_id", "start_s"),
        Index("press_by_visit", "visit_id"),
        {"sqlite_autoincrement": True},
    )

    id: int | None = Field(default=None, sa_column=Column(BIG_KEY, primary_key=True))
    door_id: int = Field(foreign_key="door.id")
    boot_id: int = Field(foreign_key="boot.id")
    visit_id: int | None = Field(default=None, sa_column=Column(BigInteger))
    start_up_s: float
    end_up_s: float | None
    start_s: float
    end_s: float | None
    source: str
    pulses: int | None
    longest_gap_s: float
    drop_outs: int
    bounce: bool
    widest_s: float | None = None
    pack_id: int | None = Field(default=None, sa_column=Column(BigInteger))


class Contact(SQLModel, table=True):
    """A change told by the chime itself: a door's contact, or (`lane` empty) its sound."""

    __table_args__ = (Index("contact_by_up", "boot_id", "lane", "up_s"),)

    id: int | None = Field(default=None, sa_column=Column(BIG_KEY, primary_key=True))
    boot_id: int = Field(foreign_key="boot.id")
    lane: str
    up_s: float
    closed: bool


class Sounding(SQLModel, table=True):
    """The chime sounded."""

    __table_args__ = (
        Index("sounding_by_start", "chime_id", "start_s"),
        Index("sounding_by_up", "boot_id", "start_up_s"),
    )

    id: int | None = Field(default=None, sa_column=Column(BIG_KEY, primary_key=True))
    chime_id: int = Field(foreign_key="chime.id")
    boot_id: int = Field(foreign_key="boot.id")
    start_up_s: float
    end_up_s: float | None
    start_s: float
    end_s: float | None


class Presence(SQLModel, table=True):
    """Each change of what the presence topic says."""

    __table_args__ = (Index("presence_by_time", "chime_id", "at_s"),)

    id: int | None = Field(default=None, sa_column=Column(BIG_KEY, primary_key=True))
    chime_id: int = Field(foreign_key="chime.id")
    at_s: float
    alive: bool


class Reading(SQLModel, table=True):
    """The rail over one window, with what else the pack told of the supply."""

    __table_args__ = (Index("reading_by_end", "chime_id", "end_s"), Index("reading_by_boot", "boot_id"))

    id: int | None = Field(default=None, sa_column=Column(BIG_KEY, primary_key=True))
    chime_id: int = Field(foreign_key="chime.id")
    boot_id: int = Field(foreign_key="boot.id")
    end_up_s: float
    end_s: float
    window_s: float
    mean_v: float | None
    min_v: float | None
    max_v: float | None
    low_v: float | None
    regulated_mean_v: float | None
    regulated_min_v: float | None
    temperature_c: float | None
    link_dbw: float | None


class Waveform(SQLModel, table=True):
    """A burst, or a run of cycle maxima or minima."""

    __table_args__ = (
        Index("waveform_by_start", "chime_id", "kind", "start_s"),
        Index("waveform_by_boot", "boot_id"),
    )

    id: int | None = Field(default=None, sa_column=Column(BIG_KEY, primary_key=True))
    chime_id: int = Field(foreign_key="chime.id")
    boot_id: int = Field(foreign_key="boot.id")
    kind: str
    start_up_s: float
    start_s: float
    rate_hz: float
    lsb_v: float
    codes: bytes = Field(sa_column=Column(LargeBinary, nullable=False))
    commissioning: bool = False


class Event(SQLModel, table=True):
    """What listeners are told live; kept for a while so that one who was away can catch up."""

    __table_args__ = {"sqlite_autoincrement": True}

    id: int | None = Field(default=None, sa_column=Column(BIG_KEY, primary_key=True))
    at_s: float
    kind: str
    site: str
    chime: str
    data: dict[str, Any] = Field(default_factory=dict, sa_column=Column(JSON, nullable=False))


class Look(SQLModel, table=True):
    """When a person last looked at a house."""

    site_id: int = Field(primary_key=True, foreign_key="site.id")
    person: str = Field(primary_key=True)
    previous_s: float | None = None
    last_s: float
