"""What the service asks of the outside, as Protocols: the Reader that pages and the API ask, and the clock.

The transaction that the writer uses (`Work`) stands beside them. Nobody here knows SQL, MQTT or HTTP.
"""

from collections.abc import Callable, Sequence
from typing import Protocol

from service import model

Clock = Callable[[], float]  # POSIX seconds


class Reader(Protocol):
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
        self, site: str, start_s: float, end_s: float, *, chime: str | None = None, door: str | None = None,
        cursor: str | None = None, limit: int = 100, newest_first: bool = False,
    ) -> tuple[Sequence[model.Press], str | None]:
        """A page of presses that start in the stretch, and the cursor of the next page (None: no more)."""
        ...

    def press(self, site: str, press_id: int) -> model.Press:
        """Raises NotFound."""
        ...

    def visits(
        self, site: str, start_s: float, end_s: float, *, chime: str | None = None, door: str | None = None,
        cursor: str | None = None, limit: int = 100, newest_first: bool = False,
    ) -> tuple[Sequence[model.Visit], str | None]:
        """A page of visits that start in the stretch, each with its presses, and the cursor of the next page."""
        ...

    def soundings(self, site: str, start_s: float, end_s: float, chime: str | None = None) -> Sequence[model.Sounding]: ...

    def blind_spells(self, site: str, start_s: float, end_s: float, now_s: float) -> Sequence[model.BlindSpell]:
        """Stretches that overlap the asked one, per chime, clipped to nothing (their own start and end)."""
        ...

    def boots(self, site: str, chime: str, start_s: float, end_s: float) -> Sequence[model.Boot]: ...

    def supply(self, site: str, chime: str, start_s: float, end_s: float, step_s: float | None = None,
               limit: int = 10_000) -> Sequence[model.SupplyPoint]:
        """The rail in the stretch: windows as sent, or joined to stretches of `step_s`. Gaps stay gaps."""
        ...

    def latest_supply(self, site: str, chime: str) -> model.SupplyPoint | None: ...

    def latest_bursts(self, site: str, chime: str) -> Sequence[model.Burst]:
        """The newest burst of each kind of idle, test, step, sound."""
        ...

    def set_aside(self, *, site: str | None = None, cursor: str | None = None, limit: int = 100,
                  fates: Sequence[str] = ("quarantined", "unexpected")) -> tuple[Sequence[model.SetAside], str | None]:
        """Packs that were not understood, newest first."""
        ...

    def events_after(self, event_id: int, limit: int = 1000) -> Sequence[model.Event]: ...

    def last_event_id(self) -> int: ...

    def counts(self) -> model.Counts: ...

    def previous_look_s(self, site: str, person: str) -> float | None:
        """When this person's look before the present one ended; None: this is the first."""
        ...
