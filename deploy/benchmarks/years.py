"""How long the pages of a house take that has ten years behind it. `years.py [YEARS_OF_READINGS]` (1).

One house: two doors, 200,000 presses in 100,000 visits, a power-up every month, a survey a day, and a supply reading every ten seconds. The
readings themselves are written for the last year only (as many as asked for), since the earlier ones are read from the hours and days
to which they are joined, and those are written for all ten. Prints milliseconds of the server, p50 and p95, of every page.
"""

import contextlib
import json
import math
import socket
import sqlite3
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import uvicorn

from adapters.sql.work import SqlStore
from service import bootstrap
from service.actions import Actions
from service.health import Health
from service.hub import Hub
from service.processes import settle
from service.settings import Settings

DAY_S, YEAR_S = 86_400.0, 365.25 * 86_400.0
PRESSES, TOLD = 200_000, 20
SITE, CHIME = "tern-cottage", "hall"
PAGES = (
    ("/", "Doorstep"), ("/house/{s}/callers", "Callers"), ("/house/{s}/supply", "Supply"),
    ("/house/{s}/chime/{c}/supply", "Supply, ten years"),
    ("/house/{s}/alarms", "Alarms"), ("/house/{s}/fitout", "Fit-out"), ("/house/{s}/bench", "Bench"), ("/house/{s}/report", "Report"),
    ("/house/{s}/set-aside", "Set aside"), ("/house/{s}/names", "Names"), ("/house/{s}/visit/50000", "A visit"),
    ("/house/{s}/found?words=postman", "Found: a name"), ("/house/{s}/found?words=family", "Found: a cadence"),
    ("/house/{s}/found?words=front", "Found: a door"),
)  # fmt: skip
SHEET = {"mains_hz": 50, "transformer_v": 12, "transformer_va": 8, "reservoir_f": 1e-3, "idle_a": 8e-3, "sound_a": 0.12, "regulator_v": 5.0,
         "dropout_v": 7.0, "doors": {"front": {"diode": True}, "garden": {"diode": False}}}  # fmt: skip

FAMILY = {
    "name": "family",
    "holds_s": [0.2, 0.9],
    "gaps_s": [0.4],
    "evidence": 6.0,
    "recognised": 0.95,
    "mistaken": 0.001,
}
"""In no visit of this house, though every one has presses enough: all that may be looked through is."""


