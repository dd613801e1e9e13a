"""Who rang in a stretch of time, and how much of it nobody can know: while somebody was away, and by the hours of weeks.

Asks the Reader and computes; knows no zone, no words and no way out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from service import model
from service.errors import Refused
from service.ports import Reader
from service.presses.away import joined
from service.presses.patterns import Patterns, WallClock, patterns

MOST_VISITS = 20_000
"""More than a busy house has in ten years; they are read into memory at once."""

PAGE = 1000
WEEKS_S = 12 * 7 * 86_400.0
"""Patterns are asked of the last twelve weeks where no stretch is given: three times what is needed to say something [s]."""

LOOK_BACK_S = 366 * 86_400.0
"""The last absence counts where it is not longer ago than a year [s]."""

Chosen = Literal["as asked", "by calendar", "since the last look", "since the record began"]
Stretch = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Blindness:
    """Spells at every door of a chime that touch a stretch, and what they cover of it, joined. `first_s`: the record begins."""

    spells: tuple[model.BlindSpell, ...]
    gaps_s: tuple[Stretch, ...]
    first_s: float

    def share(self, start_s: float, end_s: float) -> float | None:
        """Of the stretch, from the beginning of the record on; None where nothing is left of it."""
        watched_s = end_s - max(start_s, self.first_s)
        return sum(end - start for start, end in self.gaps_s) / watched_s if watched_s > 0.0 else None


@dataclass(frozen=True, slots=True)
class WhileAway:
    """What the record holds of an absence, and what it cannot hold. `visits` and `doubtful` have none in common.

    `pending`: packs that have come and that nobody has read yet.
    """

    chosen: Chosen
    start_s: float
    end_s: float
    now_s: float
    visits: tuple[model.Visit, ...]
    doubtful: tuple[model.Visit, ...]
    unseen: tuple[model.Unseen, ...]
    blind: Blindness
    pending: int = 0

    @property
    def begins_late(self) -> bool:
        """The record begins after the stretch does."""
        return self.start_s < self.blind.first_s

    @property
    def complete(self) -> bool:
        """Whoever rang in the stretch is among the visits."""
        return not (self.blind.gaps_s or self.unseen or self.begins_late or self.pending)


def while_away(reader: Reader, site: str, person: str, asked: Stretch | None, now_s: float) -> WhileAway:
    """The stretch asked for; or else this person's present or last absence; or else since this person last looked.

    Nothing is told of what is still to come. Raises NotFound; Refused where nobody could say which stretch is meant.
    """
    first_s, pending = first_known_s(reader, site, now_s), reader.counts().pending
    chosen, (start_s, end_s) = _stretch(reader, site, person, asked, first_s, now_s)
    found = all_visits(reader, site, start_s, end_s)
    return WhileAway(
        chosen,
        start_s,
        end_s,
        now_s,
        tuple(visit for visit in found if not visit.doubtful),
        tuple(visit for visit in found if visit.doubtful),
        tuple(reader.unseen(site, start_s, end_s)),
        blindness(reader, site, start_s, end_s, first_s, now_s),
        pending,
    )


def patterns_of(
    reader: Reader, site: str, start_s: float, end_s: float, wall_clock: WallClock, now_s: float
) -> tuple[Stretch, Patterns]:
    """Patterns of the stretch, as far as the record reaches, and how far that is. Doubtful visits are left out."""
    first_s = first_known_s(reader, site, now_s)
    end_s = min(end_s, now_s)
    start_s = min(max(start_s, first_s), end_s)
    begun = [visit.start_s for visit in all_visits(reader, site, start_s, end_s) if not visit.doubtful]
    gaps_s = blindness(reader, site, start_s, end_s, first_s, now_s).gaps_s
    return (start_s, end_s), patterns(begun, gaps_s, start_s, end_s, wall_clock)


def all_visits(reader: Reader, site: str, start_s: float, end_s: float) -> list[model.Visit]:
    """Oldest first. Raises Refused where there are too many."""
    found: list[model.Visit] = []
    cursor: str | None = None
    while True:
        page, cursor = reader.visits(site, start_s, end_s, cursor=cursor, limit=PAGE)
        found += page
        if cursor is None:
            return found
        if len(found) >= MOST_VISITS:
            raise Refused(f"More than {MOST_VISITS} visits; ask for a shorter stretch.")


def blindness(reader: Reader, site: str, start_s: float, end_s: float, first_s: float, now_s: float) -> Blindness:
    """What of a stretch is blind at some chime or other. A spell that lasts counts until now."""
    spells = [one for one in reader.blind_spells(site, start_s, end_s, now_s) if one.door is None]
    clipped = ((max(s.start_s, start_s, first_s), min(now_s if s.end_s is None else s.end_s, end_s)) for s in spells)
    return Blindness(tuple(spells), tuple(joined(clipped)), first_s)


def first_known_s(reader: Reader, site: str, now_s: float) -> float:
    """When the record of a site begins: the first pack tells of presses before it. Raises NotFound."""
    reader.site(site)
    first, _ = reader.visits(site, 0.0, now_s, limit=1)
    return min([*(chime.first_heard_s for chime in reader.chimes(site)), *(visit.start_s for visit in first)])


def _stretch(
    reader: Reader, site: str, person: str, asked: Stretch | None, first_s: float, now_s: float
) -> tuple[Chosen, Stretch]:
    if asked is not None:
        start_s, end_s = max(asked[0], 0.0), min(asked[1], now_s)
        if not start_s < end_s:
            raise Refused("A stretch begins before now, and before it ends.")
        return "as asked", (start_s, end_s)
    if not person:
        raise Refused("Say who was away (`person`), or when (`start`, `end`).")
    absences = _absences(reader, site, person, now_s)
    if absences:
        return "by calendar", absences[-1]
    looked_s = reader.previous_look_s(site, person)
    if looked_s is not None:
        return "since the last look", (min(looked_s, now_s), now_s)
    return "since the record began", (min(first_s, now_s), now_s)


def _absences(reader: Reader, site: str, person: str, now_s: float) -> Sequence[Stretch]:
    """Joined, as far as they have come to pass."""
    aways = reader.away(site, person, now_s - LOOK_BACK_S, now_s)
    return joined((away.start_s, min(away.end_s, now_s)) for away in aways)
