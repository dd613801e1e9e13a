"""Keeps the alarms up to date: looks at the rules of each chime, and writes and tells what has changed.

Looks are made beside the writer, in the timers' thread; only what changes is written, in one transaction a chime, and not at all
where somebody changed it meanwhile. After a restart it goes on from what was kept. Knows no SQL.
"""

import logging
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from time import perf_counter
from typing import Protocol, TypeVar

from service import telling
from service.alarm_facts import facts_of
from service.alarm_kept import Kept
from service.alarm_ports import KeptRule
from service.alarm_set import changes, in_use, ready_set
from service.alarms.alarm import Transition
from service.alarms.conditions import reach_s
from service.alarms.life import Told
from service.alarms.rules import Rule
from service.alarms.standing import Standing, begin, facts_from_s, follow
from service.errors import BellcrankError, NotFound, Refused, StoreUnavailable
from service.model import Chime, Event
from service.ports import Clock, Reader, Work

log = logging.getLogger(__name__)
T = TypeVar("T")
Place = tuple[str, str]

EVERY_S = 60.0
"""How often a chime is looked at where nothing but windows of the rail has come [s]."""

RENEW_EVERY_S = 600.0
"""How often it is looked whether the ready set must change [s]."""

LATE_S = 6 * 3600.0
"""News that are later than this are told by nobody, such as a press of a chime that was out of reach for a day [s]."""

KEPT_AGAIN_S = 3600.0
"""How a rule stands is written anew after this time though nothing happened to it, so that a look need not go back further [s]."""

RESTS, LONGEST_REST_S = 3.0, 0.2
"""How many times as long as it looked it waits, and how long at the most (chosen) [s]."""

TELLING = frozenset(("press", "visit", "finding", "blind", "presence"))
"""Events after which a chime is looked at at once."""

RINGING = frozenset(("press", "visit"))
"""Of these, those that change no ready set, unless they tell of a door for the first time."""


class Doing(Protocol):
    """Whoever writes (`keeper.Keeper`)."""

    def do(self, action: Callable[[Work], T], timeout_s: float = 10.0) -> T: ...


class _Overtaken(BellcrankError):  # noqa: N818 - our errors are named by what is wrong
    """Somebody has changed a rule since it was read."""


@dataclass(slots=True)
class Alarming:
    """`tick` at regular times, from one thread; `told` is a listener of the hub.

    Parameters
    ----------
    rest : called after each look with how long to wait before the next, so that presses pass between the looks at many chimes.
    """

    reader: Reader
    keeper: Doing
    clock: Clock
    rest: Callable[[float], object] = lambda _: None
    _news: set[Place] = field(default_factory=set)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _looked_s: dict[Place, float] = field(default_factory=dict)
    _renewed_s: dict[Place, float] = field(default_factory=dict)
    _due_s: dict[Place, float] = field(default_factory=dict)
    _kept: dict[Place, Kept] = field(default_factory=dict)
    _doors: dict[Place, set[object]] = field(default_factory=dict)

    def told(self, event: Event | None) -> None:
        if event is None or event.kind not in TELLING:
            return
        place, door = (event.site, event.chime), event.data.get("door")
        with self._lock:
            self._news.add(place)
            doors = self._doors.setdefault(place, set())
            if event.kind not in RINGING or door not in doors:
                self._renewed_s.pop(place, None)
                doors.add(door)

    def hurry(self, site: str, chime: str) -> None:
        """Look at this chime, and at its ready set, with the next tick."""
        with self._lock:
            self._news.add((site, chime))
            self._renewed_s.pop((site, chime), None)

    def tick(self) -> None:
        """One round. A store that is away now is met again in the next."""
        now_s = self.clock()
        try:
            for chime in self.reader.chimes(claimed=True):
                place = chime.site, chime.chime
                with self._lock:
                    news = place in self._news
                    self._news.discard(place)
                looked_s = self._looked_s.get(place)
                rest = looked_s is not None and abs(now_s - looked_s) < EVERY_S
                if news or not rest or now_s >= self._due_s.get(place, now_s + 1.0):
                    begun_s = perf_counter()
                    self.look(chime, now_s)
                    self.rest(min(RESTS * (perf_counter() - begun_s), LONGEST_REST_S))
        except StoreUnavailable:
            return

    def look(self, chime: Chime, now_s: float) -> None:
        place = chime.site, chime.chime
        self._renew(chime, now_s)
        kept = in_use(self.reader.alarm_rules(*place))
        try:
            at_hand = self._kept.setdefault(place, Kept())
            standings, transitions, due_s = weigh(self.reader, chime, kept, now_s, at_hand)
        except Refused as refused:
            log.warning("The rules of %s at %s cannot be followed: %s", chime.chime, chime.site, refused)
            self._looked_s[place] = now_s
            return
        news = {one.rule for one in transitions}
        written = [one for one in kept if _differs(one.standing, standings[one.rule.id], one.rule.id in news)]
        if written:
            try:
                self.keeper.do(lambda work: _write(work, chime, written, standings, transitions, kept, now_s))
            except _Overtaken:
                return  # looked at again in the next round
            except NotFound:
                pass
        self._looked_s[place] = now_s
        self._due_s[place] = due_s if due_s is not None else now_s + EVERY_S

    def _renew(self, chime: Chime, now_s: float) -> None:
        place = chime.site, chime.chime
        renewed_s = self._renewed_s.get(place)
        if renewed_s is not None and abs(now_s - renewed_s) < RENEW_EVERY_S:
            return
        put, gone = changes(self.reader.alarm_rules(*place), ready_set(self.reader, chime))
        if put or gone:

            def write(work: Work) -> None:
                for rule_id in gone:
                    work.remove_rule(*place, rule_id)
                for one in put:
                    work.put_rule(*place, one)

            self.keeper.do(write)
        self._renewed_s[place] = now_s


