"""What the service asks of the record about alarms: rules, how they stand, transitions, and the facts that rules watch.

The values come first, then the questions (a part of `ports.Reader`) and the writing (a part of `ports.Work`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

from service.alarms.alarm import Transition
from service.alarms.rules import Rule
from service.alarms.standing import Standing
from service.model import BlindSpell, Chime


@dataclass(frozen=True, slots=True)
class KeptRule:
    """A rule of a chime. `ready`: as the ready set has it, None where it is somebody's own; `changed_by`: who changed it, empty: nobody.

    `off`: why it is switched off, empty: it is on. `standing`: None until it is first looked at. `version` counts changes.
    """

    rule: Rule
    ready: Rule | None = None
    changed_by: str = ""
    off: str = ""
    standing: Standing | None = None
    version: int = 0


class Changed(NamedTuple):
    """What of a chime may be otherwise since `mark` was given. The mark is opaque; ask with it the next time."""

    mark: object
    windows_s: float  # windows of the rail that end then or later [POSIX s]; inf: none
    presses: bool  # any press or visit
    findings: bool  # any finding, or what an examination measured


class Ring(NamedTuple):
    """A press with its visit, and nothing else. `end_s` is None while the contact is not known to have opened; where the chime has
    restarted since, it is when it did."""

    door: str
    start_s: float
    end_s: float | None
    pulses: int | None
    doubtful: bool
    visit_id: int
    visit_start_s: float


class AlarmReader(Protocol):
    """Part of `ports.Reader`. A chime that has never been heard has no rules, and nothing else."""

    # what rules watch, as little of it as they need, since it is asked for every minute

    def changed(self, site: str, chime: str, mark: object) -> Changed:
        """What may be otherwise since this mark was given; everything for any other (None). Ask first, and read afterwards."""
        ...

    def rings(self, site: str, chime: str, start_s: float) -> Sequence[Ring]:
        """Presses that begin then or later, and of each door the one before if it lasted until then, in order."""
        ...

    def heard_moments(self, site: str, chime: str, start_s: float, step_s: float) -> Sequence[float]:
        """When windows of the rail ended: the first and the last of each step, counted from 1970, in order."""
        ...

    def pressed_moments(self, site: str, chime: str, start_s: float, step_s: float) -> Sequence[float]:
        """When presses began, in the same way."""
        ...

    def windows(
        self, site: str, chime: str, names: Sequence[str], start_s: float, limit: int
    ) -> Sequence[tuple[float | None, ...]]:
        """Windows that end then or later and have any of these fields of `model.SupplyPoint`: end [POSIX s], then the fields."""
        ...

    def blind_of(self, chime: Chime, start_s: float, now_s: float) -> Sequence[BlindSpell]:
        """`ports.Reader.blind_spells` of one chime as a whole, until now; doors that were not fitted yet are left out."""
        ...

    def alarm_rules(self, site: str, chime: str) -> Sequence[KeptRule]:
        """In the order in which they were added."""
        ...

    def alarm_transitions(
        self, site: str, chime: str | None, start_s: float, end_s: float, limit: int = 100_000
    ) -> Sequence[tuple[str, Transition]]:
        """The newest in the stretch, each with its chime, oldest first."""
        ...


class AlarmWork(Protocol):
    """Part of `ports.Work`. Raises NotFound for a chime that has never been heard."""

    def put_rule(self, site: str, chime: str, kept: KeptRule) -> None:
        """Added, or changed where there is one with this id; its standing too."""
        ...

    def remove_rule(self, site: str, chime: str, rule_id: str) -> None:
        """Raises NotFound. What its alarm went through stays."""
        ...

    def put_standings(self, site: str, chime: str, standings: Sequence[tuple[KeptRule, Standing]]) -> bool:
        """False where a rule or its standing has changed since it was read: it is not written, and the others should be undone."""
        ...

    def add_transitions(self, site: str, chime: str, transitions: Sequence[Transition]) -> None: ...
