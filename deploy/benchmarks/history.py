"""What a message costs in a record without presses and in one with years of them. `history.py [PRESSES]` fills 5 million by default.

Fills a record with fifty houses over ten years: two doors each, a power-up every month, visits of two presses, supply readings,
and the keys of the packs that told them. Then both records get the same batches in turn, press packs and supply packs alike:
fifty packs, one of each house, kept in one commit and understood in another. Prints microseconds per message, the ratio, and
the time of a page.
"""

import contextlib
import json
import random
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from itertools import chain
from pathlib import Path
from typing import Any

from benchmarks import rig

from adapters.sql.work import SqlStore
from service import intake
from service.model import Arrival

HOUSES, DOORS = 50, ("front", "garden")
YEARS_S = 10 * 365.25 * 86400.0
BOOTS = 120  # of each chime
READINGS = 1_000_000
ROUNDS, UNCOUNTED = 150, 10
ROUND_S = 100.0  # of the chimes' time, so that each press begins a visit of its own
DAYS = 200  # pages asked for


class Past:
    """Rows of the full record, generated in order of time. House h has row h + 1; door d of it row 2 h + d + 1."""

    def __init__(self, presses: int, end_s: float) -> None:
        self.presses, self.start_s, self.end_s = presses, end_s - YEARS_S, end_s
        self.visit_every_s = YEARS_S / (presses // 2)
        self.boot_s = YEARS_S / BOOTS
        self.packs_of_boot = (presses + READINGS) // HOUSES // BOOTS

    def boot(self, house: int, at_s: float) -> tuple[int, float]:
        """Row of the boot of that moment, and its `up` then [s]."""
        number, up_s = divmod(at_s - self.start_s, self.boot_s)
        return house * BOOTS + int(min(number, BOOTS - 1)) + 1, up_s

    def sites(self) -> Iterator[tuple[Any, ...]]:
        return ((h + 1, f"house-{h}", f"House {h} (invented)", "UTC") for h in range(HOUSES))

    def chimes(self) -> Iterator[tuple[Any, ...]]:
        level = "edges,exactly-once,presses,sound,supply"
        return ((h + 1, h + 1, "hall", 1, None, self.start_s, self.end_s, None, None, level) for h in range(HOUSES))

    def doors(self) -> Iterator[tuple[Any, ...]]:
        rows = (divmod(row, 2) for row in range(2 * HOUSES))
        return ((2 * h + d + 1, h + 1, DOORS[d], None, self.start_s) for h, d in rows)

    def boots(self) -> Iterator[tuple[Any, ...]]:
        for row in range(HOUSES * BOOTS):
            house, number = divmod(row, BOOTS)
            start_s = self.start_s + number * self.boot_s
            line, hull = (start_s, 0.0), json.dumps([[0.0, start_s], [self.boot_s, start_s]])
            last = (start_s + self.boot_s, self.boot_s, self.packs_of_boot - 1, hull)
            yield (row + 1, house + 1, number + 1, "power-on", start_s, start_s, *last, *line, *line, "the host", None)

    def heard(self) -> Iterator[tuple[Any, ...]]:
        return ((row[0], row[0], 0.0, self.boot_s, 0, self.packs_of_boot - 1, 0) for row in self.boots())

    def visits(self) -> Iterator[tuple[Any, ...]]:
        for visit in range(self.presses // 2):
            start_s = self.start_s + visit * self.visit_every_s
            yield (visit + 1, visit % (2 * HOUSES) + 1, start_s, start_s + 4.4)

    def press_rows(self) -> Iterator[tuple[Any, ...]]:
        for visit, door, start_s, _ in self.visits():
            boot, up_s = self.boot((door - 1) // 2, start_s)
            for n, at in ((1, 0.0), (2, 4.0)):
                times = (up_s + at, up_s + at + 0.4, start_s + at, start_s + at + 0.4)
                yield (2 * visit - 2 + n, door, boot, visit, *times, "edges", 20, 0.013, 0, 0, 0.013, None)

    def soundings(self) -> Iterator[tuple[Any, ...]]:
        for visit, door, start_s, _ in self.visits():
            boot, up_s = self.boot((door - 1) // 2, start_s)
            yield (visit, (door + 1) // 2, boot, up_s + 0.1, up_s + 2.1, start_s + 0.1, start_s + 2.1)

    def readings(self) -> Iterator[tuple[Any, ...]]:
        for n in range(READINGS):
            at_s, house = self.start_s + n * YEARS_S / READINGS, n % HOUSES
            boot, up_s = self.boot(house, at_s)
            yield (n + 1, house + 1, boot, up_s, at_s, 10.0, 14.2, 13.9, 14.5, None, 5.01, None, 19.5, -92.0)

    def testimony(self) -> Iterator[tuple[Any, ...]]:
        """Of the packs that told them; numbered below zero, since their bytes are not there."""
        told = chain(
            ((row[2], "event", row[4]) for row in self.press_rows()),
            ((row[2], "window", row[3]) for row in self.readings()),
        )
        return ((n - self.presses - READINGS, *row) for n, row in enumerate(told))

    def keys(self) -> Iterator[tuple[int, int, int]]:
        for boot in range(1, HOUSES * BOOTS + 1):
            for seq in range(self.packs_of_boot):
                yield (boot, seq, random.getrandbits(63))


def fill(path: Path, past: Past, presses: bool = True) -> None:
    """Into the real tables, quickly: secondary indexes are dropped before and made again afterwards, as they were.

    Without presses: the same chimes, as long at work, that have told nothing yet.
    """
    SqlStore(f"sqlite:///{path}").close()
    with contextlib.closing(sqlite3.connect(path)) as database:
        database.executescript("PRAGMA synchronous = OFF; PRAGMA cache_size = -200000")
        indexes = database.execute(
            "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND sql NOT NULL"
        ).fetchall()
        for name, _ in indexes:
            database.execute(f"DROP INDEX {name}")
        chimes = (
            ("site", past.sites()), ("chime", past.chimes()), ("door", past.doors()), ("boot", past.boots()), ("heard", past.heard()),
        )  # fmt: skip
        told = (
            ("visit", past.visits()), ("press", past.press_rows()), ("sounding", past.soundings()),
            ("reading", past.readings()), ("pack_key", past.keys()), ("testimony", past.testimony()),
        )  # fmt: skip
        for table, rows in (*chimes, *told) if presses else chimes:
            columns = len(database.execute(f"PRAGMA table_info({table})").fetchall())
            database.executemany(f"INSERT INTO {table} VALUES ({','.join('?' * columns)})", rows)
        for _, sql in indexes:
            database.execute(sql)
        database.commit()
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def batch(past: Past, number: int, press: bool) -> list[Arrival]:
    """One pack of each house, in the boot that was the last one of the full record, after that record's end."""
    after_s = number * ROUND_S + (0.0 if press else ROUND_S / 2)
    seq = past.packs_of_boot + 2 * number + (not press)
    arrivals = []
    for house in range(HOUSES):
        payload = rig.pack(seq, BOOTS, past.boot_s + after_s, press, door=DOORS[number % 2])
        delay_s = random.expovariate(1 / 0.005)
        arrivals.append(
            Arrival(f"bellcrank/1/house-{house}/hall/pack", payload, past.end_s + after_s + delay_s, "mqtt")
        )
    return arrivals


def take(store: SqlStore, understander: intake.Understander, arrivals: list[Arrival]) -> tuple[float, float]:
    """Seconds for keeping and for understanding."""
    begin = time.perf_counter()
    intake.receive(store, arrivals)
    kept = time.perf_counter()
    count = understander.process_pending(len(arrivals))
    end = time.perf_counter()
    assert count == len(arrivals), count
    store.fresh_events()
    return kept - begin, end - kept


def compare(past: Past, empty: SqlStore, full: SqlStore) -> None:
    both = [(store, intake.Understander(store)) for store in (empty, full)]
    before = [store.reader().counts() for store, _ in both]
    total: dict[str, list[list[float]]] = {}
    for number in range(ROUNDS):
        for kind in ("press", "supply"):
            arrivals = batch(past, number, kind == "press")
            times = [take(*both[i], arrivals) for i in ((0, 1) if number % 2 else (1, 0))]
            ordered = times if number % 2 else times[::-1]
            if number >= UNCOUNTED:
                for part in (0, 1):
                    name = ("keep", "understand")[part]
                    total.setdefault(f"{kind} packs, {name}", []).append([t[part] for t in ordered])
                total.setdefault(f"{kind} packs", []).append([sum(t) for t in ordered])
    for (store, _), earlier in zip(both, before, strict=True):
        counts = store.reader().counts()
        sent = 2 * ROUNDS * HOUSES
        assert (counts.kept - earlier.kept, counts.pending) == (sent, 0), counts
        assert (counts.duplicates, counts.quarantined, counts.unexpected) == (0, 0, 0), counts
    ratios = []
    for name in sorted(total):
        empty_us, full_us = (statistics.median(pair[i] for pair in total[name]) / HOUSES * 1e6 for i in (0, 1))
        mean = sum(pair[1] for pair in total[name]) / sum(pair[0] for pair in total[name])
        print(
            f"{name}: empty {empty_us:.0f} us, full {full_us:.0f} us a message, ratio {full_us / empty_us:.2f} (of means {mean:.2f})"
        )
        if "," not in name:
            ratios.append(mean)
    all_of = [sum(pair[i] for kind in ("press packs", "supply packs") for pair in total[kind]) for i in (0, 1)]
    print(f"cost of a message, full to empty record: {all_of[1] / all_of[0]:.2f} (target at most 1.1)")


def pages(past: Past, store: SqlStore) -> None:
    """The visits of one house on one day, anywhere in ten years."""
    reader, times, found = store.reader(), [], 0
    for _ in range(DAYS):
        start_s = past.start_s + random.random() * (YEARS_S - 86400.0)
        begin = time.perf_counter()
        visits, _ = reader.visits(f"house-{random.randrange(HOUSES)}", start_s, start_s + 86400.0)
        times.append(time.perf_counter() - begin)
        found += len(visits)
    p50, p99 = rig.percentiles(times)
    print(
        f"visits of one house on one day: p50 {p50 * 1e3:.1f} ms, p99 {p99 * 1e3:.1f} ms, {found / DAYS:.0f} visits each"
    )


def main() -> None:
    presses = int(sys.argv[1]) if len(sys.argv) > 1 else 5_000_000
    random.seed(1)
    past = Past(presses, time.time() - 2 * ROUNDS * ROUND_S)
    with tempfile.TemporaryDirectory() as name:
        full_path = Path(name) / "full.sqlite"
        begin = time.monotonic()
        fill(full_path, past)
        size_mb = full_path.stat().st_size / 1e6
        print(f"filled {presses} presses and {READINGS} readings in {time.monotonic() - begin:.0f} s, {size_mb:.0f} MB")
        empty_path = Path(name) / "empty.sqlite"
        fill(empty_path, past, presses=False)
        empty, full = (SqlStore(f"sqlite:///{path}") for path in (empty_path, full_path))
        compare(past, empty, full)
        pages(past, full)
        empty.close()
        full.close()


if __name__ == "__main__":
    main()