def weigh(
    reader: Reader, chime: Chime, kept: Sequence[KeptRule], now_s: float, at_hand: Kept | None = None
) -> tuple[dict[str, Standing], list[Transition], float | None]:
    """How the alarms of a chime stand now, what they went through since they were kept, and when to look again.

    `at_hand`: facts that the last look has left. Raises RuleRefused where the rules do not go together.
    """
    rules = [one.rule for one in kept]
    standings = {one.rule.id: one.standing for one in kept if one.standing is not None}
    since = {
        rule.id: facts_from_s([rule], standings, LATE_S) if rule.id in standings else now_s - reach_s(rule.watch)
        for rule in rules
    }
    facts = facts_of(reader, chime, rules, since, now_s, at_hand)
    transitions: list[Transition] = []
    for rule in rules:
        if rule.id not in standings:  # switched on just now: the past is not news
            step = begin(rule, facts)
            standings[rule.id] = step.standing
            transitions += step.transitions
    found = follow(rules, standings, facts)
    return found.standings, transitions + found.transitions, found.due_s


def announce(work: Work, chime: Chime, rules: Sequence[Rule], transitions: Sequence[Transition], now_s: float) -> None:
    """Keep transitions, and tell of them whoever is to hear."""
    by_id = {rule.id: rule for rule in rules}
    work.add_transitions(chime.site, chime.chime, transitions)
    for one in transitions:
        if one.told is not Told.NOTHING:
            work.add_event("alarm", now_s, chime.site, chime.chime, telling.alarm(by_id[one.rule], one))


def _write(
    work: Work,
    chime: Chime,
    written: Sequence[KeptRule],
    standings: dict[str, Standing],
    transitions: Sequence[Transition],
    kept: Sequence[KeptRule],
    now_s: float,
) -> None:
    if not work.put_standings(chime.site, chime.chime, [(one, standings[one.rule.id]) for one in written]):
        raise _Overtaken  # undoes the transaction
    announce(work, chime, [one.rule for one in kept], transitions, now_s)


def _differs(before: Standing | None, after: Standing, news: bool) -> bool:
    if before is None or news or after.clock_s - before.clock_s > KEPT_AGAIN_S:
        return True
    return (before.alarm, before.present, before.worse) != (after.alarm, after.present, after.worse)
