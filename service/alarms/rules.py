"""A rule: what it watches, and what a person is told and should do. Plain values; knows no reading, no store and no clock.

What a rule can watch is one of the eight `Watch`es. They are written and read as JSON in `rule_form.py`, and looked at in
`conditions.py`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from service.alarms.conditioning import Delays, Side
from service.errors import Refused


class Priority(StrEnum):
    """How soon somebody should act. Three priorities suffice; the fourth is for what cannot wait (ISA-18.2-2016)."""

    CRITICAL = "critical"
    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


@dataclass(frozen=True, slots=True)
class QuantityBeyond:
    """A quantity beyond a limit; beyond `worse`, on the same side, it has become more severe."""

    name: str  # of quantities.QUANTITIES
    side: Side
    limit: float
    worse: float | None = None


@dataclass(frozen=True, slots=True)
class Trend:
    """A quantity that changes by more than `per_day`: slope of a line through the readings of the last `span_s`.

    Below: a `per_day` of -0.01 is passed by a fall of 0.02 a day. There must be three readings or more, over half the span.
    """

    name: str
    side: Side
    per_day: float
    span_s: float


@dataclass(frozen=True, slots=True)
class OpenFinding:
    """A finding of one of these names (none: of any), at least so likely; `confirmed`: only once an examination has confirmed it."""

    names: tuple[str, ...] = ()
    likelihood: float = 0.5
    confirmed: bool = True
    door: str | None = None  # None: any, or none


@dataclass(frozen=True, slots=True)
class HeldPress:
    """A button held for longer than this, while it is held."""

    longer_than_s: float
    door: str | None = None


@dataclass(frozen=True, slots=True)
class ManyVisits:
    """More than `more_than` visits that began within the last `within_s`."""

    more_than: int
    within_s: float
    door: str | None = None


@dataclass(frozen=True, slots=True)
class QuietPress:
    """A press that begins at or after `begins` and before `ends`, local time as "22:30"; the night may lie between them."""

    begins: str
    ends: str
    door: str | None = None


@dataclass(frozen=True, slots=True)
class NoPack:
    """Nothing has been heard from the chime for this long."""

    longer_than_s: float


@dataclass(frozen=True, slots=True)
class BlindTime:
    """Within the last `within_s`, no press could have been seen for more than `longer_than_s`, or for more than this `share` of it.

    `up_to_s`: a stretch that has become as long as this is left out, since another rule tells of it.
    """

    within_s: float
    longer_than_s: float | None = None
    share: float | None = None  # 0..1
    why: str | None = None  # None: for any reason
    up_to_s: float | None = None

    @property
    def most_s(self) -> float:
        return self.longer_than_s if self.longer_than_s is not None else (self.share or 0.0) * self.within_s


Watch = QuantityBeyond | Trend | OpenFinding | HeldPress | ManyVisits | QuietPress | NoPack | BlindTime


@dataclass(frozen=True, slots=True)
class Rule:
    """One alarm of one chime. `suppressed_by`: rules while whose condition is present this one is suppressed by design."""

    id: str
    watch: Watch
    cause: str
    consequence: str
    action: str
    priority: Priority = Priority.LOW
    latching: bool = False
    on_delay_s: float = 0.0
    off_delay_s: float = 0.0
    deadband: float = 0.0  # in the unit of what is watched; a trend's is per day
    realarm_s: float | None = None
    suppressed_by: tuple[str, ...] = ()

    @property
    def delays(self) -> Delays:
        return Delays(self.on_delay_s, self.off_delay_s)


class Problem(NamedTuple):
    """What is wrong with one field, `watch.limit` for one inside another, in a sentence."""

    field: str
    reason: str


class RuleRefused(Refused):
    """A rule, or a set of them, cannot be used. Show each reason beside its field; nothing of it was taken."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__(" ".join(f"{field}: {reason}" for field, reason in self.problems))


def in_order(rules: Sequence[Rule]) -> list[Rule]:
    """The rules, suppressors first. Raises RuleRefused where an id is given twice, unknown, or suppresses itself in a circle."""
    by_id = {rule.id: rule for rule in rules}
    problems = [
        Problem("id", f"{rule.id} is given to more than one rule.")
        for number, rule in enumerate(rules)
        if any(rule.id == other.id for other in rules[:number])
    ]
    problems += [
        Problem("suppressed_by", f"{rule.id} names {name}, and there is no such rule.")
        for rule in rules
        for name in rule.suppressed_by
        if name not in by_id
    ]
    placed = dict[str, Rule]()
    waiting = list(by_id.values())
    while ready := [
        rule for rule in waiting if all(name in placed or name not in by_id for name in rule.suppressed_by)
    ]:
        placed |= {rule.id: rule for rule in ready}
        waiting = [rule for rule in waiting if rule.id not in placed]
    if waiting:
        circle = ", ".join(rule.id for rule in waiting)
        problems.append(Problem("suppressed_by", f"These rules suppress each other in a circle: {circle}."))
    if problems:
        raise RuleRefused(problems)
    return list(placed.values())
