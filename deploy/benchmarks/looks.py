"""What a look at the alarms of a chime costs, with what the look before has left at hand and without, and what is kept for it.

Nine days of the invented house, then sixty looks a minute apart, each after a pack; processor time, so that a busy machine matters less.
Each way walks a record of its own, and the ratio is between medians.
"""

import json
import statistics
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

from adapters.simulated import history
from adapters.simulated.installation import CHIME, SITE
from adapters.sql.work import SqlStore
from service import alarm_kept, alarming
from service.examine import take_in
from service.intake import Understander, receive
from service.model import Arrival
from service.ports import Work

DAYS, LOOKS, START_S = 9.0, 60, 1_793_000_000.0
END_S = START_S + DAYS * 86_400.0
T = TypeVar("T")


class Writer:
    """Does what a keeper does, at once."""

    def __init__(self, store: SqlStore) -> None:
        self._store = store

    def do(self, action: Callable[[Work], T], timeout_s: float = 10.0) -> T:
        with self._store.work() as work:
            return action(work)


def pack(number: int) -> Arrival:
    records: list[dict[str, Any]] = [
        {"n": "boot", "v": 1000},
        {"n": "seq", "v": number},
        {"n": "up", "u": "s", "v": 5.0 + 60.0 * number},
        {"n": "rail.mean", "u": "V", "v": 14.2},
        {"n": "rail.window", "u": "s", "v": 60},
    ]
    payload = json.dumps(records).encode()
    return Arrival(f"bellcrank/1/{SITE}/{CHIME}/pack", payload, END_S + 5.0 + 60.0 * number)


def looks_s(folder: Path, keeping: bool) -> tuple[list[float], int]:
    """Processor time of each look [s], and what is kept at the end [bytes]."""
    store = SqlStore(f"sqlite:///{folder / f'{keeping}.sqlite'}", "Europe/London")
    take_in(store, history.history(start_s=START_S, end_s=END_S), Understander(store))
    with store.work() as work:
        work.claim(SITE, CHIME, None)
    now_s = [END_S]
    looking = alarming.Alarming(store.reader(), Writer(store), lambda: now_s[0])
    looking.look(store.reader().chime(SITE, CHIME), now_s[0])
    times = []
    for number in range(LOOKS):
        now_s[0] = END_S + 6.0 + 60.0 * number
        receive(store, [pack(number)])
        Understander(store).process_pending(10)
        chime = store.reader().chime(SITE, CHIME)
        if not keeping:
            looking._kept.clear()
        begin = time.thread_time()
        looking.look(chime, now_s[0])
        times.append(time.thread_time() - begin)
    size = _size_of(looking, store, now_s[0])
    store.close()
    return times, size


def _size_of(looking: alarming.Alarming, store: SqlStore, now_s: float) -> int:
    """What a look leaves at hand that had nothing."""
    looking._kept.clear()
    tracemalloc.start()
    looking.look(store.reader().chime(SITE, CHIME), now_s)
    found = sum(one.size for one in tracemalloc.take_snapshot().filter_traces(_KEPT).statistics("filename"))
    tracemalloc.stop()
    return found


_KEPT = [tracemalloc.Filter(True, alarm_kept.__file__), tracemalloc.Filter(True, "*fact_reader.py")]


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        (kept, size), (afresh, _) = looks_s(Path(name), True), looks_s(Path(name), False)
    both = [1e3 * statistics.median(times) for times in (afresh, kept)]
    worst = 1e3 * max(kept)
    print(
        f"a look at the alarms of a chime: {both[1]:.1f} ms with what is kept (worst {worst:.1f} ms), {both[0]:.1f} ms without, "
        f"ratio {both[0] / both[1]:.1f}; kept {size / 1e3:.0f} kB"
    )
    sys.exit(0)


if __name__ == "__main__":
    main()
