"""What the service asks of the outside, as Protocols: the Reader that pages and the API ask, and the clock.

The transaction that the writer uses (`Work`) stands beside them; what both do about examinations is in `finding_ports.py`, what
about who rang in `who_ports.py`, what about ways out in `outbox_ports.py`, what about alarms in `alarm_ports.py`,
what about requests to chimes in `ask_ports.py`, about captures in `capture_ports.py`.
Nobody here knows SQL, MQTT or HTTP.
"""

from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager
from typing import Any, NamedTuple, Protocol

from service import model
from service.alarm_ports import AlarmReader, AlarmWork
from service.ask_ports import AskReader, AskWork
from service.capture_ports import CaptureReader, CaptureWork
from service.finding_ports import FindingReader, FindingWork
from service.hostclock import HostClock
from service.ledger import BootLedger, ChimeLedger
from service.outbox_ports import OutboxReader, OutboxWork
from service.presses.pulses import Fragment
from service.walltime import BootClock, Line
from service.who_ports import WhoReader, WhoWork

Clock = Callable[[], float]  # POSIX seconds


class Reader(FindingReader, WhoReader, OutboxReader, AlarmReader, AskReader, CaptureReader, Protocol):
    """Questions that pages and the API ask of the record. Safe from any thread; changes nothing.

    Stretches are half open: start_s <= t < end_s. Lists come oldest first unless `newest_first`.
    A `cursor` is opaque: pass back what the last answer gave as the next one; None = from the beginning.
    """

    def sites(self) -> Sequence[model.Site]:
        """Sites with at least one claimed chime, by name."""
        ...

    def site(self, site: str) -> model.Site:
        """Raises NotFound."""
        ...

    def chimes(self, site: str | None = None, *, claimed: bool | None = None) -> Sequence[model.Chime]: ...

    def chime(self, site: str, chime: str) -> model.Chime:
        """Raises NotFound."""
        ...

    def doors(self, site: str, chime: str | None = None) -> Sequence[model.Door]:
        """In the order in which they were first heard."""
        ...

    def presses(
        self,
        site: str,
        start_s: float,
        end_s: float,
        *,
        chime: str | None = None,
        door: str | None = None,
        cursor: str | None = None,
        limit: int = 100,
        newest_first: bool = False,
    ) -> tuple[Sequence[model.Press], str | None]:
        """A page of presses that start in the stretch, and the cursor of the next page (None: no more)."""
        ...

    def press(self, site: str, press_id: int) -> model.Press:
        """Raises NotFound."""
        ...

    def visits(
        self,
        site: str,
        start_s: float,
        end_s: float,
        *,
        chime: str | None = None,
        door: str | None = None,
        cursor: str | None = None,
        limit: int = 100,
        newest_first: bool = False,
        least_presses: int = 1,
    ) -> tuple[Sequence[model.Visit], str | None]:
        """A page of visits that start in the stretch and have so many presses, each with them, and the cursor of the next page."""
        ...

    def soundings(
        self, site: str, start_s: float, end_s: float, chime: str | None = None
    ) -> Sequence[model.Sounding]: ...

    def blind_spells(self, site: str, start_s: float, end_s: float, now_s: float) -> Sequence[model.BlindSpell]:
        """Stretches that overlap the asked one, per chime, clipped to nothing (their own start and end)."""
        ...

    def unseen(self, site: str, start_s: float, end_s: float) -> Sequence[model.Unseen]:
        """Signs that somebody pressed and the record has no press, which begin in the stretch; oldest first."""
        ...

    def redatings(self, site: str, start_s: float, end_s: float) -> Sequence[model.Redating]:
        """Where presses that lie in the stretch were moved after they had been told; oldest first."""
        ...

    def boots(self, site: str, chime: str, start_s: float, end_s: float) -> Sequence[model.Boot]: ...

    def supply(
        self, site: str, chime: str, start_s: float, end_s: float, step_s: float | None = None, limit: int = 10_000
    ) -> Sequence[model.SupplyPoint]:
        """The rail in the stretch: windows as sent, or joined to stretches of `step_s`. Gaps stay gaps."""
        ...

    def latest_supply(self, site: str, chime: str) -> model.SupplyPoint | None:
        """The newest window, and beside it the newest of what is told apart from windows, not older than a day."""
        ...

    def bursts(self, site: str, chime: str, start_s: float, end_s: float, limit: int = 100) -> Sequence[model.Burst]:
        """Of idle, test, step and sound, that begin in the stretch, newest first."""
        ...

    def latest_bursts(self, site: str, chime: str) -> Sequence[model.Burst]:
        """The newest burst of each kind of idle, test, step, sound."""
        ...

    def set_aside(
        self,
        *,
        site: str | None = None,
        cursor: str | None = None,
        limit: int = 100,
        fates: Sequence[str] = ("quarantined", "unexpected"),
    ) -> tuple[Sequence[model.SetAside], str | None]:
        """Packs that were not understood, newest first."""
        ...

    def events_after(self, event_id: int, limit: int = 1000) -> Sequence[model.Event]: ...

    def last_event_id(self) -> int: ...

    def counts(self) -> model.Counts: ...

    def previous_look_s(self, site: str, person: str) -> float | None:
        """When this person's look before the present one ended; None: this is the first."""
        ...


