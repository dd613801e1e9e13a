"""What is kept of one boot to tell its time: the lowest witnesses, and a few readings of the chime's own clock.

Knows nothing of probability; that is `belief`.
"""

import math
from bisect import bisect_left
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import groupby

from service.walltime.belief import DAILY, DRIFT_SD, Belief, Drift, Line, Witness, belief, corrected

STRETCHES, LOWEST = 16, 4
"""Of each of at most 16 equal stretches of a boot the four lowest witnesses are kept: one to lie on, the others to tell how
close it comes. The width of a stretch is a power of two, so stretches merge two by two as a boot grows; and the lowest of
two sets are among the lowest of each. So what is kept depends on which packs have come, not on their order."""

LEAN = 60e-6
"""Witnesses are compared as if wall time gained so much on the chime's clock: of equally quick packs the earlier ones stay, for
almost any crystal, and what is kept seldom changes."""

PROFILE = 33
"""Moments of a boot at which its uncertainty is worked out, each once; a page asks for a hundred others."""

READINGS = 4
"""Of the chime's clock the latest reading in each of at most four stretches: a clock that counts whole seconds is behind by
the fraction that it leaves out, and least so where it is ahead of its other readings."""


@dataclass(frozen=True, slots=True)
class BootClock:
    """The lowest witnesses of one boot, and readings (up, clock - up) of the chime's own clock, both in order of up.

    `drift_known`: what earlier boots of the same board told when this one was first met, by `best_drift`.

    >>> clock = BootClock().with_witness(10.0, 1010.3).with_witness(20.0, 1020.1).with_witness(30.0, 1090.0)
    >>> round(clock.line().wall_s(30.0), 3)          # the third pack was kept back for a minute; it says nothing
    1030.1
    """

    witnesses: tuple[Witness, ...] = field(default=())
    readings: tuple[Witness, ...] = field(default=())
    drift_known: Drift | None = None

    def with_witness(self, up_s: float, arrival_s: float) -> "BootClock":
        """The clock that also knows this pack; the same object when it adds nothing."""
        kept = _with(self.witnesses, (up_s, arrival_s - up_s), STRETCHES, _lowest)
        return self if kept == self.witnesses else replace(self, witnesses=kept)

    def with_clock(self, up_s: float, clock_s: float) -> "BootClock":
        """The clock that also knows what the chime's own clock showed when a pack was put together [POSIX s]."""
        kept = _with(self.readings, (up_s, clock_s - up_s), READINGS, _latest)
        return self if kept == self.readings else replace(self, readings=kept)

    def line(self) -> Line:
        """The estimate. Raises ValueError without any witness."""
        return self._belief(self.drift_known).line

    def uncertainty_s(self, up_s: float) -> float:
        """Half width of the 90 % interval of `line().wall_s(up_s)` [s]. Raises ValueError without any witness."""
        if not self.witnesses:
            raise ValueError("a boot clock without any witness tells no time")
        first_s, last_s = self.witnesses[0][0], self.witnesses[-1][0]
        if not first_s <= up_s <= last_s or first_s == last_s:
            return self._belief(self.drift_known).uncertainty_s(up_s)
        place = (up_s - first_s) / (last_s - first_s) * (PROFILE - 1)
        before = min(int(place), PROFILE - 2)
        return (before + 1 - place) * self._half_s(before) + (place - before) * self._half_s(before + 1)

    def _half_s(self, place: int) -> float:
        """Of the profile. It bends upwards, so between two places the line is on the safe side."""
        known = _profile(self)
        if (half_s := known.get(place)) is None:
            first_s, last_s = self.witnesses[0][0], self.witnesses[-1][0]
            up_s = first_s + (last_s - first_s) * place / (PROFILE - 1)
            half_s = known[place] = self._belief(self.drift_known).uncertainty_s(up_s)
        return half_s

    def drift(self) -> Drift:
        """Of this boot, as it may be in another, on a day of other warmth. Raises ValueError without any witness."""
        drift, sd = self._belief(None).drift
        return drift, math.hypot(sd, DAILY / math.sqrt(2))

    def _belief(self, drift_known: Drift | None) -> Belief:
        if not self.witnesses:
            raise ValueError("a boot clock without any witness tells no time")
        believed = belief(self.witnesses, drift_known)
        return corrected(believed, self.readings) if self.readings else believed


@lru_cache(16)
def _profile(_clock: BootClock) -> dict[int, float]:
    """Half widths by place, of those that have been asked for."""
    return {}


def best_drift(clocks: Iterable[BootClock]) -> Drift | None:
    """The most certain among boots of one board; None where none tells much more than is known of any crystal."""
    told = [clock.drift() for clock in clocks if clock.witnesses]
    best = min(told, key=lambda drift: (drift[1], drift[0]), default=None)
    return best if best is not None and best[1] < DRIFT_SD / 2 else None


def _lowest(points: Iterable[Witness]) -> list[Witness]:
    return sorted(sorted(points, key=lambda point: (point[1] + LEAN * point[0], point))[:LOWEST])


def _latest(points: Iterable[Witness]) -> list[Witness]:
    return [max(points, key=lambda point: (point[1], -point[0]))]


def _with(
    kept: tuple[Witness, ...], point: Witness, stretches: int, chosen: Callable[[Iterable[Witness]], list[Witness]]
) -> tuple[Witness, ...]:
    """What is kept, in order of up, of what was kept and one point more."""
    before = _octave(kept[-1][0]) if kept else None
    octave = max(_octave(point[0]), before or 0)
    width = math.ldexp(1.0, octave) / stretches
    if octave != before:
        by_stretch = groupby(sorted({*kept, point}), key=lambda one: one[0] // width)
        return tuple(one for _, stretch in by_stretch for one in chosen(stretch))
    begin_s = point[0] // width * width
    begin = bisect_left(kept, (begin_s, -math.inf))
    end = bisect_left(kept, (begin_s + width, -math.inf), begin)
    return kept[:begin] + tuple(chosen({*kept[begin:end], point})) + kept[end:]


def _octave(up_s: float) -> int:
    """The lowest n >= 0 with up < 2**n."""
    return max(math.frexp(up_s)[1], 0)
