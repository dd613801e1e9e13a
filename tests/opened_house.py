"""Tern Cottage with pages and API over a record in a file, the keeper at work, and a clock that is moved by hand."""

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from fastapi.testclient import TestClient

from adapters import capture_api, fitout_api, http_api, problems
from adapters.sql.work import SqlStore
from dashboard import assets, fitout_plot, pages
from service.actions import Actions
from service.captures import Captures
from service.health import Health
from service.intake import Understander, receive
from service.keeper import Keeper
from service.model import Arrival
from tests.builders import T0
from tests.fakes import FakeSource

SITE, CHIME = "tern-cottage", "hall"


@dataclass
class OpenedHouse:
    client: TestClient
    store: SqlStore
    understander: Understander
    clock: list[float]
    asked: list[tuple[str, str, str]] = field(default_factory=list)

    def hear(self, arrivals: Sequence[Arrival]) -> None:
        receive(self.store, arrivals)
        while self.understander.process_pending():
            pass


@contextmanager
def open_house(
    folder: Path,
    arrivals: Sequence[Arrival],
    sheet: dict[str, Any] | None = None,
    *,
    on_paper: Callable[[str], bytes] | None = None,
) -> Iterator[OpenedHouse]:
    """`sheet`: its fit-out, kept. What the chime is asked is written down; a capture is looked at in this process."""
    store = SqlStore(f"sqlite:///{folder / 'record.sqlite'}", "Europe/London")
    health, understander, clock = Health("0.0", T0, "127.0.0.1:7433"), Understander(store), [T0 + 1000.0]
    receive(store, arrivals)
    while understander.process_pending():
        pass
    with store.work() as work:
        work.claim(SITE, CHIME, "Tern Cottage")
        if sheet is not None:
            work.keep_fitout(SITE, CHIME, sheet, T0, "Ann")

    def now_s() -> float:
        return clock[0]

    keeper = Keeper(store, FakeSource([]), understander, health, now_s, lambda _: None)
    thread = threading.Thread(target=keeper.run)
    thread.start()
    captures = Captures(store.reader(), keeper, now_s, lambda work, *given: work(*given))
    asked: list[tuple[str, str, str]] = []
    app = FastAPI()
    problems.install(app)
    app.mount(assets.MOUNTED_AT, assets.Assets())
    for part in (
        http_api.build(store.reader(), keeper, Actions(keeper), health, now_s, "bellcrank"),
        capture_api.build(store.reader(), captures),
        fitout_api.build(fitout_plot.plot),
        pages.build(
            store.reader(),
            Actions(keeper),
            health,
            now_s,
            captures=captures,
            ask=lambda *given: asked.append(given),
            on_paper=on_paper,
        ),
    ):
        app.include_router(part)
    try:
        with TestClient(app, base_url="http://localhost:7433") as client:
            yield OpenedHouse(client, store, understander, clock, asked)
    finally:
        keeper.stop()
        thread.join()
        store.close()
