"""How the alarms of a chime stand, and what facts and the passing of time make of them.

Brings the parts together: conditions from facts, delays, the life of an alarm, suppression of one by another. Live use and
history are the same walk; only how far it goes at once differs. Knows no store and no clock.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from math import inf, nextafter
from operator import itemgetter
from typing import NamedTuple

from service.alarms.alarm import Alarm, Transition, turn
from service.alarms.conditioning import STILL, Conditioned, Edge, due_s, elapse, realarm_due_s, take
from service.alarms.conditions import Condition, Sample, evaluate, reach_s
from service.alarms.facts import Facts
from service.alarms.life import Event, State
from service.alarms.rules import QuantityBeyond, Rule, Trend, in_order

RULE, CLOCK, PRECEDENCE = "rule", "time", "suppression"
"""Who did it, where it was no person."""

AS_KNOWN = "as far as is known now"
"""Why, where no reading or event tells."""


@dataclass(frozen=True, slots=True)
class Standing:
    """One alarm with what its delays remember. Nothing happens to it before `clock_s`: what is heard late counts from there."""

    alarm: Alarm
    clock_s: float
    present: Conditioned = STILL
    worse: Conditioned = STILL
    taken: Sample | None = None  # the newest sample that has counted


class Step(NamedTuple):
    """`edges`: when the condition began and ended, its delays counted. `due_s`: when a delay or a while elapses."""

    standing: Standing
    transitions: list[Transition]
    edges: list[Edge]
    due_s: float | None


class Round(NamedTuple):
    """All alarms of a chime, what is to be recorded in order of time, and when to look again if nothing arrives."""

    standings: dict[str, Standing]
    transitions: list[Transition]
    due_s: float | None


def follow(rules: Sequence[Rule], standings: Mapping[str, Standing], facts: Facts) -> Round:
    """How the alarms stand at the end of the facts. A rule without a standing begins where the facts do, at normal; that is history's
    way, and live use has `begin`.

    Raises RuleRefused where the rules suppress what is not there, or each other in a circle.
    """
    steps: dict[str, Step] = {}
    dues: list[float | None] = []
    for rule in in_order(rules):
        before = standings.get(rule.id) or Standing(Alarm(rule.id), facts.from_s)
        condition = evaluate(rule, facts, before.taken)
        suppressors = [(standings.get(name), steps[name].edges) for name in rule.suppressed_by]
        steps[rule.id] = advance(rule, before, condition, facts.to_s, _any_of(suppressors, before))
        dues += [steps[rule.id].due_s, condition.due_s]
    return Round(
        {name: step.standing for name, step in steps.items()},
        sorted((one for step in steps.values() for one in step.transitions), key=lambda one: one.at_s),
        min((due for due in dues if due is not None), default=None),
    )


def begin(rule: Rule, facts: Facts) -> Step:
    """A rule that is switched on at the end of the facts: what is the case then counts from then; the past is for `trial.try_on`."""
    severity = evaluate(rule, facts).severity
    standing = Standing(Alarm(rule.id), facts.to_s, taken=Sample(facts.to_s, 0))
    return advance(rule, standing, Condition((), severity), facts.to_s)


def facts_from_s(rules: Iterable[Rule], standings: Mapping[str, Standing], late_s: float) -> float:
    """Where the facts must begin at the latest, for `follow` to go on from these standings [POSIX s].

    `late_s`: by how much news may be late and still be told. What overlaps that moment (a press, a finding) belongs to the facts. Where
    the record of the chime begins later, they begin there: before that, silence is no silence.
    """
    return min((_from_s(rule, standings[rule.id], late_s) for rule in rules if rule.id in standings), default=inf)


def _from_s(rule: Rule, standing: Standing, late_s: float) -> float:
    known_s = standing.clock_s - late_s
    if isinstance(rule.watch, QuantityBeyond | Trend) and standing.taken is not None:
        known_s = standing.taken.at_s  # readings are taken once each
    return known_s - reach_s(rule.watch)


def advance(
    rule: Rule, standing: Standing, condition: Condition, until_s: float, suppression: Sequence[Edge] = ()
) -> Step:
    """One alarm, up to `until_s`. `suppression`: when its suppressors came and went, in order; each counts once.

    Samples are taken once each, in order of their own time, so delays are exact to the sample. What is heard of after something later
    has counted changes only how the condition stands; one that was over as far as was known, and has gone on, is not over, unless that
    has been told.
    """
    walk = _Walk(rule, standing)
    newest_s = standing.taken.at_s if standing.taken is not None else -inf
    samples = [one for one in condition.samples if newest_s < one.at_s <= until_s]
    before = [one for one in condition.samples if one.at_s <= newest_s]
    if samples and before and walk.present.is_active and before[-1].severity > walk.severity:
        walk.sample(before[-1]._replace(at_s=newest_s))
    # a suppressor that comes at the same moment comes first, so that nobody is called
    happenings: list[tuple[float, int, Edge | Sample]] = [(edge.at_s, 0, edge) for edge in suppression]
    happenings += [(sample.at_s, 1, sample) for sample in samples]
    for at_s, _, what in sorted(happenings, key=lambda one: one[:2]):
        if isinstance(what, Sample):
            walk.wait(at_s)
            walk.sample(what)
        else:
            walk.wait(nextafter(at_s, -inf))
            walk.turn(Event.SUPPRESS if what.is_active else Event.UNSUPPRESS, at_s, PRECEDENCE, "")
    if walk.severity != condition.severity:  # what was known has turned out otherwise
        walk.sample(Sample(max(until_s, newest_s), condition.severity, AS_KNOWN))
    walk.wait(until_s)
    return walk.step(until_s)


def ask(
    rule: Rule, standing: Standing, event: Event, at_s: float, who: str, why: str = "", until_s: float | None = None
) -> Step:
    """What a person asks for (`life.BY_PEOPLE`). Raises Refused with a sentence."""
    walk = _Walk(rule, standing)
    walk.wait(at_s)
    walk.turn(event, at_s, who, why, until_s)
    return walk.step(at_s)


class _Walk:
    """A standing on its way; left behind once its `step` is taken."""

    def __init__(self, rule: Rule, standing: Standing) -> None:
        self.rule = rule
        self.alarm, self.present, self.worse = standing.alarm, standing.present, standing.worse
        self.taken, self.clock_s = standing.taken, standing.clock_s
        self.edges: list[Edge] = []
        self.transitions: list[Transition] = []

    @property
    def severity(self) -> int:
        return 2 if self.worse.is_true else int(self.present.is_true)

    def sample(self, sample: Sample) -> None:
        self.taken = sample
        self.present, edges = take(self.present, self.rule.delays, sample.at_s, sample.severity >= 1)
        self.worse, worse = take(self.worse, self.rule.delays, sample.at_s, sample.severity >= 2)
        self._apply(edges, worse)

    def wait(self, until_s: float) -> None:
        """Whatever elapses up to `until_s`, in order of time."""
        while (due := self._due()) is not None and due[0] <= until_s:
            at_s, event = due
            if event is None:
                self.present, edge = elapse(self.present, self.rule.delays, at_s)
                self.worse, worse = elapse(self.worse, self.rule.delays, at_s)
                self._apply([edge] if edge else [], [worse] if worse else [])
            else:
                self.turn(event, at_s, CLOCK, "")

    def turn(self, event: Event, at_s: float, who: str, why: str, until_s: float | None = None) -> None:
        self.clock_s = max(self.clock_s, at_s)
        taken = turn(self.alarm, event, self.clock_s, who, why, self.rule.latching, until_s)
        self.alarm = taken.alarm
        self.transitions += [taken.transition] if taken.transition is not None else []

    def step(self, until_s: float) -> Step:
        clock_s = max(self.clock_s, until_s)
        now = Standing(self.alarm, clock_s, self.present, self.worse, self.taken)
        due = self._due()
        return Step(now, self.transitions, self.edges, due[0] if due is not None else None)

    def _apply(self, edges: Iterable[Edge], worse: Iterable[Edge]) -> None:
        why, came = self.taken.why if self.taken is not None else "", False
        for edge in edges:
            self.turn(Event.COMES if edge.is_active else Event.GOES, edge.at_s, RULE, why)
            self.edges.append(Edge(self.clock_s, edge.is_active))
            came = came or edge.is_active
        for edge in worse:
            if edge.is_active and not came:  # what comes at its worst has not become worse
                self.turn(Event.WORSENS, edge.at_s, RULE, why)

    def _due(self) -> tuple[float, Event | None] | None:
        """The next thing that the passing of time brings; None as the event: a delay elapses."""
        speaks = self.alarm.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)
        dues: list[tuple[float | None, Event | None]] = [
            (due_s(self.present, self.rule.delays), None),
            (due_s(self.worse, self.rule.delays), None),
            (self.alarm.shelved_until_s, Event.UNSHELVE),
            (realarm_due_s(self.alarm.annunciated_s if speaks else None, self.rule.realarm_s), Event.REALARM),
        ]
        known = [(at_s, event) for at_s, event in dues if at_s is not None]
        return min(known, key=lambda one: one[0], default=None)


def _any_of(suppressors: Sequence[tuple[Standing | None, Sequence[Edge]]], standing: Standing) -> list[Edge]:
    """When the first of several came and the last went; what the alarm does not know yet of how they stood before comes first."""
    active = [before is not None and before.present.is_active for before, _ in suppressors]
    known = standing.alarm.is_suppressed
    result = [Edge(standing.clock_s, any(active))] if any(active) != known else []
    changes = [(edge.at_s, number, edge.is_active) for number, (_, edges) in enumerate(suppressors) for edge in edges]
    # of what happens at one moment only the outcome counts: one that goes as another comes leaves no gap
    for at_s, together in groupby(sorted(changes, key=itemgetter(0)), key=itemgetter(0)):
        before = any(active)
        for _, number, is_active in together:
            active[number] = is_active
        if any(active) != before:
            result.append(Edge(at_s, not before))
    return result
