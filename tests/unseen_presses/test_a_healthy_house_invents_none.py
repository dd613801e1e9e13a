"""Promise: in a healthy house nobody is said to have pressed unseen, unless somebody has; where the detector is dead, everybody is.

The house is invented (Tern Cottage, `adapters/simulated/history`); its callers are known, so each entry can be held against them.
"""

from adapters.simulated import callers, history
from adapters.sql.work import SqlStore
from service.examine import take_in
from service.intake import Understander
from tests.blind_time.listening import memory

DAY_S = 86400.0
END_S = 1_789_380_000.0
SITE = "tern-cottage"


def lived(store: SqlStore, days: float, fault: str | None = None, seed: int = 1) -> tuple[float, float]:
    start_s = END_S - days * DAY_S
    take_in(store, history.history(start_s=start_s, end_s=END_S, fault=fault, seed=seed), Understander(store))
    return start_s, END_S


def test_days_of_a_healthy_house_have_no_entry() -> None:
    """Among them hours without network, after which everything comes at once."""
    with memory() as store:
        stretch = lived(store, 3.0, seed=2)
        reader = store.reader()
        assert len(reader.presses(SITE, *stretch)[0]) > 5
        assert len(reader.soundings(SITE, *stretch)) > 5  # presses and nightly surveys
        assert list(reader.unseen(SITE, *stretch)) == []


def test_a_dead_detector_leaves_an_entry_for_each_caller_and_no_other() -> None:
    """The front detector dies at seven tenths of the stretch; a caller's presses at the front door make one entry or several."""
    with memory() as store:
        start_s, end_s = lived(store, 2.2, fault="detector-dead")
        died_s = start_s + history.FAULT_FROM * (end_s - start_s)
        found = list(store.reader().unseen(SITE, start_s, end_s))
        first_s = store.reader().chimes(SITE)[0].first_heard_s
    strokes = [s for visit in callers.visits(first_s + 1000.0, end_s - 30.0, 1) for s in visit if s.door == "front"]
    missed = [s.start_s for s in strokes if s.start_s > died_s]
    assert missed
    assert all(any(abs(one.start_s - at_s) < 5.0 for at_s in missed) for one in found)
    assert all(any(one.start_s - 5.0 < at_s < one.end_s + 15.0 for one in found) for at_s in missed)
    assert {why for one in found for why in one.why} == {"rail rose"}
