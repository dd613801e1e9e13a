"""What the service asks of the record about alarms: rules, how they stand, transitions.

The values come first, then the questions (a part of `ports.Reader`) and the writing (a part of `ports.Work`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from service.alarms.alarm import Transition
from service.alarms.rules import Rule
from service.alarms.standing import Standing


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


class AlarmReader(Protocol):
    """Part of `ports.Reader`. A chime that has never been heard has no rules."""

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

    def put_standing(self, site: str, chime: str, kept: KeptRule, standing: Standing) -> bool:
        """False, and nothing is written, where the rule or its standing has changed since `kept` was read."""
        ...

    def add_transitions(self, site: str, chime: str, transitions: Sequence[Transition]) -> None: ...
