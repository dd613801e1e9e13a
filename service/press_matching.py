"""Which presses of a file the record has already: one of the record for one of the file, within what their times are known to.

Two presses in quick succession may both lie within the uncertainty of either, so being near is not enough: each press of the record
stands for one of the file only, and those that agree to the millisecond find each other first. Knows no file and no SQL.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from itertools import groupby

from service.model import Press
from service.ports import Reader
from service.presses.pulses import JOIN_S

SAME_S = 0.001
"""Times that differ by less are the same time, written with fewer decimals [s]."""

AROUND_S = 600.0
"""How far around a press the record is asked for one [s]; who knows its time less well is not found again."""

PAGE = 1000


def not_there(reader: Reader, presses: Sequence[Press], last_kept: int, taken: set[int]) -> list[Press]:
    """Those of `presses` that the record lacks, in their order.

    Parameters
    ----------
    last_kept : presses of packs kept after this one came with the file itself, and count as absent.
    taken : presses of the record that have stood for one of the file; grows.
    """
    lacking: set[int] = set()
    numbers = sorted(range(len(presses)), key=lambda k: (_door(presses[k]), presses[k].start_s))
    for _, group in groupby(numbers, key=lambda k: _door(presses[k])):
        mine = list(group)
        told = [presses[k] for k in mine]
        there = [one for one in _around(reader, told) if one.pack_id is None or one.pack_id <= last_kept]
        left = _unmatched(told, there, taken)
        lacking |= {mine[k] for k in left}
    return [presses[k] for k in sorted(lacking)]


def _door(press: Press) -> tuple[str, str, str]:
    return press.site, press.chime, press.door


def _around(reader: Reader, presses: Sequence[Press]) -> Iterator[Press]:
    """Presses of the record at the door of these, around them."""
    site, chime, door = _door(presses[0])
    start_s, end_s = presses[0].start_s - AROUND_S, presses[-1].start_s + AROUND_S
    cursor: str | None = None
    while True:
        found, cursor = reader.presses(site, start_s, end_s, chime=chime, door=door, cursor=cursor, limit=PAGE)
        yield from found
        if cursor is None:
            return


def _unmatched(told: Sequence[Press], there: Sequence[Press], taken: set[int]) -> list[int]:
    """Both in order of time. Numbers of those that none of the record stands for."""
    starts = [one.start_s for one in there]
    widest = max((one.uncertainty_s for one in [*told, *there]), default=0.0)
    left: list[int] = []
    for number, press in enumerate(told):
        near = range(bisect_left(starts, press.start_s - SAME_S), bisect_right(starts, press.start_s + SAME_S))
        same = next((there[k] for k in near if there[k].id not in taken), None)
        if same is None:
            left.append(number)
        else:
            taken.add(same.id)
    pairs = []
    for number in left:
        press = told[number]
        reach = min(widest, AROUND_S)
        for k in range(bisect_left(starts, press.start_s - reach), bisect_right(starts, press.start_s + reach)):
            apart = abs(starts[k] - press.start_s)
            if there[k].id not in taken and apart <= max(press.uncertainty_s, there[k].uncertainty_s):
                pairs.append((apart, number, there[k].id))
    found: set[int] = set()
    for _, number, row in sorted(pairs):
        if number not in found and row not in taken:
            found.add(number)
            taken.add(row)
    return [number for number in left if number not in found and not _within_one(told[number], there, starts)]


def _within_one(press: Press, there: Sequence[Press], starts: Sequence[float]) -> bool:
    """Whether it is part of a press of the record: that had several stretches so close together that they were one press."""
    before = bisect_right(starts, press.start_s + SAME_S) - 1
    if before < 0:
        return False
    whole = there[before]
    ends_s = whole.start_s if whole.end_s is None else whole.end_s
    last_s = press.start_s if press.end_s is None else press.end_s
    return press.start_s < ends_s and last_s <= ends_s + JOIN_S
