"""A better deadband or delay for a rule that is a nuisance, found by walking its own history with other values.

The smallest value is sought with which the nuisance is gone and nothing is lost that lasted. Refuses to propose another limit: where
a limit belongs is for a person to say.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import floor, inf, isfinite, log10
from typing import Literal

import numpy as np

from service.alarms.conditioning import condition
from service.alarms.conditions import Sample, arrays, evaluate, slopes_per_day
from service.alarms.facts import Facts
from service.alarms.figures import CHATTERING, CHATTERING_WITHIN_S, DAY_S, FLEETING_S, HOUR_S
from service.alarms.rules import QuantityBeyond, Rule, Trend
from service.alarms.stretches import Stretch, joined, too_many

KEEP_S = 300.0
"""What was active for as long must not be lost (chosen)."""

REPEATING, REPEATS_WITHIN_S = 3, HOUR_S
"""Three or more an hour are one trouble told three times (chosen)."""

LONGEST_DELAY_S = DAY_S

Nuisance = Literal["chattering", "fleeting", "repeating"]
Field = Literal["deadband", "on_delay_s", "off_delay_s"]

REMEDIES: dict[Nuisance, tuple[Field, ...]] = {
    "chattering": ("deadband", "off_delay_s", "on_delay_s"),
    "fleeting": ("on_delay_s", "deadband"),  # an off-delay only makes it last
    "repeating": ("deadband", "off_delay_s", "on_delay_s"),
}
"""What is tried against each, the one that keeps news quickest first."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """`rule` with `field` changed to `value`; activations in the history before and after."""

    rule: Rule
    field: Field
    value: float
    nuisance: Nuisance
    before: int
    after: int

    @property
    def sentence(self) -> str:
        words = {"deadband": "A deadband", "on_delay_s": "An on-delay", "off_delay_s": "An off-delay"}[self.field]
        unit = "" if self.field == "deadband" else " s"
        return f"{words} of {self.value:g}{unit} would have ended the {self.nuisance}: active {self.after} instead of {self.before} times."


def propose(rule: Rule, facts: Facts, keep_s: float = KEEP_S) -> tuple[Proposal, ...]:
    """Remedies in order of preference; none where the rule is no nuisance, or none helps without losing what lasted.

    Suppression is left aside: it is a nuisance, or not, by itself.
    """
    samples = evaluate(rule, facts).samples
    now = _active(samples, rule, facts)
    nuisance = nuisance_of(now)
    if nuisance is None:
        return ()

    def changed(field: Field, value: float) -> tuple[Rule, list[Stretch]]:
        after = _with(rule, field, value)
        # delays change nothing before them
        return after, _active(evaluate(after, facts).samples if field == "deadband" else samples, after, facts)

    spells = joined(one._replace(end_s=min(one.end_s, facts.to_s) + REPEATS_WITHIN_S) for one in now)
    longest_s = sum(one.end_s - one.start_s for one in spells)
    lasting = [one for one in now if one.end_s - one.start_s >= keep_s]
    found = []
    for field in REMEDIES[nuisance]:
        candidates = sorted({_above(value) for value in _critical(field, rule, facts, now)})
        # best if no nuisance is left at all; else at least a lesser one
        for rank in range(_RANK[None], _RANK[nuisance], -1):

            def is_calm(value: float, field: Field = field, rank: int = rank) -> bool:
                return _RANK[nuisance_of(changed(field, value)[1])] >= rank

            # more of a deadband or delay calms more, so halving finds the place where it has calmed enough
            place = bisect_left(candidates, True, key=is_calm)
            if place == len(candidates):
                continue
            after, active = changed(field, candidates[place])
            length_s = sum(min(one.end_s, facts.to_s) - one.start_s for one in active)
            # nothing that lasted is lost, and nothing stays active long after it was over
            if _RANK[nuisance_of(active)] >= rank and length_s <= longest_s and _keeps(active, lasting):
                found.append(Proposal(after, field, candidates[place], nuisance, len(now), len(active)))
                break
    return tuple(found)


def activations(rule: Rule, facts: Facts) -> list[Stretch]:
    """When the rule's condition was active, its deadband and delays counted. The last may be without end."""
    return _active(evaluate(rule, facts).samples, rule, facts)


