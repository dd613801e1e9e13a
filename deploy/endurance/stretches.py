"""Stretches of time as pairs (start, end): united, subtracted, measured. Knows nothing of what they stand for."""

from collections.abc import Iterable

Stretch = tuple[float, float]


def united(stretches: Iterable[Stretch]) -> list[Stretch]:
    """In order, those that touch or overlap as one, empty ones left out.

    >>> united([(5, 6), (1, 3), (2, 4), (7, 7)])
    [(1, 4), (5, 6)]
    """
    result: list[Stretch] = []
    for start, end in sorted(stretches):
        if end <= start:
            continue
        if result and start <= result[-1][1]:
            result[-1] = (result[-1][0], max(end, result[-1][1]))
        else:
            result.append((start, end))
    return result


def without(stretches: Iterable[Stretch], others: Iterable[Stretch]) -> list[Stretch]:
    """What of `stretches` lies in none of `others`.

    >>> without([(0, 10)], [(2, 3), (9, 12)])
    [(0, 2), (3, 9)]
    """
    result, gone = [], united(others)
    for start, end in united(stretches):
        for a, b in gone:
            if b <= start or a >= end:
                continue
            if a > start:
                result.append((start, a))
            start = b
        if start < end:
            result.append((start, end))
    return result


def clipped(stretches: Iterable[Stretch], within: Stretch) -> list[Stretch]:
    """
    >>> clipped([(0, 3), (5, 9)], (2, 6))
    [(2, 3), (5, 6)]
    """
    return united((max(start, within[0]), min(end, within[1])) for start, end in stretches)


def length_s(stretches: Iterable[Stretch]) -> float:
    """
    >>> length_s([(0, 3), (2, 4)])
    4
    """
    return sum(end - start for start, end in united(stretches))
