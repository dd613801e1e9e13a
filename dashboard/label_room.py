"""Finds room for words in a drawing: beside a mark, and on one side of a curve, where they cover nothing. Knows numbers only."""

from collections.abc import Sequence
from itertools import pairwise
from math import ceil, hypot
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Point = tuple[float, float]
ASCENT, DESCENT = 11.0, 3.5  # of a row of words about its foot [px]
GAP = 2.0  # between words and anything else [px]
CLOSE = 4.0  # apart are the points that stand for a line [px]


class Box(NamedTuple):
    """[px], y down the drawing."""

    left: float
    right: float
    top: float
    bottom: float

    def meets(self, other: "Box") -> bool:
        """Or comes nearer than `GAP`."""
        across = self.left - GAP < other.right and other.left - GAP < self.right
        return across and self.top - GAP < other.bottom and other.top - GAP < self.bottom

    def within(self, frame: "Box") -> bool:
        across = frame.left <= self.left and self.right <= frame.right
        return across and frame.top <= self.top and self.bottom <= frame.bottom

    def shifted_into(self, frame: "Box") -> "Box":
        """Sideways."""
        by = max(frame.left - self.left, 0.0) + min(frame.right - self.right, 0.0)
        return self._replace(left=self.left + by, right=self.right + by)


def along(places: Sequence[Point]) -> list[Box]:
    """A line from place to place, as boxes without size that stand close together."""
    found = [Box(x, x, y, y) for x, y in places]
    for (x1, y1), (x2, y2) in pairwise(places):
        count = ceil(hypot(x2 - x1, y2 - y1) / CLOSE)
        shares = [n / count for n in range(1, count)]
        points = [(x1 + share * (x2 - x1), y1 + share * (y2 - y1)) for share in shares]
        found += [Box(x, x, y, y) for x, y in points]
    return found


def beside(mark: Box, wide: float, frame: Box, taken: Sequence[Box]) -> tuple[Box, bool]:
    """Of words so `wide`: right or left of the mark, above or below it, or farther off; what covers least, and of that the nearest.
    And whether it covers nothing."""
    high, middle, level = ASCENT + DESCENT, (mark.left + mark.right) / 2, (mark.top + mark.bottom) / 2
    tops = (level - high / 2, level + 3.0, level - 3.0 - high)
    sides = (mark.right + 5.0, mark.left - 5.0 - wide)
    boxes = [Box(left, left + wide, top, top + high) for top in tops for left in sides]
    for away in (4.0, 10.0, 18.0, 28.0, 40.0):
        for top in (mark.top - away - high, mark.bottom + away):
            lefts = (middle - wide / 2, mark.left - 1.0, mark.right + 1.0 - wide, *sides, mark.right + 20.0)
            boxes += [Box(left, left + wide, top, top + high).shifted_into(frame) for left in lefts]
    inside = [box for box in boxes if box.within(frame)] or [boxes[0].shifted_into(frame)]
    covers = _covers(inside, taken)
    best = int(np.argmin(covers))
    return inside[best], not covers[best]


def first_free(boxes: Sequence[Box], taken: Sequence[Box]) -> Box | None:
    return next((box for box, covers in zip(boxes, _covers(boxes, taken), strict=True) if not covers), None)


def _covers(boxes: Sequence[Box], taken: Sequence[Box]) -> NDArray[np.int_]:
    """How many of `taken` each of `boxes` meets, or comes nearer to than `GAP` (N,)."""
    left, right, top, bottom = (np.array([box[n] for box in boxes])[:, np.newaxis] for n in range(4))
    others = [np.array([box[n] for box in taken]) for n in range(4)]
    across = (left - GAP < others[1]) & (others[0] - GAP < right)
    down = (top - GAP < others[3]) & (others[2] - GAP < bottom)
    return np.asarray(np.sum(across & down, axis=1), dtype=np.int_)