class PressRow(NamedTuple):
    """A stored press as the writer needs it."""

    id: int
    visit_id: int | None
    start_s: float
    end_s: float  # of the last sign of it, where its end is not known


class VisitRow(NamedTuple):
    """A stored visit as the writer needs it."""

    id: int
    start_s: float
    end_s: float


class Work(FindingWork, WhoWork, OutboxWork, AlarmWork, AskWork, CaptureWork, Protocol):
    """One transaction of the writer. There is only ever one at a time; whatever it did is gone unless it is committed.

    Raises StoreUnavailable from any call, and then nothing of the transaction is kept.
    """

    # the inbox
    def keep(self, arrivals: Iterable[model.Arrival]) -> None: ...
    def next_kept(self, limit: int) -> Sequence[tuple[int, model.Arrival]]:
        """Kept packs that nobody has understood yet, in order of arrival."""
        ...

    def understood(self, pack_id: int) -> None:
        """This pack and all before it are dealt with."""
        ...

    def set_aside(self, pack_id: int, fate: str, reason: str, site: str | None, chime: str | None) -> None: ...

    # chimes, doors, boots
    def chime(self, site: str, chime: str, heard_s: float) -> ChimeLedger:
        """The chime; new and unclaimed where it has not been heard before."""
        ...

    def is_known(self, site: str, chime: str) -> bool:
        """Whether its owner has claimed it."""
        ...

    def door(self, chime: ChimeLedger, door: str, heard_s: float) -> int: ...
    def boots(self, chime: ChimeLedger, number: int | None) -> list[BootLedger]:
        """Power-ups of this number, newest first. A chime that counts afresh has several."""
        ...

    def new_boot(
        self, chime: ChimeLedger, number: int | None, received_s: float, line: Line, host: str | None = None
    ) -> BootLedger: ...
    def power_up(self, chime: ChimeLedger, boot: BootLedger, step: int) -> BootLedger | None:
        """The power-up whose number is so much higher, where there is exactly one of that number."""
        ...

    def clocks_before(self, chime: ChimeLedger, boot: BootLedger) -> list[BootClock]:
        """Of the chime's last few power-ups that were heard of before this one."""
        ...

    def digest_of(self, boot: BootLedger, seq: int) -> int | None:
        """Digest of the pack that was understood under this key, if there was one."""
        ...

    def add_key(self, boot: BootLedger, seq: int, digest: int) -> None: ...
    def same_content(self, chime: ChimeLedger, digest: int) -> tuple[float, int | None, bool] | None:
        """The newest pack with this content: when received, its packet id, and whether it is this chime's last one."""
        ...

    def add_content(self, chime: ChimeLedger, digest: int, packet_id: int | None, received_s: float) -> None: ...

    # presses and visits
    def presses_near(
        self, door_id: int, boot: BootLedger, start_up_s: float, end_up_s: float
    ) -> list[tuple[int, Fragment]]: ...
    def put_press(self, door_id: int, boot: BootLedger, press: Fragment, press_id: int | None) -> int: ...
    def remove_presses(self, press_ids: Sequence[int]) -> None: ...
    def presses_between(self, door_id: int, start_s: float, end_s: float) -> list[PressRow]:
        """Presses of which any part lies in the stretch (both ends included)."""
        ...

    def put_visit(
        self, door_id: int, visit_id: int | None, start_s: float, end_s: float, press_ids: Sequence[int]
    ) -> int: ...
    def visits_near(self, door_id: int, start_s: float, end_s: float) -> list[VisitRow]:
        """Visits of which any part lies in the stretch (both ends included), by number."""
        ...

    def merge_visits(self, visit_id: int, into_id: int) -> None:
        """The presses of the one go to the other; the one is gone."""
        ...

    def remove_visits(self, visit_ids: Iterable[int]) -> None: ...
    def press(self, press_id: int) -> model.Press | None: ...

    # contacts and sounds told by the chime
    def add_contact(self, boot: BootLedger, lane: str, up_s: float, closed: bool) -> None: ...
    def contacts_around(self, boot: BootLedger, lane: str, up_s: float) -> list[tuple[float, bool]]:
        """The last change before, the one at, and the first after this moment, in order."""
        ...

    def put_sounding(self, chime: ChimeLedger, boot: BootLedger, start_up_s: float, end_up_s: float | None) -> None: ...

    # the supply
    def add_reading(
        self, chime: ChimeLedger, boot: BootLedger, end_up_s: float, reading: dict[str, float | None]
    ) -> None: ...
    def add_waveform(
        self, chime: ChimeLedger, boot: BootLedger, waveform: model.Waveform, start_up_s: float, commissioning: bool
    ) -> None: ...

    def add_rise(
        self, chime: ChimeLedger, boot: BootLedger, start_up_s: float, end_up_s: float, rise_v: float
    ) -> None: ...

    # time
    def redate(self, boot: BootLedger, line: Line) -> None:
        """Presses, soundings and waveforms of this boot get their wall times by this line, and visits theirs by their presses."""
        ...

    def roll_readings(self, now_s: float) -> bool:
        """Join readings that have settled to hours and days, a stretch at the most. Whether there is more to do."""
        ...

    def redate_readings(self, boot: BootLedger, line: Line) -> None: ...
    def press_stretches(self, boot: BootLedger) -> list[tuple[int, float, float]]:
        """(door row, first, last wall time of its presses) for each door pressed in this boot."""
        ...

    def add_redating(self, redating: model.Redating) -> None: ...

    # the host's clock
    def listen(self, clock: HostClock, now_s: float) -> None:
        """From now on packs are received by this clock."""
        ...

    def still_listening(self, now_s: float) -> None: ...
    def last_clock(self, host: str) -> HostClock | None:
        """By which packs were received last in this power-up of the host."""
        ...

    def first_listened_s(self, host: str) -> float:
        """When this bridge began to listen in this power-up of the host."""
        ...

    def add_store_trouble(self, start_s: float, end_s: float) -> None: ...
    def boots_heard_by(self, host: str, since_s: float) -> list[tuple[ChimeLedger, BootLedger]]:
        """Power-ups heard since then; of chimes without boot and up, those that are dated by this power-up of the host."""
        ...

    def shift_arrivals(self, host: str, since_s: float, shift_s: float) -> None:
        """Move what is dated by arrival alone, where it arrived since then."""
        ...

    # presence and events
    def add_presence(self, chime: ChimeLedger, at_s: float, alive: bool) -> None: ...
    def add_event(self, kind: model.EventKind, at_s: float, site: str, chime: str, data: dict[str, Any]) -> None:
        """To tell those who listen live; and, in this transaction too, a letter to each way out that wants it."""
        ...

    def forget_events(self, before_s: float) -> None: ...

    # what a person may do
    def claim(self, site: str, chime: str, name: str | None) -> None: ...
    def rename_site(self, site: str, name: str, time_zone: str) -> None: ...
    def rename_door(self, site: str, chime: str, door: str, name: str) -> None: ...
    def look(self, site: str, person: str, now_s: float, same_look_s: float) -> None: ...


class Store(Protocol):
    """Where the record is kept."""

    def work(self) -> AbstractContextManager[Work]:
        """A transaction: committed when the block ends, undone when it raises. Afterwards `fresh_events` has its events."""
        ...

    def fresh_events(self) -> Sequence[model.Event]:
        """Events of the transactions committed since the last call."""
        ...

    def reader(self) -> Reader: ...
    def close(self) -> None: ...
