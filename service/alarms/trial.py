"""A rule tried on history before it is switched on: when it would have spoken, and for how long.

Walks exactly as live use does (`standing.py`), as if nobody had acknowledged anything. Knows no store and no clock.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from service.alarms.alarm import Transition
from service.alarms.facts import Facts
from service.alarms.life import Event, Told
from service.alarms.rules import Rule
from service.alarms.standing import follow

DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Spoken:
    """One annunciation. `gone_s`: when the condition went, or None where it lasts; `acknowledged_s`: when somebody did."""

    rule: str
    at_s: float
    event: Event  # what called people
    why: str
    gone_s: float | None = None
    acknowledged_s: float | None = None


@dataclass(frozen=True, slots=True)
class Trial:
    """What a rule would have said from `from_s` to `to_s`; `known_s` of that the record holds.

    `withheld`: how much more often it would have spoken, were it not for what suppresses it.
    """

    rule: Rule
    from_s: float
    to_s: float
    known_s: float
    spoken: tuple[Spoken, ...]
    withheld: int

    @property
    def sentence(self) -> str:
        """In English. Moments are given apart, since only a page knows the time zone."""
        count = len(self.spoken)
        often = "not have spoken" if not count else f"have spoken {count} time{'s' if count > 1 else ''}"
        asked, known = (f"{length / DAY_S:.3g}" for length in (self.to_s - self.from_s, self.known_s))
        if known == asked:
            return f"In these {asked} days this would {often}."
        return f"The record holds {known} of these {asked} days; in them this would {often}."


def try_on(rule: Rule, facts: Facts, from_s: float, to_s: float, others: Sequence[Rule] = ()) -> Trial:
    """`others`: rules among which are those that suppress it. What already was the case at `from_s` is not counted.

    Raises RuleRefused where a suppressor is not among the others.
    """
    facts = replace(facts, to_s=min(facts.to_s, to_s))
    names = {rule.id}
    needed = [rule]
    for one in needed:  # grows while it is walked: suppressors have suppressors
        more = [other for other in others if other.id in one.suppressed_by and other.id not in names]
        names |= {other.id for other in more}
        needed += more
    spoken = _called(needed, rule, facts, from_s)
    alone = _called([replace(rule, suppressed_by=())], rule, facts, from_s) if len(needed) > 1 else spoken
    known_s = max(facts.to_s - max(from_s, facts.from_s), 0.0)
    return Trial(rule, from_s, to_s, known_s, tuple(spoken), max(len(alone) - len(spoken), 0))


def spoken_in(transitions: Iterable[Transition]) -> list[Spoken]:
    """Annunciations of one rule or many, from recorded transitions in order of time. Repeats belong to the same condition."""
    result: list[Spoken] = []
    present: dict[str, list[int]] = {}  # by rule: of the condition that is still present
    waiting: dict[str, list[int]] = {}  # not yet acknowledged
    for one in transitions:
        if one.event is Event.GOES:
            for index in present.pop(one.rule, []):
                result[index] = replace(result[index], gone_s=one.at_s)
        if one.event is Event.ACKNOWLEDGE:
            for index in waiting.pop(one.rule, []):
                result[index] = replace(result[index], acknowledged_s=one.at_s)
        if one.told is Told.ANNUNCIATED:
            present.setdefault(one.rule, []).append(len(result))
            waiting.setdefault(one.rule, []).append(len(result))
            result.append(Spoken(one.rule, one.at_s, one.event, one.why))
    return result


def _called(rules: Sequence[Rule], rule: Rule, facts: Facts, from_s: float) -> list[Spoken]:
    transitions = [one for one in follow(rules, {}, facts).transitions if one.rule == rule.id]
    return [one for one in spoken_in(transitions) if one.at_s >= from_s]
