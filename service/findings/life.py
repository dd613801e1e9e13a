"""The life of a finding: how it comes to be raised, confirmed and cleared. `LIFE` is the specification; the rest reads it.

A finding outlives the examination that made it: one that cannot be judged today stays as it was, and one that a single noisy
survey misses is not forgotten. Knows no store, no clock and no wording of advice.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from service.findings.verdict import Finding, Verdict


class State(StrEnum):
    """Where a finding stands. Raised and confirmed ones are open."""

    RAISED = "raised"
    CONFIRMED = "confirmed"
    CLEARED = "cleared"


class Outcome(StrEnum):
    """What an examination says about one finding, in the words of the reason that is recorded with it."""

    FOUND = "found"
    ABSENT = "judged and not found"
    ABSENT_AGAIN = "judged and not found twice running"
    ABSENT_AFTER_WORK = "judged and not found since it was commissioned anew or its parts changed"
    NOTHING_NEW = "nothing new was judged"


LIFE: dict[tuple[State, Outcome], State] = {
    (State.RAISED, Outcome.FOUND): State.CONFIRMED,
    (State.RAISED, Outcome.ABSENT): State.RAISED,
    (State.RAISED, Outcome.ABSENT_AGAIN): State.CLEARED,
    (State.RAISED, Outcome.ABSENT_AFTER_WORK): State.CLEARED,
    (State.RAISED, Outcome.NOTHING_NEW): State.RAISED,
    (State.CONFIRMED, Outcome.FOUND): State.CONFIRMED,
    (State.CONFIRMED, Outcome.ABSENT): State.CONFIRMED,
    (State.CONFIRMED, Outcome.ABSENT_AGAIN): State.CLEARED,
    (State.CONFIRMED, Outcome.ABSENT_AFTER_WORK): State.CLEARED,
    (State.CONFIRMED, Outcome.NOTHING_NEW): State.CONFIRMED,
    (State.CLEARED, Outcome.FOUND): State.RAISED,  # as a new finding; the cleared one stays as it ended
    (State.CLEARED, Outcome.ABSENT): State.CLEARED,
    (State.CLEARED, Outcome.ABSENT_AGAIN): State.CLEARED,
    (State.CLEARED, Outcome.ABSENT_AFTER_WORK): State.CLEARED,
    (State.CLEARED, Outcome.NOTHING_NEW): State.CLEARED,
}
"""(state, outcome of an examination) -> state."""

CLEARED_AFTER = 2
"""Times running that it must be judged and not found: one look can err, as a healthy house's surveys scatter."""

OF_SURVEY = frozenset(
    ("reservoir-aged", "source-resistance-high", "mains-low", "wrong-transformer", "load-high", "regulator-drops-out")
)
"""Findings that are judged by bursts. Another examination of the same survey says nothing new about them."""


@dataclass(frozen=True, slots=True)
class Change:
    """One transition. `before` is None where the finding begins."""

    at_s: float
    before: State | None
    after: State
    why: str


@dataclass(frozen=True, slots=True)
class Held:
    """A finding as the record holds it; `finding` is as the latest examination that found it said."""

    id: int  # 0: not yet in the record
    site: str
    chime: str
    finding: Finding
    state: State
    raised_s: float  # when an examination first said so
    found_s: float  # when one last did
    cleared_s: float | None = None
    absences: int = 0  # times running that it was judged and not found
    weighed_s: float = 0.0  # the newest testimony that has counted for or against it
    looked_s: float = 0.0  # when that was weighed
    changes: tuple[Change, ...] = ()

    @property
    def is_open(self) -> bool:
        return self.state is not State.CLEARED


@dataclass(frozen=True, slots=True)
class Look:
    """One examination: when it was made, on testimony up to when, and when the installation was last worked on."""

    at_s: float
    newest_s: float
    survey_s: float | None = None  # the newest survey
    worked_s: float | None = None  # when it was last commissioned, or its fit-out sheet changed