def _active(samples: Sequence[Sample], rule: Rule, facts: Facts) -> list[Stretch]:
    edges = condition([(one.at_s, one.severity > 0) for one in samples], rule.delays, facts.to_s)
    starts = [edge.at_s for edge in edges if edge.is_active]
    ends = [edge.at_s for edge in edges if not edge.is_active]
    return [Stretch(start_s, end_s) for start_s, end_s in zip(starts, [*ends, inf], strict=False)]


def _keeps(active: Sequence[Stretch], lasting: Sequence[Stretch]) -> bool:
    """Whether each of those that lasted still meets one."""
    ends_s = [one.end_s for one in active]
    places = [bisect_right(ends_s, old.start_s) for old in lasting]
    return all(
        place < len(active) and active[place].start_s < old.end_s for place, old in zip(places, lasting, strict=True)
    )


def nuisance_of(active: Sequence[Stretch]) -> Nuisance | None:
    """The worst that it is."""
    starts_s = [one.start_s for one in active]
    if too_many(starts_s, CHATTERING - 1, CHATTERING_WITHIN_S):
        return "chattering"
    if any(one.end_s - one.start_s < FLEETING_S for one in active):
        return "fleeting"
    if too_many(starts_s, REPEATING - 1, REPEATS_WITHIN_S):
        return "repeating"
    return None


_RANK: dict[Nuisance | None, int] = {"chattering": 0, "fleeting": 1, "repeating": 2, None: 3}


def _with(rule: Rule, field: Field, value: float) -> Rule:
    match field:
        case "deadband":
            return replace(rule, deadband=value)
        case "on_delay_s":
            return replace(rule, on_delay_s=value)
        case "off_delay_s":
            return replace(rule, off_delay_s=value)


def _critical(field: Field, rule: Rule, facts: Facts, now: Sequence[Stretch]) -> Iterable[float]:
    """The values at which something changes; the remedy lies just above one of them."""
    if field == "deadband":
        return [value for value in _recoveries(rule, facts) if value > rule.deadband]
    if field == "off_delay_s":
        gaps = [after.start_s - before.end_s for before, after in pairwise(now)]
        # the gap lies between conditioned edges: what was sampled was well for longer by the one delay, less the other
        raw = [gap + rule.off_delay_s - rule.on_delay_s for gap in gaps]
        return [value for value in raw if rule.off_delay_s < value < LONGEST_DELAY_S]
    lengths = [one.end_s - one.start_s - rule.off_delay_s + rule.on_delay_s for one in now if isfinite(one.end_s)]
    return [value for value in lengths if rule.on_delay_s < value < LONGEST_DELAY_S]


def _recoveries(rule: Rule, facts: Facts) -> list[float]:
    """How far readings lie on the good side of the limit."""
    watch = rule.watch
    if not isinstance(watch, QuantityBeyond | Trend):
        return []
    times, values = arrays(facts.readings.get(watch.name, ()), facts.to_s)
    limit = watch.limit if isinstance(watch, QuantityBeyond) else watch.per_day
    if isinstance(watch, Trend):
        values = slopes_per_day(times, values, watch.span_s)
    past = (limit - values) if watch.side == "above" else (values - limit)
    return [float(value) for value in np.unique(past[np.isfinite(past) & (past > 0.0)])]


def _above(value: float) -> float:
    """The next number of two digits above, so that a proposal can be said and what lies exactly at it is covered.

    >>> _above(0.1234), _above(60.0), _above(9.96)
    (0.13, 61.0, 10.0)
    """
    step = 10.0 ** (floor(log10(value)) - 1)
    return float(f"{(floor(value / step * (1.0 + 1e-12)) + 1) * step:.2g}")
