"""Frozen values that travel between layers: what arrived, what a pack says, and what the record holds.

Times are POSIX seconds, UTC, as float (names end in `_s`); they become RFC 3339 or local time only at the edges.
A *moment* inside a pack is given as seconds after the pack was put together, so it is zero or negative.
Nothing here computes, reads a clock or knows a database. Long, since it is one list of plain values that everybody reads from.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple, Protocol

# ── what arrived ────────────────────────────────────────────────────────────────────────────────────────────────────

Via = Literal["mqtt", "http", "file"]


class Arrival(NamedTuple):  # a tuple, since there is one for each message
    """Bytes as they came, before anybody has looked inside."""

    topic: str
    payload: bytes
    received_s: float
    via: Via = "mqtt"
    content_type: str | None = None  # as MQTT 5 or HTTP gave it
    redelivered: bool = False  # the broker says it has sent this before (DUP)
    packet_id: int | None = None  # MQTT packet identifier; a redelivery keeps it
    commissioning: bool = False  # part of a commissioning record
    host: str = ""  # the power-up of the host in which it was received; empty: a recording, or not known


class Address(NamedTuple):
    """Where a topic leads: `<prefix>/1/<site>/<chime>/<leaf>`."""

    site: str
    chime: str
    leaf: str


# ── what a pack says (pack.py makes these) ─────────────────────────────────────────────────────────────────────────

WaveformKind = Literal["peaks", "troughs", "idle", "test", "step", "sound"]
LoadState = Literal["idle", "test", "sound"]


@dataclass(frozen=True, slots=True)
class PulseTrain:
    """Detector pulses of one `<door>.edges` record: (rise, fall) moments in seconds after the pack was made."""

    door: str
    pulses: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class ContactChange:
    """A `<door>.press` record: the contact closed or opened at this moment."""

    door: str
    moment_s: float
    closed: bool


@dataclass(frozen=True, slots=True)
class PressSummary:
    """`<door>.span`, `.pulses`, `.gap`, `.width`: one press told in numbers."""

    door: str
    moment_s: float
    span_s: float
    pulses: int | None = None
    longest_gap_s: float | None = None
    median_width_s: float | None = None


@dataclass(frozen=True, slots=True)
class RailWindow:
    """`rail.mean`, `.min`, `.max`, `.low` over the window that ends at this moment."""

    moment_s: float
    window_s: float | None = None
    mean_v: float | None = None
    min_v: float | None = None
    max_v: float | None = None
    low_v: float | None = None  # lowest while sounding


@dataclass(frozen=True, slots=True)
class RailRise:
    """`rail.rise`, `rail.rise.span`: a sudden rise of the cycle maximum."""

    moment_s: float
    rise_v: float
    span_s: float | None = None


@dataclass(frozen=True, slots=True)
class Waveform:
    """A run of rail samples: a burst (`rate_hz` = sampling rate) or cycle maxima or minima (`rate_hz` = 1 / rail.cycle).

    `codes` is the little-endian int16 series as sent, volts = code x lsb_v, -32768 = no value.
    """

    kind: WaveformKind
    moment_s: float  # of the first sample
    rate_hz: float
    lsb_v: float
    codes: bytes


@dataclass(frozen=True, slots=True)
class BurstFigures:
    """`rail.idle.max` and its kin: a burst told in four numbers."""

    kind: LoadState
    moment_s: float
    max_v: float | None = None
    min_v: float | None = None
    mean_v: float | None = None
    fall_v_per_s: float | None = None


@dataclass(frozen=True, slots=True)
class Switch:
    """Something that was switched at a moment: the sound, or leave for the radio to transmit."""

    moment_s: float
    on: bool


@dataclass(frozen=True, slots=True)
class LoadChange:
    """`load.log`: the chime's own load from this moment on."""

    moment_s: float
    state: LoadState


@dataclass(frozen=True, slots=True)
class Pack:
    """One pack of the chime contract, decoded and checked as a whole."""

    version: int = 10
    device: str | None = None  # base name, a device URN
    boot: int | None = None
    boot_cause: str | None = None
    seq: int | None = None
    up_s: float | None = None
    dropped: int | None = None
    clock_s: float | None = None
    pulse_trains: tuple[PulseTrain, ...] = ()
    contact_changes: tuple[ContactChange, ...] = ()
    press_summaries: tuple[PressSummary, ...] = ()
    rail_windows: tuple[RailWindow, ...] = ()
    rail_rises: tuple[RailRise, ...] = ()
    waveforms: tuple[Waveform, ...] = ()
    burst_figures: tuple[BurstFigures, ...] = ()
    mains_hz: float | None = None
    test_load_a: float | None = None
    test_load_ohm: float | None = None
    radio: tuple[Switch, ...] = ()
    load_changes: tuple[LoadChange, ...] = ()
    sound: tuple[Switch, ...] = ()
    regulated_mean_v: float | None = None
    regulated_min_v: float | None = None
    temperature_c: float | None = None
    link_dbw: float | None = None
    unknown: tuple[str, ...] = ()  # names of records the contract does not know; kept, otherwise ignored


# ── what the record holds (the Reader answers with these) ───────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class Site:
    site: str
    name: str
    time_zone: str  # IANA name


@dataclass(frozen=True, slots=True)
class Door:
    site: str
    chime: str
    door: str
    name: str
    first_heard_s: float


@dataclass(frozen=True, slots=True)
class Chime:
    """`alive` is what the presence topic last said; None where the chime has never used it."""

    site: str
    chime: str
    claimed: bool
    device: str | None
    first_heard_s: float
    last_heard_s: float
    alive: bool | None
    alive_since_s: float | None
    level: tuple[str, ...]  # of: "presses", "exactly-once", "supply", "bursts", "edges"


