"""Promise: between two looks at the alarms of a chime what its rules watch is kept, and it is at any time what the record would say
afresh: after late packs and lost ones, presses that join, a power-up that is dated anew, the host's clock set, a rebuild.

The source of truth is the record itself, asked by one who has kept nothing.
"""

import random
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from adapters.sql.reader import SqlReader
from adapters.sql.work import SqlStore
from service import dating
from service.alarm_facts import OF_WINDOWS, facts_of
from service.alarm_kept import Kept
from service.alarms.facts import Facts
from service.alarms.rules import (
    BlindTime,
    HeldPress,
    ManyVisits,
    NoPack,
    OpenFinding,
    QuantityBeyond,
    QuietPress,
    Rule,
    Trend,
    Watch,
)
from service.findings.life import Look, follow
from service.findings.verdict import Finding, Measured, Verdict
from service.hostclock import HostClock
from service.intake import Understander, receive
from service.model import Arrival
from service.ports import Reader
from tests.blind_time.listening import alive, sent
from tests.builders import CHIME, PRESS, SITE, T0
from tests.rebuild.test_what_is_derived_is_made_anew import rebuild

HOUR_S, DAY_S = 3600.0, 86_400.0
LOW = {"n": "rail.low", "u": "V", "v": 11.5}
WARM = {"n": "temp", "u": "Cel", "v": 21.0}
GARDEN = PRESS | {"n": "garden.edges"}


def rule(name: str, watch: Watch) -> Rule:
    return Rule(name, watch, "cause", "consequence", "action")


RULES = [
    *(rule(f"beyond-{name}", QuantityBeyond(name, "below", 10.0)) for name in OF_WINDOWS),
    rule("measured", QuantityBeyond("reservoir_f", "below", 3e-4)),
    rule("trend", Trend("source_ohm", "above", 0.01, 5 * DAY_S)),
    rule("finding", OpenFinding()),
    rule("held", HeldPress(60.0)),
    rule("many", ManyVisits(2, 3 * HOUR_S)),
    rule("quiet", QuietPress("22:00", "06:00")),
    rule("silent", NoPack(2 * HOUR_S)),
    rule("blind", BlindTime(DAY_S, share=0.05)),
]


FOUND = Finding("load-high", 0.8)