@dataclass(frozen=True, slots=True)
class Step:
    """What an examination makes of one finding: how it stands now, and the transition, if there was one."""

    held: Held
    change: Change | None = None


def follow(site: str, chime: str, held: Sequence[Held], verdict: Verdict, look: Look) -> list[Step]:
    """What changes by this examination of a chime.

    `held` are its open findings and, of each name and door, the last that was cleared. Findings that nothing is to be
    written about are left out.
    """
    newest = {(one.finding.name, one.finding.door): one for one in sorted(held, key=lambda one: one.id)}
    found = {(finding.name, finding.door): finding for finding in verdict.findings}
    steps = [_raised(site, chime, finding, look) for key, finding in found.items() if key not in newest]
    for key, before in newest.items():
        steps += _step(before, found.get(key), outcome(before, verdict, look), look)
    return steps


def is_told(change: Change) -> bool:
    """Whether those who listen live are told of it: of a finding's beginning and end."""
    return change.before is None or change.after is State.CLEARED


def outcome(before: Held, verdict: Verdict, look: Look) -> Outcome:
    """What the verdict says about a finding that the record holds.

    One that stands behind another found at the same door, because the two cannot be told apart from afar, is not judged; nor is
    one of a door while it is found of the chime as a whole, or the other way round. What is judged of no door is judged of all.
    """
    name, door = before.finding.name, before.finding.door
    here = [finding for finding in verdict.findings if finding.door == door]
    found = any(finding.name == name for finding in here)
    elsewhere = [finding for finding in verdict.findings if finding.name == name and None in (finding.door, door)]
    hidden = bool(elsewhere) or any(name in finding.also_possible for finding in here)
    worked = look.worked_s is not None and look.worked_s > before.looked_s
    if not worked and _weighed_s(name, look) <= before.weighed_s:
        return Outcome.NOTHING_NEW
    if found:
        return Outcome.FOUND
    if hidden or not verdict.judged & {(name, door), (name, None)}:
        return Outcome.NOTHING_NEW
    if worked:
        return Outcome.ABSENT_AFTER_WORK
    return Outcome.ABSENT_AGAIN if before.absences + 1 >= CLEARED_AFTER else Outcome.ABSENT


def _step(before: Held, found: Finding | None, said: Outcome, look: Look) -> Iterable[Step]:
    after = LIFE[before.state, said]
    if before.state is State.CLEARED:
        return [] if found is None or after is State.CLEARED else [_raised(before.site, before.chime, found, look)]
    now = before
    if found is not None:
        now = replace(now, finding=_with_earliest(found, before.finding.since_s), found_s=look.at_s)
    if said is not Outcome.NOTHING_NEW:
        absences = 0 if said is Outcome.FOUND else before.absences + 1
        weighed_s = _weighed_s(before.finding.name, look)
        now = replace(now, state=after, absences=absences, weighed_s=weighed_s, looked_s=look.at_s)
    if after is State.CLEARED:
        now = replace(now, cleared_s=look.at_s)
    change = Change(look.at_s, before.state, after, said) if after is not before.state else None
    return [Step(now, change)] if now != before else []


def _raised(site: str, chime: str, finding: Finding, look: Look) -> Step:
    weighed_s = _weighed_s(finding.name, look)
    held = Held(0, site, chime, finding, State.RAISED, look.at_s, look.at_s, weighed_s=weighed_s, looked_s=look.at_s)
    return Step(held, Change(look.at_s, None, State.RAISED, Outcome.FOUND))


def _weighed_s(name: str, look: Look) -> float:
    return look.survey_s if name in OF_SURVEY and look.survey_s is not None else look.newest_s


def _with_earliest(finding: Finding, since_s: float | None) -> Finding:
    """A later examination may see only a stretch of it; it began when it was first seen."""
    known = [moment for moment in (finding.since_s, since_s) if moment is not None]
    return replace(finding, since_s=min(known, default=None))
