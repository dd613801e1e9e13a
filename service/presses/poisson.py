"""Poisson counts: how far the mean behind a count may lie, and how odd a count is. Knows no hours and no callers."""

from collections.abc import Callable
from functools import lru_cache

import numpy as np

OUTSIDE = 0.05
"""An interval leaves out so much at either end: 90 % in all."""


def at_most(count: int, mean: float) -> float:
    """Probability of at most `count` events where `mean` are expected.

    >>> round(at_most(2, 1.0), 4)  # (1 + 1 + 1/2) / e
    0.9197
    """
    if count < 0:
        return 0.0
    if mean <= 0.0:
        return 1.0
    n = np.arange(1, count + 1)
    terms = np.concatenate(([0.0], np.cumsum(np.log(mean) - np.log(n))))
    return float(min(np.sum(np.exp(terms - mean)), 1.0))


@lru_cache(maxsize=4096)
def interval(count: int, outside: float = OUTSIDE) -> tuple[float, float]:
    """Exact interval of the mean behind a count, leaving out `outside` at either end (Garwood 1936, from memory).

    >>> [round(end, 2) for end in interval(0)]  # the upper end is -ln 0.05
    [0.0, 3.0]
    """
    top = count + 20.0 + 10.0 * count**0.5
    low = _falling(lambda mean: at_most(count - 1, mean) - (1.0 - outside), top) if count else 0.0
    return low, _falling(lambda mean: at_most(count, mean) - outside, top)


def chance_of(count: int, expected: float) -> float:
    """How often chance alone gives a count at least as far from what is expected, on either side.

    >>> round(chance_of(0, 3.0), 3)  # 2 exp(-3)
    0.1
    """
    at_least = max(0.0, 1.0 - at_most(count - 1, expected))
    return min(1.0, 2.0 * min(at_most(count, expected), at_least))


def _falling(value: Callable[[float], float], top: float) -> float:
    """Where a falling function of a mean crosses zero, by halving."""
    low, high = 0.0, top
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if value(middle) > 0.0 else (low, middle)
    return 0.5 * (low + high)
