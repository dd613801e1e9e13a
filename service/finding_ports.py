"""What the service asks of the record about examinations: testimony, fit-out sheets, commissioning, quantities, findings.

The values it is answered with stand first, then the questions (a part of `ports.Reader`) and the writing (a part of `ports.Work`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, Protocol

from service.findings.kinds import Kind
from service.findings.life import Held, Step
from service.findings.verdict import Measured
from service.ledger import BootLedger, ChimeLedger


class Testimony(NamedTuple):
    """A kept pack that tells of supply or presses, and when it was put together."""

    pack_id: int
    kind: Kind
    payload: bytes
    content_type: str | None
    received_s: float
    boot_id: int  # tells power-ups apart
    at_s: float  # wall time by the boot's present dating


@dataclass(frozen=True, slots=True)
class Commissioning:
    """A commissioning record: `by` took it at `taken_s`, of the `packs` put together in the stretch (both ends included)."""

    id: int
    taken_s: float
    start_s: float
    end_s: float
    packs: int
    by: str  # empty: the packs were marked so when they arrived


@dataclass(frozen=True, slots=True)
class KeptSheet:
    """A fit-out sheet as it was handed in."""

    kept_s: float
    by: str
    sheet: dict[str, Any]


@dataclass(frozen=True, slots=True)
class QuantityPoint:
    name: str
    at_s: float  # of the survey that measured it
    measured: Measured


@dataclass(frozen=True, slots=True)
class Examination:
    """The last examination of a chime. `trouble`: why it failed; then nothing was concluded from it."""

    site: str
    chime: str
    examined_s: float
    pack_id: int  # the newest testimony it rested on
    newest_s: float
    survey_s: float | None  # the newest survey
    missing: tuple[str, ...] = ()
    trouble: str | None = None


class FindingReader(Protocol):
    """Part of `ports.Reader`. A chime that has never been heard has nothing of any of these; no question raises NotFound."""

    def testimony_after(self, pack_id: int) -> tuple[int, Sequence[tuple[str, str, bool]]]:
        """The newest testimony of all, and the (site, chime) of which there is some after this pack, each with whether that
        is more than windows of the rail."""
        ...

    def newest_testimony_s(self, site: str, chime: str) -> float | None: ...

    def testimony(
        self, site: str, chime: str, start_s: float, end_s: float, limits: Mapping[Kind, int]
    ) -> Sequence[Testimony]:
        """Packs put together in the stretch, of each kind the newest up to its limit, oldest first."""
        ...

    def commissionings(self, site: str, chime: str) -> Sequence[Commissioning]:
        """The one that counts first, then those taken before it."""
        ...

    def commissioning_testimony(self, commissioning_id: int) -> Sequence[Testimony]:
        """Oldest first."""
        ...

    def fitouts(self, site: str, chime: str, limit: int = 100) -> Sequence[KeptSheet]:
        """Newest first; the newest counts."""
        ...

    def quantities(
        self,
        site: str,
        chime: str,
        name: str,
        start_s: float,
        end_s: float,
        limit: int = 1000,
        every_s: float | None = None,
    ) -> Sequence[QuantityPoint]:
        """Oldest first; of each `every_s` the last that was written."""
        ...

    def latest_quantities(self, site: str, chime: str) -> Sequence[QuantityPoint]:
        """The newest of each, by name."""
        ...

    def findings(
        self, site: str, chime: str | None = None, *, states: Sequence[str] = ("raised", "confirmed"), limit: int = 1000
    ) -> Sequence[Held]:
        """With their transitions; most likely first, cleared ones last, the newest of those first."""
        ...

    def examinations(self, site: str, chime: str | None = None) -> Sequence[Examination]:
        """The last one of each chime that has been examined."""
        ...


class FindingWork(Protocol):
    """Part of `ports.Work`. Raises NotFound for a chime that has never been heard."""

    def add_testimony(
        self, chime: ChimeLedger, boot: BootLedger, pack_id: int, kind: Kind, up_s: float, commissioning: bool
    ) -> None:
        """`commissioning`: the pack is marked as part of the commissioning record."""
        ...

    def survey_moments(self, site: str, chime: str, limit: int) -> list[float]:
        """When packs with bursts or their figures were put together, newest first."""
        ...

    def commission(self, site: str, chime: str, start_s: float, end_s: float, taken_s: float, by: str) -> int:
        """Make the testimony of the stretch (both ends included) the commissioning record; how many packs there are."""
        ...

    def keep_fitout(self, site: str, chime: str, sheet: dict[str, Any], kept_s: float, by: str) -> None: ...

    def held_findings(self, site: str, chime: str) -> Sequence[Held]:
        """Open ones and, of each name and door, the last that was cleared; without their transitions."""
        ...

    def put_finding(self, site: str, chime: str, step: Step) -> int:
        """Write how a finding stands now, with its transition; its id."""
        ...

    def add_quantities(self, site: str, chime: str, at_s: float, measured: Mapping[str, Measured]) -> None:
        """What the survey of this moment measured: kept once under (chime, survey, name), changed where it is examined again."""
        ...

    def put_examination(self, examination: Examination) -> None: ...
