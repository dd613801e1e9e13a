"""Which packs of a power-up have come: runs without a gap in `seq`, and the holes between them.

A pack that comes late fills its hole, so the result is the same for every order of arrival. Knows no wall time and no store.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

UNNUMBERED_GAP_S = 300.0
"""A chime without `seq` is taken to have listened between two of its rail windows that came within this time [s]."""


@dataclass(slots=True)
class Run:
    """Packs that follow one another. A chime without `seq` has no numbers, and its up is wall time. `id`: its row, once stored.

    `dropped`: what the chime counted as thrown away while it made these packs.
    """

    first_up_s: float
    last_up_s: float
    first_seq: int | None = None
    last_seq: int | None = None
    dropped: int = 0
    id: int | None = None


RECORDS_PER_PACK = 32
"""No pack that is missing accounts for more records thrown away than this: a window with all that may stand beside it has some
fifteen, a survey with its load log some twenty-five (counted in the contract)."""


class Hole(NamedTuple):
    """Between two packs something is missing: whole packs, or records that the chime threw away before it made the second."""

    start_up_s: float
    end_up_s: float
    packs: int
    records: int


def hear(runs: list[Run], up_s: float, seq: int | None, dropped: int = 0) -> tuple[Run, Run | None]:
    """Put a pack among the runs of its power-up, in place; the run that holds it now, and one that this run has swallowed.

    >>> runs: list[Run] = []
    >>> for seq in (0, 1, 4, 3, 2): _ = hear(runs, 10.0 * seq, seq)
    >>> [(run.first_seq, run.last_seq, run.last_up_s) for run in runs]
    [(0, 4, 40.0)]
    """
    place = len(runs)
    while place and _comes_before(up_s, seq, runs[place - 1]):
        place -= 1
    before = runs[place - 1] if place and _follows(runs[place - 1], up_s, seq, dropped) else None
    after = runs[place] if place < len(runs) and _precedes(runs[place], up_s, seq, dropped) else None
    if before is None and after is None:
        run = Run(up_s, up_s, seq, seq, dropped)
        runs.insert(place, run)
        return run, None
    if before is None:
        assert after is not None
        after.first_up_s, after.first_seq = min(up_s, after.first_up_s), seq
        return after, None
    before.last_up_s, before.last_seq = max(up_s, before.last_up_s), seq
    if after is None:
        return before, None
    before.last_up_s, before.last_seq = max(after.last_up_s, before.last_up_s), after.last_seq
    runs.remove(after)
    return before, after


def holes(runs: Sequence[Run]) -> list[Hole]:
    """What is missing from a power-up, in order.

    A chime that throws away its oldest packs counts them in the packs that it makes meanwhile, long after those that are
    missing; so a growing count tells of missing packs, and of nothing else, until it is more than they can have held.

    >>> holes([Run(0.0, 30.0, 0, 3), Run(90.0, 120.0, 9, 12)])
    [Hole(start_up_s=30.0, end_up_s=90.0, packs=5, records=0)]
    >>> holes([Run(0.0, 30.0, 0, 3), Run(90.0, 95.0, 4, 5, dropped=7)])
    [Hole(start_up_s=30.0, end_up_s=90.0, packs=0, records=7)]
    """
    found: list[Hole] = []
    explained = 0  # records that missing packs still may have held
    first = runs[0] if runs else None
    if first is not None and (first.first_seq or first.dropped):
        found.append(Hole(0.0, first.first_up_s, first.first_seq or 0, first.dropped))
        explained = max((first.first_seq or 0) * RECORDS_PER_PACK - first.dropped, 0)
    for a, b in pairwise(runs):
        packs = 0 if a.last_seq is None or b.first_seq is None else b.first_seq - a.last_seq - 1
        records = max(b.dropped - a.dropped, 0)
        explained += packs * RECORDS_PER_PACK - records
        if packs or (records and explained < 0) or a.last_seq is None:
            found.append(Hole(a.last_up_s, b.first_up_s, packs, records))
        explained = max(explained, 0)
    return found


def _comes_before(up_s: float, seq: int | None, run: Run) -> bool:
    if seq is None or run.first_seq is None:
        return up_s < run.first_up_s
    return seq < run.first_seq


def _follows(run: Run, up_s: float, seq: int | None, dropped: int) -> bool:
    if seq is None or run.last_seq is None:
        return up_s - run.last_up_s <= UNNUMBERED_GAP_S
    return run.last_seq + 1 == seq and run.dropped == dropped


def _precedes(run: Run, up_s: float, seq: int | None, dropped: int) -> bool:
    if seq is None or run.first_seq is None:
        return run.first_up_s - up_s <= UNNUMBERED_GAP_S
    return seq + 1 == run.first_seq and run.dropped == dropped