def rows(end_s: float, years: float) -> Iterator[tuple[str, Iterator[tuple[Any, ...]]]]:
    start_s = end_s - 10.0 * YEAR_S
    boot_s = 10.0 * YEAR_S / 120
    visit_s = 10.0 * YEAR_S / (PRESSES // 2)

    def boot_of(at_s: float) -> tuple[int, float]:
        number, up_s = divmod(at_s - start_s, boot_s)
        return int(min(number, 119)) + 1, up_s

    def boots() -> Iterator[tuple[Any, ...]]:
        for n in range(120):
            at_s = start_s + n * boot_s
            hull = json.dumps([[0.0, at_s], [boot_s, at_s]])
            last = (at_s + boot_s, boot_s, 9999, hull)
            yield (n + 1, 1, n + 1, "power-on", at_s, at_s, *last, at_s, 0.0, at_s, 0.0, "the host", None)

    def visits() -> Iterator[tuple[int, int, float]]:
        for n in range(PRESSES // 2):
            yield n + 1, 1 + (n % 3 == 2), start_s + n * visit_s + 7_000.0 * math.sin(n)

    def presses() -> Iterator[tuple[Any, ...]]:
        for visit, door, at_s in visits():
            for k, after_s in ((1, 0.0), (2, 3.0)):
                boot, up_s = boot_of(at_s + after_s)
                times = (up_s, up_s + 0.4, at_s + after_s, at_s + after_s + 0.4)
                yield (2 * visit - 2 + k, door, boot, visit, *times, "edges", 20, 0.013, 0, 0, 0.013, visit)

    def soundings() -> Iterator[tuple[Any, ...]]:
        for visit, _, at_s in visits():
            boot, up_s = boot_of(at_s)
            yield (visit, 1, boot, up_s + 0.1, up_s + 2.1, at_s + 0.1, at_s + 2.1)

    def readings() -> Iterator[tuple[Any, ...]]:
        count = int(years * YEAR_S / 10.0)
        for n in range(count):
            at_s = end_s - 10.0 * (count - n)
            boot, up_s = boot_of(at_s)
            mean = 14.2 + 0.2 * math.sin(at_s / 13_751.0)
            yield (n + 1, 1, boot, up_s, at_s, 10.0, mean, mean - 0.3, mean + 0.3, None, 5.01, 5.0, 19.5, -92.0)

    def joined(length_s: int) -> Iterator[tuple[Any, ...]]:
        last_s = (end_s - 7_200.0) // length_s * length_s
        at_s = start_s // length_s * length_s
        while at_s < last_s:
            mean = 14.2 + 0.2 * math.sin(at_s / 1e6)
            yield (1, length_s, at_s, length_s // 10, float(length_s), mean, 13.7, 14.7, 9.4, 5.0, 19.5, -92.0)
            at_s += length_s

    def bursts() -> Iterator[tuple[Any, ...]]:
        """Three a day of 200 ms at 2 kHz: a rail that rises in a fifth of each cycle and falls in the rest."""
        shape = [2800 + (40 * n // 8 if n < 8 else 40 - 40 * (n - 8) // 32) for n in range(40)]
        codes = b"".join(code.to_bytes(2, "little", signed=True) for code in 10 * shape)
        for n in range(3 * 3652):
            day, kind = divmod(n, 3)
            at_s = start_s + day * DAY_S + 12_000.0 + kind
            boot, up_s = boot_of(at_s)
            yield (n + 1, 1, boot, ("idle", "test", "sound")[kind], up_s, at_s, 2000.0, 0.005, codes, False)

    yield "site", iter([(1, SITE, "Tern Cottage (invented)", "Europe/London")])
    yield (
        "chime",
        iter([(1, 1, CHIME, 1, None, start_s, end_s, 1, start_s, "bursts,edges,exactly-once,presses,sound,supply")]),
    )
    yield "door", iter([(1, 1, "front", "Front door", start_s), (2, 1, "garden", "Garden door", start_s)])
    yield "boot", boots()
    yield "heard", ((n + 1, n + 1, 0.0, boot_s, 0, 9999, 0) for n in range(120))
    yield "visit", ((visit, door, at_s, at_s + 3.4) for visit, door, at_s in visits())
    yield "press", presses()
    yield "sounding", soundings()
    yield (
        "visit_note",
        ((door, visit, "the postman", None, "Ann", at_s) for visit, door, at_s in visits() if visit % 250 == 0),
    )
    yield "cadence", iter([(1, 1, "family", start_s, "Ann", json.dumps(FAMILY))])
    yield "reading", readings()
    yield "waveform", bursts()
    yield "roll_up", joined(3600)
    yield "roll_up", joined(86_400)
    yield "rolled", iter([(1, (end_s - 7_200.0) // 3600 * 3600, int(years * YEAR_S / 10.0))])


def fill(path: Path, end_s: float, years: float) -> None:
    store = SqlStore(f"sqlite:///{path}", "Europe/London")
    with contextlib.closing(sqlite3.connect(path)) as database:
        database.executescript("PRAGMA synchronous = OFF; PRAGMA cache_size = -200000")
        for table, found in rows(end_s, years):
            columns = len(database.execute(f"PRAGMA table_info({table})").fetchall())
            database.executemany(f"INSERT INTO {table} VALUES ({','.join('?' * columns)})", found)
        database.commit()
    from service.findings.life import Held, State, Step
    from service.findings.verdict import EvidenceLine, Finding, Measured

    with store.work() as work:
        work.keep_fitout(SITE, CHIME, SHEET, end_s - 10.0 * YEAR_S, "bench")
        for day in range(3652):
            at_s, worn = end_s - 10.0 * YEAR_S + day * DAY_S, 1.0 - 2e-5 * day
            figures = {"reservoir_f": 1e-3 * worn, "ripple_v": 0.14 / worn, "headroom_v": 5.9 * worn}
            figures |= {"source_ohm": 5.7, "open_circuit_v": 14.4, "idle_a": 8e-3, "sound_a": 0.12}
            told = {name: Measured(v, 0.97 * v, 1.03 * v) for name, v in figures.items()}
            work.add_quantities(SITE, CHIME, at_s, told)
        aged = EvidenceLine("reservoir_f", 9.3e-4, 9.0e-4, 9.6e-4, 1e-3)
        found = Finding("reservoir-aged", 0.95, None, (), end_s - 90.0 * DAY_S, (aged,))
        work.put_finding(SITE, CHIME, Step(Held(0, SITE, CHIME, found, State.CONFIRMED, end_s - 90.0 * DAY_S, end_s)))
    store.close()


class Nobody:
    """A keeper for pages that change nothing but the time of the last look."""

    def __init__(self, store: SqlStore) -> None:
        self._store = store

    def do(self, action: Any, timeout_s: float = 10.0) -> Any:
        with self._store.work() as work:
            return action(work)


@contextmanager
def served(folder: Path, now_s: float, years: float) -> Iterator[str]:
    """The house behind pages and API at a free port of this machine; gives its address."""
    path = folder / "record.sqlite"
    begun_s = time.perf_counter()
    fill(path, now_s, years)
    print(f"filled in {time.perf_counter() - begun_s:.0f} s, {path.stat().st_size / 1e6:.0f} MB", flush=True)
    store = SqlStore(f"sqlite:///{path}", "Europe/London")
    health, hub, keeper = Health("0", now_s, "127.0.0.1:7433"), Hub(), Nobody(store)
    app = bootstrap.build_app(
        store.reader(), keeper, Actions(keeper), health, hub, Settings(data=folder), time.time  # type: ignore[arg-type]
    )  # fmt: skip
    settle()  # as the service does before it opens
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        server = uvicorn.Server(uvicorn.Config(app, log_level="error"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        while not server.started:
            time.sleep(0.05)
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
        server.should_exit = True
        thread.join()
    store.close()


def main() -> None:
    years = float(sys.argv[1]) if len(sys.argv) > 1 else 1.0
    with tempfile.TemporaryDirectory() as folder, served(Path(folder), time.time(), years) as url:
        for path, name in PAGES:
            request = urllib.request.Request(url + path.format(s=SITE, c=CHIME), headers={"accept-encoding": "gzip"})
            taken, size = [], 0
            for _ in range(TOLD + 1):
                begun_s = time.perf_counter()
                with urllib.request.urlopen(request) as answer:
                    size = len(answer.read())
                taken.append(1000.0 * (time.perf_counter() - begun_s))
            taken = sorted(taken[1:])
            print(
                f"{name:20} p50 {taken[TOLD // 2]:6.1f} ms, p95 {taken[int(0.95 * TOLD) - 1]:6.1f} ms, {size / 1000:5.1f} kB",
                flush=True,
            )


if __name__ == "__main__":
    main()
