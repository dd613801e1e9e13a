"""What rules look at: the facts of one chime over a stretch of time. Plain values; the caller reads them from the record.

Knows no rule and no store. All sequences in order of time, all times POSIX seconds.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple


class Reading(NamedTuple):
    """A quantity holds from one reading until the next. NaN: not taken."""

    at_s: float
    value: float


class Pressed(NamedTuple):
    """`end_s` is None while the contact is not known to have opened."""

    door: str
    start_s: float
    end_s: float | None


class Called(NamedTuple):
    """One visit: one caller's presses at one door together."""

    door: str
    start_s: float


class Unseen(NamedTuple):
    """A stretch in which no press could have been recorded, and why, in the record's words. `end_s` is None while it lasts."""

    start_s: float
    end_s: float | None
    why: str


class Found(NamedTuple):
    """A finding while it was open, at one likelihood; a new stretch where that changes."""

    name: str
    door: str | None
    likelihood: float
    start_s: float
    end_s: float | None = None
    confirmed_s: float | None = None


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known of a chime from `from_s` to `to_s`; nothing that came later has been looked at.

    `readings`: by names of `quantities.QUANTITIES`. `local`: by how many seconds local time is ahead of UTC, from each moment on.
    `packs_from_s`: before that it is not known when packs came; None: from `from_s` on it is.
    """

    from_s: float
    to_s: float
    readings: Mapping[str, Sequence[Reading]] = field(default_factory=dict)
    presses: Sequence[Pressed] = ()
    visits: Sequence[Called] = ()
    unseen: Sequence[Unseen] = ()
    packs_s: Sequence[float] = ()
    packs_from_s: float | None = None
    findings: Sequence[Found] = ()
    local: Sequence[Reading] = ()
