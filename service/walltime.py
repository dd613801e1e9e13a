"""(boot, up) to wall time, by lower envelope.

A pack made `up` seconds after power-up arrives at `up` + start + delay, and the delay is never negative. So the points
(up, arrival - up) of one boot lie on or above the line that tells the chime's start and the drift of its crystal, and the
lower convex hull of the points is all that need be kept of them. A pack that was kept back for hours lies far above the
hull and changes nothing. Knows no store and no clock.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

DRIFT_LIMIT = 200e-6
"""Crystals of microcontrollers keep some tens of ppm; a steeper edge is network delay, not drift (common practice, no source)."""

DRIFT_SPAN_S = 3600.0
"""Below this span an edge of the hull tells delay rather than drift: 20 ms of jitter over an hour is already 6 ppm."""

DELAY_S = 0.05
"""What even the quickest pack may have taken from the chime to here, as 90 % uncertainty [s] (common practice, no source)."""

WITNESS_LIMIT = 64
"""Hull points kept per boot. Thirty days of packs with exponential delays leave about twenty."""

Witness = tuple[float, float]
"""(up [s], arrival - up [s])"""


@dataclass(frozen=True, slots=True)
class Line:
    """wall time = offset_s + up x (1 + drift), in POSIX seconds."""

    offset_s: float
    drift: float = 0.0

    def wall_s(self, up_s: float) -> float:
        return self.offset_s + up_s * (1.0 + self.drift)

    def differs(self, other: "Line", last_up_s: float) -> float:
        """The largest difference between the two [s] over 0 <= up <= last_up_s."""
        return max(abs(self.wall_s(up) - other.wall_s(up)) for up in (0.0, last_up_s))


@dataclass(frozen=True, slots=True)
class BootClock:
    """The lower hull of one boot's witnesses.

    >>> clock = BootClock().with_witness(10.0, 1010.3).with_witness(20.0, 1020.1).with_witness(30.0, 1090.0)
    >>> round(clock.line().wall_s(30.0), 3)          # the third pack was kept back for a minute; it says nothing
    1030.1
    """

    witnesses: tuple[Witness, ...] = field(default=())

    def with_witness(self, up_s: float, arrival_s: float) -> "BootClock":
        """The clock that also knows this pack; the same object when it adds nothing."""
        point = (up_s, arrival_s - up_s)
        if self.witnesses and up_s > self.witnesses[-1][0]:  # nearly always: only the end of the hull can change
            hull = _extended(list(self.witnesses), point)
        else:
            hull = _lower_hull(sorted({*self.witnesses, point}))
        if len(hull) > WITNESS_LIMIT:
            hull = _thinned(hull)
        return self if tuple(hull) == self.witnesses else BootClock(tuple(hull))

    def line(self) -> Line:
        """The estimate. Raises ValueError without any witness."""
        if not self.witnesses:
            raise ValueError("a boot clock without any witness tells no time")
        first, last = self.witnesses[0][0], self.witnesses[-1][0]
        middle = (first + last) / 2
        best: tuple[float, float, Line] | None = None
        for (x0, y0), (x1, y1) in pairwise(self.witnesses):
            drift = (y1 - y0) / (x1 - x0)
            if x1 - x0 >= DRIFT_SPAN_S and abs(drift) <= DRIFT_LIMIT:
                distance = max(x0 - middle, middle - x1, 0.0)
                if best is None or (distance, x0 - x1) < best[:2]:
                    best = (distance, x0 - x1, Line(y0 - drift * x0, drift))
        if best is not None:
            return best[2]
        return Line(min(y for _, y in self.witnesses))

    def uncertainty_s(self, up_s: float) -> float:
        """Half width of the 90 % interval of `line().wall_s(up_s)` [s]: delay, and drift since the nearest witness."""
        nearest = min(abs(up_s - x) for x, _ in self.witnesses)
        drifting = 10e-6 if self.line().drift else 60e-6
        return DELAY_S + nearest * drifting


def _lower_hull(points: Sequence[Witness]) -> list[Witness]:
    """Lower convex hull of points sorted by x (Andrew's monotone chain); of equal x the lowest."""
    hull: list[Witness] = []
    for point in points:
        if not hull or hull[-1][0] != point[0]:
            _extended(hull, point)
    return hull


def _extended(hull: list[Witness], point: Witness) -> list[Witness]:
    while len(hull) >= 2 and _turns_right(hull[-2], hull[-1], point):
        hull.pop()
    hull.append(point)
    return hull


def _turns_right(a: Witness, b: Witness, c: Witness) -> bool:
    """True where b lies on or above the chord from a to c."""
    return (b[1] - a[1]) * (c[0] - a[0]) >= (c[1] - a[1]) * (b[0] - a[0])


def _thinned(hull: list[Witness]) -> list[Witness]:
    """Without the inner point whose loss moves the hull least."""

    def loss(i: int) -> float:
        (x0, y0), (x1, y1), (x2, y2) = hull[i - 1], hull[i], hull[i + 1]
        return y0 + (y2 - y0) * (x1 - x0) / (x2 - x0) - y1

    weakest = min(range(1, len(hull) - 1), key=loss)
    return hull[:weakest] + hull[weakest + 1 :]
