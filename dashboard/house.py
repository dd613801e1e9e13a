"""What the sheets of one house are made from: everything the Reader knows of a stretch of days, asked once. Draws nothing."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from functools import cached_property
from math import inf
from zoneinfo import ZoneInfo

from service import model
from service.findings.verdict import Measured
from service.health import Health
from service.ports import Reader
from service.presses.blind import covered_s

PAGE = 1000

SURE = "shortest_sure_press_s"
"""The name of a quantity."""

EDGE_S = 0.001
"""The stretch of a redating ends at presses, whose times may have been rounded since [s]."""

MOVED_S = 86_400.0
"""Redatings are asked for so far beyond the days shown, since they may have moved presses into them [s]."""


@dataclass(frozen=True)
class House:
    """One site from `start_s` to `now_s`. `stale_after_s`: a chime unheard for longer is not taken to be listening."""

    site: model.Site
    chimes: Sequence[model.Chime]
    doors: Sequence[model.Door]
    visits: Sequence[model.Visit]
    soundings: Sequence[model.Sounding]
    blind: Sequence[model.BlindSpell]  # at every door, and over
    unfitted: Sequence[model.BlindSpell]  # at one door, of which nothing had been heard yet
    redatings: Sequence[model.Redating]  # oldest first
    unseen_presses: Sequence[model.Unseen]
    store_trouble: str | None
    store_since_s: float
    start_s: float
    now_s: float
    stale_after_s: float

    @cached_property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.site.time_zone)

    @property
    def today(self) -> date:
        return datetime.fromtimestamp(self.now_s, self.zone).date()

    @property
    def first_heard_s(self) -> float | None:
        return min((chime.first_heard_s for chime in self.chimes), default=None)

    @property
    def last_heard_s(self) -> float | None:
        return max((chime.last_heard_s for chime in self.chimes), default=None)

    def unheard_since_s(self, chime: model.Chime) -> float | None:
        """When this chime was last heard, if that is too long ago or it has taken its leave; None while it listens."""
        if chime.alive is False or self.now_s - chime.last_heard_s > self.stale_after_s:
            return chime.last_heard_s
        return None

    def silent(self) -> list[model.Chime]:
        return [chime for chime in self.chimes if self.unheard_since_s(chime) is not None]

    def unseen(self, start_s: float, end_s: float) -> list[model.Unseen]:
        """Signs in the stretch that somebody pressed. Missing packs are told as blind time."""
        return [
            one
            for one in self.unseen_presses
            if start_s <= one.start_s < end_s and one.why not in (("packs missing",), ("records dropped",))
        ]

    def told_first_s(self, visit: model.Visit) -> float:
        """Where this visit stood when it was first told, as far as is known: its start less what it was moved since."""
        at_s = visit.start_s
        for one in reversed(self.redatings):
            if one.chime == visit.chime and one.start_s - EDGE_S <= at_s <= one.end_s + EDGE_S:
                at_s -= one.shift_s
        return at_s

    def unwatched(self, start_s: float, end_s: float, blind_only: bool = False) -> float:
        """Time in the stretch in which a press at some door could not have been recorded, or is not known to have been [s].

        `blind_only` leaves out what may yet arrive: the time since a silent chime was last heard.
        """
        stretches = [(spell.start_s, spell.end_s if spell.end_s is not None else self.now_s) for spell in self.blind]
        if self.store_trouble:
            stretches.append((self.store_since_s, self.now_s))
        if not blind_only:
            stretches += [(chime.last_heard_s, self.now_s) for chime in self.silent()]
        return covered_s(stretches, start_s, end_s)


def gather(
    reader: Reader,
    site: model.Site,
    health: Health,
    start_s: float,
    now_s: float,
    stale_after_s: float,
    until_day: date | None = None,
) -> House:
    """Everything from `start_s` to now, or to the end of `until_day` where that is earlier."""
    end_s = now_s + 1.0 if until_day is None else min(now_s + 1.0, day_stretch(until_day, ZoneInfo(site.time_zone))[1])
    spells = reader.blind_spells(site.site, start_s, end_s, now_s)
    return House(
        site=site,
        chimes=[chime for chime in reader.chimes(site.site) if chime.claimed],
        doors=reader.doors(site.site),
        visits=all_visits(reader, site.site, start_s, end_s),
        soundings=reader.soundings(site.site, start_s, end_s),
        blind=[spell for spell in spells if spell.door is None and spell.end_s is not None],
        unfitted=[spell for spell in spells if spell.door is not None],
        redatings=reader.redatings(site.site, start_s - MOVED_S, end_s + MOVED_S),
        unseen_presses=reader.unseen(site.site, start_s, end_s),
        store_trouble=health.store_trouble,
        store_since_s=health.store_since_s,
        start_s=start_s,
        now_s=now_s,
        stale_after_s=stale_after_s,
    )


def back(
    reader: Reader, site: model.Site, health: Health, now_s: float, days: int, stale_after_s: float = inf
) -> House:
    """From midnight so many days ago until now."""
    zone = ZoneInfo(site.time_zone)
    start_s = midnight_s(datetime.fromtimestamp(now_s, zone).date() - timedelta(days=days), zone)
    return gather(reader, site, health, start_s, now_s, stale_after_s)


def with_redatings(reader: Reader, house: House, start_s: float) -> House:
    """The same, with what was dated anew from an earlier moment on."""
    return replace(house, redatings=reader.redatings(house.site.site, start_s - MOVED_S, house.now_s + MOVED_S))


def shortest_sure(reader: Reader, house: House) -> list[tuple[model.Chime, Measured | None]]:
    """The shortest press that each chime always sees, by its newest survey that told it."""
    found = []
    for chime in house.chimes:
        newest = reader.latest_quantities(house.site.site, chime.chime)
        found.append((chime, next((one.measured for one in newest if one.name == SURE), None)))
    return found


def all_visits(reader: Reader, site: str, start_s: float, end_s: float) -> list[model.Visit]:
    found: list[model.Visit] = []
    cursor: str | None = None
    while True:
        some, cursor = reader.visits(site, start_s, end_s, cursor=cursor, limit=PAGE)
        found += some
        if cursor is None:
            return found


def midnight_s(day: date, zone: ZoneInfo) -> float:
    """When a day begins in its zone."""
    return datetime.combine(day, time(0), zone).timestamp()


def day_stretch(day: date, zone: ZoneInfo) -> tuple[float, float]:
    """A day from midnight to midnight: 24 hours, or 23 or 25 where the clocks change."""
    return midnight_s(day, zone), midnight_s(day + timedelta(days=1), zone)


def hours_of(start_s: float, end_s: float, zone: ZoneInfo) -> list[tuple[float, str]]:
    """The full hours of a stretch, both ends included, with their numerals; the last midnight is 24.

    When the clocks go back an hour has its numeral twice, when they go forward one is missing.
    """
    found = []
    moment_s = -(-start_s // 900) * 900  # zones differ from UTC by quarters of an hour
    while moment_s <= end_s:
        then = datetime.fromtimestamp(moment_s, zone)
        if then.minute == 0:
            numeral = "24" if moment_s == end_s and then.hour == 0 and moment_s > start_s else f"{then.hour:02d}"
            found.append((moment_s, numeral))
            moment_s += 3600
        else:
            moment_s += 900
    return found
