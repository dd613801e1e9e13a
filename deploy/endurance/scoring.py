"""The log beside the truth: what was recorded once, lost, doubled, invented, misdated; whether what could not be recorded is told.

A press is found by the number of its pulses and its length, which no other of its chime has, whatever time it was given. Plain
computation.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from math import inf

from deploy.endurance.log import Logged, Spell
from deploy.endurance.plan import DOORS
from deploy.endurance.pressing import SAME_TICKS, TICK_S
from deploy.endurance.stretches import Stretch, clipped, length_s, united, without
from deploy.endurance.truth import Due, Life, Press

NEAR_S = 1.0
"""A time is right within its stated uncertainty, or within this [s]; and blind time is told to this."""


@dataclass(slots=True)
class Score:
    """Presses are counted; `_s` are seconds, of all doors together."""

    made: int = 0
    once: int = 0
    lost: list[Press] = field(default_factory=list)
    doubled: list[Press] = field(default_factory=list)
    invented: list[Logged] = field(default_factory=list)
    misdated: list[tuple[Press, Logged, float]] = field(default_factory=list)  # with by how much [s]
    errors_s: list[float] = field(default_factory=list)
    within: int = 0  # right within their stated uncertainty
    unrecordable: Counter[str] = field(default_factory=Counter)
    uncovered: list[Press] = field(default_factory=list)
    door_time_s: float = 0.0
    blind_true_s: float = 0.0
    blind_told_s: float = 0.0
    claimed_wrongly_s: float = 0.0
    wrongly_by_reason: defaultdict[str, float] = field(default_factory=lambda: defaultdict(float))
    untold_s: float = 0.0

    @property
    def good(self) -> bool:
        return not (self.lost or self.doubled or self.invented or self.uncovered)


def score(
    lives: Sequence[Life],
    logged: Iterable[Logged],
    spells: Iterable[Spell],
    until_s: float,
    lost_by_broker: Collection[bytes] = frozenset(),
) -> Score:
    """Over each chime's life, until `until_s`."""
    result = Score()
    of_chime: dict[str, list[Spell]] = defaultdict(list)
    for spell in spells:
        of_chime[spell.chime].append(spell)
    entries = _found(lives, logged, result)
    for life in lives:
        told = of_chime[life.chime]
        for press in life.presses:
            _weigh(press, entries[press], told, lost_by_broker, result)
        _weigh_blind(life, told, until_s, lost_by_broker, result)
    return result


def _found(
    lives: Sequence[Life], logged: Iterable[Logged], result: Score
) -> dict[Press, list[tuple[Logged, float, bool]]]:
    """The entries of each press, with its true start and whether it is told whole; the rest is invented."""
    sought: dict[tuple[str, str, int], list[tuple[int, Press, float, bool]]] = defaultdict(list)
    for life in lives:
        for press in life.presses:
            for number, ((pulses, ticks), start_s) in enumerate(press.marks):
                sought[life.chime, press.door, pulses].append((ticks, press, start_s, number == 0))
    entries: dict[Press, list[tuple[Logged, float, bool]]] = defaultdict(list)
    for entry in logged:
        length = inf if entry.end_s is None else (entry.end_s - entry.start_s) / TICK_S
        for ticks, press, start_s, whole in sought[entry.chime, entry.door, entry.pulses or 0]:
            if abs(ticks - length) <= SAME_TICKS:
                entries[press].append((entry, start_s, whole))
                break
        else:
            result.invented.append(entry)
    return entries


def _weigh(
    press: Press,
    entries: list[tuple[Logged, float, bool]],
    told: list[Spell],
    lost_by_broker: Collection[bytes],
    result: Score,
) -> None:
    result.made += 1
    due = press.due(lost_by_broker)
    if len(entries) > 1:
        result.doubled.append(press)
    elif entries and (entries[0][2] or due is not Due.RECORDED):
        result.once += 1
        entry, start_s, _ = entries[0]
        error_s = abs(entry.start_s - start_s)
        result.errors_s.append(error_s)
        result.within += error_s <= entry.uncertainty_s
        if error_s > max(NEAR_S, entry.uncertainty_s):
            result.misdated.append((press, entry, entry.start_s - start_s))
    elif due in (Due.RECORDED, Due.IN_PART):
        result.lost.append(press)
    else:
        result.unrecordable[press.why(lost_by_broker)] += 1
        if not any(_covers(one, press) for one in told):
            result.uncovered.append(press)


def _covers(spell: Spell, press: Press) -> bool:
    end_s = inf if spell.end_s is None else spell.end_s
    return spell.door in (None, press.door) and spell.start_s - NEAR_S <= press.start_s <= end_s + NEAR_S


def _weigh_blind(
    life: Life, told: list[Spell], until_s: float, lost_by_broker: Collection[bytes], result: Score
) -> None:
    """Door by door. What is claimed for times before the chime was there counts as wrong unless it ends there or later, as of a
    door not fitted yet.
    """
    alive = (life.start_s, until_s)
    true = clipped(life.blind(lost_by_broker), alive)
    for door in DOORS:
        claimed: list[Stretch] = []
        for one in told:
            if one.door not in (None, door):
                continue
            start_s, end_s = one.start_s, until_s if one.end_s is None else one.end_s
            if start_s < life.start_s and end_s >= life.start_s - NEAR_S:
                start_s = life.start_s
            stretch = (start_s, max(start_s, min(end_s, until_s) if start_s < until_s else end_s))
            claimed.append(stretch)
            result.wrongly_by_reason[one.why] += length_s(without([stretch], true))
        result.door_time_s += until_s - life.start_s
        result.blind_true_s += length_s(true)
        result.blind_told_s += length_s(claimed)
        result.claimed_wrongly_s += length_s(without(united(claimed), true))
        result.untold_s += length_s(without(true, claimed))
