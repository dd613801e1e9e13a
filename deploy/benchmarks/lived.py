"""A chime whose past is lived through: its packs into a record and its alarms look by look, as in the service, by a clock set by hand.

Knows neither what happened to the house nor what should have been said of it.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TypeVar

from adapters.simulated.installation import CHIME, FIT_OUT, SITE
from adapters.sql.engine import make_fleeting
from adapters.sql.work import SqlStore
from service import examination
from service.alarming import Alarming
from service.alarms.alarm import Transition
from service.alarms.life import Told
from service.alarms.performance import Performance, performance
from service.alarms.trial import spoken_in
from service.examination import Judge
from service.intake import Understander, receive
from service.model import Arrival
from service.ports import Work

BATCH = 1000
T = TypeVar("T")


@dataclass
class Lived:
    """`from_s` is when its past begins, `now_s` how far it has been lived [POSIX s]; a record that has been lived in goes on.

    `judge`: with it the chime is examined once a day, which finds what the last day has told; without, never.
    """

    store: SqlStore
    from_s: float
    now_s: float
    judge: Judge | None = None
    examined_s: float = field(init=False)

    def __post_init__(self) -> None:
        make_fleeting(self.store.engine)
        self.examined_s = self.now_s
        self.alarming = Alarming(self.store.reader(), self, lambda: self.now_s)

    def do(self, action: Callable[[Work], T], timeout_s: float = 10.0) -> T:
        """What a keeper does, at once."""
        with self.store.work() as work:
            return action(work)

    def live(self, packs: Iterable[Arrival], until_s: float, step_s: float) -> None:
        """With packs in order of arrival. They arrive, and then it is looked, every `step_s` [s]; the first claims the chime."""
        ahead = iter(packs)
        following = next(ahead, None)
        while self.now_s < until_s:
            self.now_s = min(self.now_s + step_s, until_s)
            here: list[Arrival] = []
            while following is not None and following.received_s < self.now_s:
                here.append(following)
                following = next(ahead, None)
            self._take_in(here)
            if self.store.reader().chimes():
                self._examine()
                for event in self.store.fresh_events():
                    self.alarming.told(event)
                self.alarming.tick()

    def _take_in(self, packs: list[Arrival]) -> None:
        new = not self.store.reader().chimes()
        receive(self.store, packs)
        understander = Understander(self.store)
        while understander.process_pending(BATCH):
            pass
        if new and packs:
            self.do(lambda work: work.claim(SITE, CHIME, "Tern Cottage"))
            self.do(lambda work: work.keep_fitout(SITE, CHIME, FIT_OUT, self.now_s, "the invented house"))

    def _examine(self) -> None:
        if self.judge is None or self.now_s - self.examined_s < 86_400.0:
            return
        self.examined_s = self.now_s
        found = examination.examine(self.store.reader(), self.judge, SITE, CHIME, self.now_s)
        if found is not None:
            self.do(lambda work: examination.conclude(work, found))

    @property
    def transitions(self) -> list[Transition]:
        return [one for _, one in self.store.reader().alarm_transitions(SITE, CHIME, 0.0, self.now_s + 86_400.0)]

    @property
    def called(self) -> list[tuple[str, float]]:
        """When people were called [POSIX s], and by which rule."""
        return [(one.rule, one.at_s) for one in self.transitions if one.told is Told.ANNUNCIATED]

    def performance(self) -> Performance:
        rules = [one.rule for one in self.store.reader().alarm_rules(SITE, CHIME)]
        return performance(spoken_in(self.transitions), rules, self.from_s, self.now_s)