class House:
    """A record at which one who keeps facts looks again and again. `now_s`: by the chime's own quartz, from T0 on [s]."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.kept = folder, Kept()
        self.store = SqlStore(f"sqlite:///{folder / 'record.sqlite'}", "Europe/London")
        self.now_s, self.boot, self.on_s, self.seq, self.shift_s = 10.0, 1, 0.0, 0, 0.0
        self.since_s: dict[str, float] = {}
        self.withheld: list[Arrival] = []
        with self.store.work() as work:
            dating.listen(work, HostClock("host", T0), T0, anew=True)
        self.hears(self.made())

    def hears(self, *arrivals: Arrival) -> None:
        receive(self.store, arrivals)
        while Understander(self.store).process_pending(100):
            pass

    def made(self, *more: dict[str, Any], late_s: float = 0.05) -> Arrival:
        """A pack with a window of the rail, made now."""
        self.seq += 1
        arrives_s = self.now_s + self.shift_s + late_s
        return sent(self.seq - 1, self.now_s - self.on_s, *more, boot=self.boot, at_s=arrives_s)

    def power_up(self) -> None:
        self.boot, self.on_s, self.seq = self.boot + 1, self.now_s, 0
        self.now_s += 5.0

    def measured(self) -> None:
        values = {"reservoir_f": 4e-4, "source_ohm": 6.0, "idle_a": 0.01}
        with self.store.work() as work:
            measured = {name: Measured(v, v, v + self.now_s) for name, v in values.items()}
            work.add_quantities(SITE, CHIME, T0 + self.now_s, measured)

    def found(self, likelihood: float) -> None:
        """By an examination; 0: it was judged and not found."""
        at_s = T0 + self.now_s
        judged = frozenset({("load-high", None)})
        found = Verdict(findings=(replace(FOUND, likelihood=likelihood),) if likelihood else (), judged=judged)
        with self.store.work() as work:
            for step in follow(SITE, CHIME, work.held_findings(SITE, CHIME), found, Look(at_s, at_s)):
                work.put_finding(SITE, CHIME, step)

    def clock_is_set(self, by_s: float) -> None:
        self.shift_s += by_s
        with self.store.work() as work:
            dating.listen(work, HostClock("host", T0 + self.shift_s), T0 + self.now_s + self.shift_s, anew=False)

    def rebuilt(self) -> None:
        assert rebuild(self.folder)

    def facts(self, reader: Reader, kept: Kept) -> Facts:
        now_s = T0 + self.now_s + self.shift_s
        since = {one.id: now_s - self.since_s.get(one.id, DAY_S) for one in RULES}
        return facts_of(reader, reader.chime(SITE, CHIME), RULES, since, now_s, kept)

    def look(self) -> Facts:
        """What was kept, which is the same as what a reader says to whom the writer tells nothing."""
        kept, afresh = self.facts(self.store.reader(), self.kept), self.facts(SqlReader(self.store.engine), Kept())
        assert kept == afresh
        return kept


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    opened = House(tmp_path)
    yield opened
    opened.store.close()


def a_day(house: House, chance: random.Random) -> Iterator[str]:
    """What may happen to a house in a day or two, step by step."""
    for _ in range(90):
        house.now_s += chance.choice((15.0, 60.0, 60.0, 600.0, 1800.0, 4 * HOUR_S))
        what = chance.choice((*["window"] * 4, *["press"] * 3, *LESS_OFTEN))
        door = chance.choice((PRESS, GARDEN))
        if what == "window":
            house.hears(
                house.made(*chance.sample((LOW, WARM), chance.randrange(3)), late_s=chance.choice((0.05, 0.05, 30.0)))
            )
        elif what == "press":
            house.hears(house.made(door))
        elif what == "presses that join":
            first, second = house.made(door), house.made(door | {"t": -0.9})
            house.hears(*chance.sample((first, second), 2))
        elif what == "withheld":
            house.withheld += [house.made(*chance.sample((door, LOW), 1)) for _ in range(3)]
        elif what == "late":
            late = [one._replace(received_s=T0 + house.now_s + house.shift_s) for one in house.withheld]
            house.hears(*chance.sample(late, len(late)))
            house.withheld.clear()
        elif what == "lost":
            house.made()
        elif what == "contact":
            house.hears(house.made({"n": "front.press", "vb": chance.random() < 0.6}))
        elif what == "power-up":
            house.power_up()
            house.hears(house.made())
        elif what == "presence":
            house.hears(alive(house.now_s + house.shift_s, chance.random() < 0.5))
        elif what == "measured":
            house.measured()
        elif what == "found":
            house.found(chance.choice((0.0, 0.6, 0.9)))
        elif what == "clock":
            house.clock_is_set(chance.choice((-700.0, 700.0, 3 * HOUR_S)))
        elif what == "rebuilt":
            house.rebuilt()
        elif what == "other stretches":
            house.since_s = {one.id: chance.choice((HOUR_S, 7 * HOUR_S, DAY_S, 3 * DAY_S)) for one in RULES}
        yield what


LESS_OFTEN = (
    "presses that join",
    "withheld",
    "late",
    "lost",
    "contact",
    "power-up",
    "presence",
    "measured",
    "found",
    "clock",
    "rebuilt",
    "other stretches",
)


@pytest.mark.parametrize("seed", range(4))
def test_whatever_happens_it_is_the_same_as_afresh(house: House, seed: int) -> None:
    happened = {what for what in a_day(house, random.Random(seed)) if house.look()}
    assert len(happened) > 8


def test_a_press_that_comes_late_stands_where_it_belongs(house: House) -> None:
    house.now_s = 600.0
    late = house.made(PRESS)
    house.now_s = 4000.0
    house.hears(house.made(PRESS))
    assert len(house.look().presses) == 1
    house.hears(late._replace(received_s=T0 + house.now_s))
    assert [round(one.start_s - T0) for one in house.look().presses] == [600, 4000]
    assert len(house.look().unseen) == 0  # and the hole is closed


def test_what_is_dated_anew_moves(house: House) -> None:
    """The first packs of a power-up come half a minute late; the next says at once how late they were."""
    house.power_up()
    house.hears(house.made(PRESS, LOW, late_s=30.0))
    house.now_s += 60.0
    before = house.look()
    house.hears(house.made())
    after = house.look()
    assert before.presses[0].start_s - after.presses[0].start_s == pytest.approx(29.95, abs=0.1)
    assert before.readings["rail_low_v"][0].at_s - after.readings["rail_low_v"][0].at_s == pytest.approx(29.95, abs=0.1)


def test_a_rebuild_elsewhere_is_noticed(house: House) -> None:
    house.now_s = 100.0
    house.hears(house.made(PRESS))
    house.now_s += 60.0
    assert len(house.look().presses) == 1
    with sqlite3.connect(house.folder / "record.sqlite") as elsewhere:  # what was derived wrongly, and nobody knows
        elsewhere.execute("UPDATE press SET start_s = start_s + 100")
    elsewhere.close()
    assert [one.start_s > T0 + 100.0 for one in house.facts(house.store.reader(), house.kept).presses] == [False]
    house.rebuilt()
    house.look()


def test_a_contact_that_stays_closed_is_held_until_the_chime_restarts(house: House) -> None:
    """However long ago it closed; after a restart it is not known to have been closed any longer."""
    house.now_s = 100.0
    house.hears(house.made({"n": "front.press", "vb": True}))
    house.since_s = {one.id: HOUR_S for one in RULES}
    for _ in range(4):
        house.now_s += HOUR_S
        house.hears(house.made())
        assert [(one.door, one.end_s) for one in house.look().presses] == [("front", None)]
    house.now_s += 600.0
    restarts_s = T0 + house.now_s
    house.power_up()
    house.hears(house.made())
    house.now_s += 60.0
    assert [one.end_s for one in house.look().presses] == [pytest.approx(restarts_s, abs=0.1)]
    house.now_s += 2 * HOUR_S
    assert house.look().presses == []


def test_little_is_read_where_little_is_new(house: House) -> None:
    """A look at a week that has been looked at before asks the record for the last hours of windows, and for no press at all."""
    for _ in range(7 * 24):
        house.now_s += HOUR_S
        house.hears(house.made(PRESS))
    house.since_s = {one.id: 7 * DAY_S for one in RULES}
    house.look()
    house.now_s += 60.0
    house.hears(house.made())
    asked = _Asked(house.store.reader())
    house.facts(asked, house.kept)  # type: ignore[arg-type]
    assert not asked.names & {"rings", "pressed_moments", "quantities", "findings", "presses", "visits", "supply"}
    assert min(asked.since_s) >= T0 + house.now_s - 2 * HOUR_S


class _Asked:
    """A reader, with what it was asked, and from when on windows were."""

    def __init__(self, reader: SqlReader) -> None:
        self._reader, self.names, self.since_s = reader, set[str](), list[float]()

    def __getattr__(self, name: str) -> Any:
        ask = getattr(self._reader, name)

        def asked(*given: Any, **more: Any) -> Any:
            self.names.add(name)
            if name in ("windows", "heard_moments"):
                self.since_s.append(given[3] if name == "windows" else given[2])
            return ask(*given, **more)

        return asked