PressSource = Literal["edges", "summary", "contact"]
Sureness = Literal["sure", "likely", "doubtful"]
"""That a finger closed the contact. What is doubtful is kept and shown as such, and never told to anybody by itself."""


@dataclass(frozen=True, slots=True)
class Press:
    """One press at one door. `end_s` is None while the contact is not known to have opened."""

    id: int
    visit_id: int
    site: str
    chime: str
    door: str
    start_s: float
    end_s: float | None
    uncertainty_s: float  # of start and end, as wall time; 90 %
    source: PressSource
    pulses: int | None
    drop_outs: int
    bounce: bool
    sure: Sureness
    longest_gap_s: float = 0.0
    cut_off: bool = False  # the chime restarted while the contact was closed: its true end is not known
    pack_id: int | None = None  # the first kept pack that tells of it

    @property
    def doubtful(self) -> bool:
        return self.sure == "doubtful"


SINGLE_PULSES = 3
"""So many presses of one pulse each, and no other beside them, are no caller's (common practice, no source)."""


class Told(Protocol):
    """Of a press, what says whether somebody rang."""

    @property
    def pulses(self) -> int | None: ...
    @property
    def doubtful(self) -> bool: ...


def is_nobody(presses: Sequence[Told]) -> bool:
    """Whether the presses of a visit are nothing but doubtful ones; or single pulses again and again, which is damp or induction and
    no caller."""
    if len(presses) >= SINGLE_PULSES and all(press.pulses == 1 for press in presses):
        return True
    return bool(presses) and all(press.doubtful for press in presses)


@dataclass(frozen=True, slots=True)
class Visit:
    """One caller's presses at one door together. `sounded`: of these presses, how many the chime answered;
    None where this chime never tells when it sounds."""

    id: int
    site: str
    chime: str
    door: str
    start_s: float
    end_s: float
    sounded: int | None
    presses: tuple[Press, ...]
    cadence: str | None = None  # the taught way of pressing that it shows
    who: str | None = None  # as a person has said
    note: str | None = None

    @property
    def doubtful(self) -> bool:
        """`is_nobody`."""
        return is_nobody(self.presses)


@dataclass(frozen=True, slots=True)
class Sounding:
    site: str
    chime: str
    start_s: float
    end_s: float | None


BlindWhy = Literal[
    "chime without power",
    "chime restarted",  # by its own software or watchdog
    "buffer overrun",  # it could not send, and threw away what it could not keep
    "service down",
    "store full",
    "packs lost",  # and nothing that was away explains it
    "chime absent",  # by its presence; of a chime that does not number its packs
    "chime silent",  # it should have spoken, and has not yet; what it keeps back may still come
    "door not fitted yet",
]


@dataclass(frozen=True, slots=True)
class BlindSpell:
    """A stretch in which a press could not have been recorded. `end_s` is None while it lasts; `door` None: at every door."""

    site: str
    chime: str
    start_s: float
    end_s: float | None
    why: BlindWhy
    door: str | None = None
    packs: int = 0  # known to be missing
    records: int = 0  # that the chime says it has thrown away


UnseenWhy = Literal["rail rose", "sounded alone", "restarted", "packs missing", "records dropped"]


@dataclass(frozen=True, slots=True)
class Unseen:
    """Somebody probably pressed between two moments, and the record has no press: an entry of its own kind in the log."""

    site: str
    chime: str
    start_s: float
    end_s: float
    why: tuple[UnseenWhy, ...]
    rise_v: float | None = None
    packs: int = 0
    records: int = 0


RedatingWhy = Literal["better estimate", "clock of this host was set"]


@dataclass(frozen=True, slots=True)
class Redating:
    """Presses of a chime that lie in this stretch now were moved by `shift_s`, at `at_s`."""

    site: str
    chime: str
    at_s: float
    start_s: float
    end_s: float
    shift_s: float
    why: RedatingWhy


@dataclass(frozen=True, slots=True)
class Boot:
    site: str
    chime: str
    number: int | None
    cause: str | None
    start_s: float
    last_heard_s: float


@dataclass(frozen=True, slots=True)
class SupplyPoint:
    """The rail over a stretch of time: one window as sent, or several joined (`windows` of them). [V], [Cel], [dBW]"""

    start_s: float
    end_s: float
    windows: int
    mean_v: float | None
    min_v: float | None
    max_v: float | None
    low_v: float | None  # lowest while sounding
    regulated_min_v: float | None
    temperature_c: float | None
    link_dbw: float | None


@dataclass(frozen=True, slots=True)
class Burst:
    """A stored waveform with its place in time."""

    kind: WaveformKind
    start_s: float
    rate_hz: float
    lsb_v: float
    codes: bytes  # little-endian int16; -32768 = not taken


@dataclass(frozen=True, slots=True)
class SetAside:
    """A pack that was not understood, with the reason."""

    id: int
    received_s: float
    topic: str
    site: str | None
    chime: str | None
    via: Via
    fate: Literal["quarantined", "duplicate", "refused", "unexpected"]
    reason: str
    size: int  # bytes
    payload: bytes


EventKind = Literal["press", "visit", "presence", "supply", "finding", "alarm", "blind", "unseen", "test"]


@dataclass(frozen=True, slots=True)
class Event:
    """Something to tell those who listen live. `data` is ready for JSON; ids only grow."""

    id: int
    at_s: float
    kind: EventKind
    site: str
    chime: str
    data: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Counts:
    """Sums over the whole record."""

    kept: int
    pending: int
    duplicates: int
    quarantined: int
    refused: int
    unexpected: int
