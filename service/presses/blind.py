"""Blind time: when a press could not have been recorded, or is not known to have been. Computed from facts, never guessed.

That packs are missing shows in their numbers, whatever was away meanwhile; so what was away only gives the reason. Times are
POSIX seconds. Knows no store and no clock.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf
from typing import NamedTuple

from service.model import BlindWhy

Stretch = tuple[float, float]

STARTS_WITHIN_S = 10.0
"""What a chime needs after power-up until it listens and sends its first pack; later, packs are missing or it had nothing to say [s]."""


SILENT_AFTER_S = 180.0
"""A chime that sends rail windows does so every ten seconds or every minute; three that are missing say that it is silent [s]."""

DAY_S = 86400.0


class Missing(NamedTuple):
    """A hole in a power-up's packs, in wall time."""

    start_s: float
    end_s: float
    packs: int
    records: int


@dataclass(frozen=True, slots=True)
class PowerUp:
    """One power-up. `listens_s`: its first pack; `last_s`: its last. `cause`: by its own word.

    `loose_s`: it may have run so much earlier, since all that came of it came late; not more than there is room before it [s].
    """

    start_s: float
    listens_s: float
    last_s: float
    cause: str | None = None
    missing: Sequence[Missing] = ()
    loose_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Watch:
    """What is known of one chime's hours. Stretches in order. `first_heard_s`: when its first pack arrived.

    `power_ups` is empty for a chime that tells only presses: then nobody can say when it listened.
    `unnumbered`: it sends no `seq`, so what came while the service was away came late or not at all.
    `silent_since_s`: it should have spoken since, and has not; None while it does.
    """

    first_heard_s: float
    power_ups: Sequence[PowerUp] = ()
    absent: Sequence[Stretch] = ()  # its presence said that it is away
    service_down: Sequence[Stretch] = ()
    store_full: Sequence[Stretch] = ()
    unnumbered: bool = False
    silent_since_s: float | None = None

    @property
    def begins_s(self) -> float:
        """The record begins with the first pack that was made, which may have waited before it came [s]."""
        return begins_s(self.first_heard_s, (one.listens_s for one in self.power_ups))


class Spell(NamedTuple):
    """`end_s` is None while it lasts. `packs`, `records`: how many are missing, as far as that is known."""

    start_s: float
    end_s: float | None
    why: BlindWhy
    packs: int = 0
    records: int = 0


def spells(watch: Watch) -> list[Spell]:
    """Blind spells of one chime, in order, none overlapping.

    >>> spells(Watch(0.0, [PowerUp(0.0, 1.0, 50.0), PowerUp(90.0, 91.0, 200.0, "brown-out")]))
    [Spell(start_s=50.0, end_s=91.0, why='chime without power', packs=0, records=0)]
    """
    found: list[Spell] = []
    reached: float | None = None
    surely: float | None = None  # until then it listened, however the last power-up is dated
    for power_up in sorted(watch.power_ups, key=lambda p: p.start_s):
        listens_s = power_up.listens_s
        if listens_s - power_up.start_s > STARTS_WITHIN_S:
            listens_s = power_up.start_s
        if surely is not None and listens_s > surely:
            software = power_up.cause in ("software", "watchdog")
            found.append(Spell(surely, listens_s, "chime restarted" if software else "chime without power"))
        found += [_of_hole(hole, watch) for hole in power_up.missing]
        room_s = power_up.start_s - reached if reached is not None else inf
        reached = max(reached if reached is not None else -inf, power_up.last_s)
        surely = reached - min(power_up.loose_s, max(room_s, 0.0))
    if watch.unnumbered:
        found += [Spell(start_s, end_s, "service down") for start_s, end_s in watch.service_down]
        found += [Spell(start_s, end_s, "chime absent") for start_s, end_s in watch.absent if end_s < inf]
    if watch.silent_since_s is not None:
        found.append(Spell(watch.silent_since_s, None, "chime silent"))
    return _apart(spell for spell in found if spell.end_s is None or spell.end_s > max(watch.begins_s, spell.start_s))


def begins_s(first_heard_s: float, first_packs_s: Iterable[float]) -> float:
    """When the record of a chime begins: its first pack arrived at `first_heard_s`, and the first of each power-up was made then [s]."""
    return min((first_heard_s, *first_packs_s))


def covered_s(stretches: Iterable[Stretch], start_s: float, end_s: float) -> float:
    """How much of start_s..end_s the stretches cover, each moment counted once [s].

    >>> covered_s([(0, 10), (5, 12), (20, 30)], 2, 25)
    15.0
    """
    total, reached = 0.0, start_s
    for first, last in sorted(stretches):
        first, last = max(first, reached), min(last, end_s)
        if last > first:
            total, reached = total + last - first, last
    return total


def _of_hole(hole: Missing, watch: Watch) -> Spell:
    why: BlindWhy = "packs lost"
    if hole.records or (hole.packs and _touch(watch.absent, hole)):
        why = "buffer overrun"
    elif _touch(watch.store_full, hole):
        why = "store full"
    elif _touch(watch.service_down, hole):
        why = "service down"
    elif watch.unnumbered:
        why = "chime without power"
    return Spell(hole.start_s, hole.end_s, why, hole.packs, hole.records)


def _touch(stretches: Iterable[Stretch], hole: Missing) -> bool:
    return any(start_s < hole.end_s and end_s > hole.start_s for start_s, end_s in stretches)


def _apart(found: Iterable[Spell]) -> list[Spell]:
    """In order, those of one reason that meet joined, and where two overlap the later one cut."""
    result: list[Spell] = []
    for spell in sorted(found, key=lambda s: (s.start_s, -_end(s))):
        before = result[-1] if result else None
        if before is None or spell.start_s > _end(before):
            result.append(spell)
        elif spell.why == before.why:
            longer = before if _end(before) >= _end(spell) else spell
            result[-1] = before._replace(
                end_s=longer.end_s, packs=before.packs + spell.packs, records=before.records + spell.records
            )
        elif _end(spell) > _end(before):
            result.append(spell._replace(start_s=_end(before)))
    return result


def _end(spell: Spell) -> float:
    return inf if spell.end_s is None else spell.end_s
