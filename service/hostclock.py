"""The clock of the host, which somebody may set while Bellcrank listens. Knows no chime.

Between two settings it runs as evenly as the host's uptime; so a setting shows as a jump of (clock - uptime), and what was
received before it can be dated by the clock as it stands now: whoever set it knew better.
"""

import os
import time
import uuid
from bisect import bisect_left
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import NamedTuple

STEP_S = 0.5
"""Less is no setting: time servers turn the clock slowly by such amounts [s]."""


class HostClock(NamedTuple):
    """`host` names the power-up of the host; `offset_s`: what its clock shows beyond its uptime."""

    host: str
    offset_s: float


def _uptime_s() -> float:
    return time.clock_gettime(time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic()


@cache
def _host() -> str:
    """Linux names each power-up. Elsewhere every start of this process counts as one: what it was before is not known."""
    told = Path("/proc/sys/kernel/random/boot_id")
    return told.read_text().strip() if told.exists() and hasattr(os, "uname") else uuid.uuid4().hex


def read() -> HostClock:
    """The clock as it stands now."""
    return HostClock(_host(), time.time() - _uptime_s())


class Watched:
    """The clock by which packs are received. It stays as the record knows it until the record has been told of a change, so that
    what is received and what is known of the clock never disagree.

    Parameters
    ----------
    read, uptime_s : what the host shows.
    """

    def __init__(self, read: Callable[[], HostClock] = read, uptime_s: Callable[[], float] = _uptime_s) -> None:
        self._read, self._uptime_s = read, uptime_s
        self.known = read()

    def now_s(self) -> float:
        return self._uptime_s() + self.known.offset_s

    def step(self) -> HostClock | None:
        """The clock as somebody has set it since; None where nobody has."""
        clock = self._read()
        return clock if abs(clock.offset_s - self.known.offset_s) > STEP_S else None


class Reading(NamedTuple):
    """Packs kept after `after_pack_id` were received by this clock."""

    after_pack_id: int
    clock: HostClock


class HostClocks:
    """All clocks by which packs were received, in order.

    >>> clocks = HostClocks([Reading(0, HostClock("a", 0.0)), Reading(9, HostClock("a", 3600.0))])
    >>> clocks.of(9), clocks.of(10)          # until pack 9 the clock was an hour slow
    (('a', 3600.0), ('a', 0.0))
    """

    def __init__(self, readings: Sequence[Reading]) -> None:
        self._after = [reading.after_pack_id for reading in readings]
        self._clocks = [reading.clock for reading in readings]
        self._newest = {clock.host: clock.offset_s for clock in self._clocks}

    def of(self, pack_id: int) -> tuple[str, float]:
        """The power-up of the host in which a pack was received, and by how much its time is to be moved [s]."""
        number = bisect_left(self._after, pack_id) - 1
        if number < 0:
            return "", 0.0
        clock = self._clocks[number]
        return clock.host, self._newest[clock.host] - clock.offset_s
