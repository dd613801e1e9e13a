"""Asks chimes: for bursts, a sound or quiet, when a person wants it, and for a supply visit once a day at an hour in which nobody rings.

A request is kept before it is sent; what the chime then sends is its answer. Knows no broker and no SQL.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from json import dumps
from typing import Protocol, TypeVar
from zoneinfo import ZoneInfo

from service.asks import LATE_S, LONGEST_HUSH_S, WHATS, Ask, What, ended, message
from service.callers import patterns_of
from service.errors import NotFound, Refused, StoreUnavailable
from service.model import Chime
from service.names import clean_note
from service.ports import Clock, Reader, Work
from service.presses.patterns import LocalHour, WallClock
from service.retries import Answer

T = TypeVar("T")
DAY_S = 86_400.0

SCHEDULE = "the schedule"
SURVEY_EVERY_S = 20 * 3600.0
"""A chime whose newest survey is younger is not asked: it sends its own, or somebody has asked (chosen) [s]."""

AGAIN_AFTER_S = 6 * 3600.0
"""A chime that did not answer the schedule is left in peace for this long (chosen) [s]."""

QUIET_S = 900.0
"""Nobody may have pressed for this long: a visit goes on, or its marks are still on the rail [s]."""

LEARN_S = 56 * DAY_S
"""Twice what the patterns need before they say anything [s]."""

DEFAULT_HOUR = 3
"""Local time, where too little is known of when people ring (chosen)."""

ABLE_S = 30 * DAY_S
"""A chime that has sent no survey for so long is taken for one that cannot, or must not (chosen) [s]."""


class Doing(Protocol):
    """Whoever writes (`keeper.Keeper`)."""

    def do(self, action: Callable[[Work], T], timeout_s: float = 10.0) -> T: ...


Tell = Callable[[str, str, str, bytes], Answer]
"""Site, chime, leaf, payload."""


@dataclass(slots=True)
class Asking:
    """`tick` at regular times, from one thread.

    Parameters
    ----------
    wall_clock : of a time zone.
    """

    reader: Reader
    keeper: Doing
    clock: Clock
    tell: Tell
    wall_clock: Callable[[ZoneInfo], WallClock]
    _hours: dict[tuple[str, str], tuple[int, str]] = field(default_factory=dict)  # by site and local day

    def ask(self, site: str, chime: str, what: What, by: str = "", why: str = "", until_s: float | None = None) -> Ask:
        """Ask now; how it stands. Raises NotFound, Refused where it makes no sense."""
        heard, now_s = self.reader.chime(site, chime), self.clock()
        if what not in WHATS:
            raise Refused(f"A chime can be asked for {', '.join(WHATS)}.")
        if not heard.claimed:
            raise Refused("Nobody has claimed this chime yet.")
        if heard.alive is False:
            raise Refused("The chime is absent; it would not hear it.")
        if (what == "hush") != (until_s is not None):
            raise Refused("A hush, and nothing else, has an end.")
        if until_s is not None and not 0.0 < until_s - now_s <= LONGEST_HUSH_S:
            raise Refused(f"A hush ends within {LONGEST_HUSH_S / 3600.0:.0f} hours.")
        wish = Ask(0, site, chime, what, clean_note(by, 80) or "somebody", clean_note(why, 300), now_s, until_s)
        return self._send(wish)

    def survey(self, site: str, chime: str, by: str) -> Ask:
        """Somebody sets the chime to work, and wants its supply looked at now."""
        return self.ask(site, chime, "bursts", by, "setting to work")

    def tick(self) -> None:
        """One round: answers and time-outs, then the schedule. A store that is away now is met again in the next."""
        try:
            self._see_answers()
            for chime in self.reader.chimes(claimed=True):
                self._by_schedule(chime)
        except StoreUnavailable:
            return

    def _send(self, wish: Ask) -> Ask:
        number = self.keeper.do(lambda work: work.add_ask(wish))
        ask = replace(wish, id=number)
        taken = self.tell(ask.site, ask.chime, "ask", dumps(message(ask), separators=(",", ":")).encode())
        if not taken.delivered:
            return self._end(ask, "not sent", self.clock(), f"The broker did not take it: {taken.told}.")
        if ask.what == "hush":
            return self._end(ask, "sent", self.clock(), "The broker has it; a chime does not answer this.")
        return ask

    def _end(self, ask: Ask, state: str, at_s: float, told: str) -> Ask:
        self.keeper.do(lambda work: work.end_ask(ask.id, state, at_s, told))  # type: ignore[arg-type]
        return replace(ask, state=state, ended_s=at_s, told=told)  # type: ignore[arg-type]

    def _see_answers(self) -> None:
        now_s = self.clock()
        for ask in self.reader.open_asks(now_s - LATE_S):
            found = ended(ask, self._answered_s(ask, now_s), now_s)
            if found is not None:
                self._end(ask, *found)

    def _answered_s(self, ask: Ask, now_s: float) -> float | None:
        """When the first of what was asked for came afterwards. Times of packs may be off by their uncertainty, a second (chosen)."""
        since_s = ask.asked_s - 1.0
        if ask.what == "bursts":
            surveys = self.reader.testimony(ask.site, ask.chime, since_s, now_s + 60.0, {"survey": 20})
            return min((one.at_s for one in surveys), default=None)
        sounds = self.reader.soundings(ask.site, since_s, now_s + 60.0, ask.chime)
        return min((one.start_s for one in sounds), default=None)

    # the schedule

    def _by_schedule(self, chime: Chime) -> None:
        now_s = self.clock()
        if chime.alive is False:
            return
        surveys = self.reader.testimony(chime.site, chime.chime, now_s - ABLE_S, now_s + 60.0, {"survey": 1})
        if not surveys or surveys[-1].at_s > now_s - SURVEY_EVERY_S:
            return
        # only now, since it takes eight weeks of visits
        hour, why = self.hour_of(chime.site, now_s)
        if self._local(chime.site, now_s).hour != hour:
            return
        mine = [one for one in self.reader.asks(chime.site, chime.chime, 20) if one.by == SCHEDULE]
        if mine and now_s - mine[0].asked_s < AGAIN_AFTER_S:
            return
        lately, _ = self.reader.presses(chime.site, now_s - QUIET_S, now_s + 60.0, chime=chime.chime, limit=1)
        if not lately:
            self._send(Ask(0, chime.site, chime.chime, "bursts", SCHEDULE, why, now_s))

    def hour_of(self, site: str, now_s: float) -> tuple[int, str]:
        """The local hour at which the chimes of a house are asked, and why that one. Learnt anew each day."""
        here = self._local(site, now_s)
        if (site, here.day) not in self._hours:
            self._hours = {key: one for key, one in self._hours.items() if key[0] != site}
            self._hours[site, here.day] = self._learnt(site, now_s)
        return self._hours[site, here.day]

    def _learnt(self, site: str, now_s: float) -> tuple[int, str]:
        try:
            _, found = patterns_of(self.reader, site, now_s - LEARN_S, now_s, self.wall_clock(self._zone(site)), now_s)
        except (NotFound, Refused):
            return DEFAULT_HOUR, "There is no record to learn from yet."
        if found.too_little:
            return DEFAULT_HOUR, f"Too little is known of when people ring: {found.too_little}"
        known = [
            (one.high, abs(hour - DEFAULT_HOUR), hour) for hour, one in enumerate(found.by_hour) if one.high is not None
        ]
        _, _, hour = min(known)
        often = found.by_hour[hour].visits
        return (
            hour,
            f"Between {hour}:00 and {(hour + 1) % 24}:00 people rang {often} times in the weeks on record, least of all hours.",
        )

    def _local(self, site: str, at_s: float) -> LocalHour:
        return self.wall_clock(self._zone(site))(at_s)

    def _zone(self, site: str) -> ZoneInfo:
        return ZoneInfo(self.reader.site(site).time_zone)
