"""Promise: the live chime of a demonstration is the one of its invented past: nothing is missing between, and no alarm greets whoever
opens it. What a real chime does that was on all the time, while its bridge was started."""

import shutil
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import TypeVar

import pytest

from adapters.simulated import history
from adapters.simulated.chime import Life
from adapters.simulated.house import GOES_ON_WITHIN_S, BootCounter
from adapters.simulated.installation import CHIME, SITE
from adapters.sql.work import SqlStore
from service.alarming import Alarming
from service.examine import take_in
from service.intake import Understander, receive
from service.model import Arrival
from service.ports import Work
from tests.simulated.rig import BASE, START_S, Rig

DAYS_S, BEFORE_S, AFTER_S = 8 * 86_400.0, 1800.0, 200.0
STAND = (None, "reservoir-aged")
T = TypeVar("T")


class Demo:
    """A record with an invented past up to `START_S`, and what it left for the live chime."""

    def __init__(self, folder: Path, fault: str | None) -> None:
        self.fault, self.store = fault, SqlStore(f"sqlite:///{folder / 'record.sqlite'}")
        self.counter = BootCounter(folder / f"simulated-{CHIME}.json")

    def invent(self, folder: Path) -> None:
        past = history.history(start_s=START_S - DAYS_S, end_s=START_S, data_dir=folder, fault=self.fault)
        take_in(self.store, past, Understander(self.store))
        with self.store.work() as work:
            work.claim(SITE, CHIME, "Tern Cottage")

    def do(self, action: Callable[[Work], T], timeout_s: float = 10.0) -> T:
        with self.store.work() as work:
            return action(work)

    def live(self, later_s: float, life: Life | None) -> None:
        """The chime begins so much later, and is heard for some minutes."""
        rig = Rig(self.fault, at_s=later_s, goes_on=life, next_boot=self.counter.next)
        rig.run(later_s + AFTER_S)
        packs = [Arrival(f"{BASE}/pack", told, START_S + at_s) for at_s, what, told in rig.said if what == "pack"]
        receive(self.store, packs)
        while Understander(self.store).process_pending(100):
            pass


@pytest.fixture(scope="module", params=STAND)
def invented(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str | None]:
    folder = tmp_path_factory.mktemp("house")
    demo = Demo(folder, request.param)
    demo.invent(folder)
    demo.store.close()
    return folder, request.param


@pytest.fixture
def demo(invented: tuple[Path, str | None], tmp_path: Path) -> Iterator[Demo]:
    past, fault = invented
    opened = Demo(Path(shutil.copytree(past, tmp_path / "copy")), fault)
    yield opened
    opened.store.close()


@pytest.mark.parametrize("later_s", [20.0, 300.0])
def test_nothing_is_missing_between(demo: Demo, later_s: float) -> None:
    life = demo.counter.goes_on(START_S + later_s)
    assert life is not None
    demo.live(later_s, life)
    reader, since_s, now_s = demo.store.reader(), START_S - BEFORE_S, START_S + later_s + AFTER_S
    assert [one for one in reader.blind_spells(SITE, since_s, now_s, now_s) if one.door is None] == []
    assert {one.number for one in reader.boots(SITE, CHIME, since_s, now_s)} == {life.boot}
    windows = [one for one in reader.supply(SITE, CHIME, since_s, now_s) if one.mean_v is not None]
    assert {round(after.end_s - before.end_s) for before, after in pairwise(windows)} == {60}
    assert len(windows) >= (BEFORE_S + later_s + AFTER_S) // 60.0 - 1
    volts = [one.mean_v or 0.0 for one in windows]
    assert max(volts) - min(volts) < 0.5  # the same house; the invented mains wanders by 0.3 V in half an hour


def test_no_alarm_greets_whoever_opens_it(demo: Demo) -> None:
    life = demo.counter.goes_on(START_S + 90.0)
    now_s = [START_S + 10.0]
    alarming = Alarming(demo.store.reader(), demo, lambda: now_s[0])
    alarming.tick()
    demo.live(90.0, life)
    for later_s in (100.0, 290.0, 3600.0):
        now_s[0] = START_S + later_s
        alarming.tick()
    assert demo.store.reader().alarm_transitions(SITE, CHIME, 0.0, START_S + 1e6) == []


def test_a_chime_that_did_not_go_on_was_without_power(demo: Demo) -> None:
    """The power-up is handed on once, and not to a chime that is started much later."""
    assert demo.counter.goes_on(START_S + GOES_ON_WITHIN_S + 61.0) is None
    assert demo.counter.goes_on(START_S + 10.0) is None
    demo.live(90.0, None)
    now_s = START_S + 290.0
    spells = demo.store.reader().blind_spells(SITE, START_S - 600.0, now_s, now_s)
    assert "chime without power" in {one.why for one in spells}
