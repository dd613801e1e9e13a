"""The API over a record in a file, with the keeper at work."""

import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from adapters import http_api, live, problems
from adapters.guard import Guard
from adapters.sql.work import SqlStore
from service.actions import Actions
from service.health import Health
from service.hub import Hub
from service.intake import Understander, receive
from service.keeper import Keeper
from tests.builders import PRESS, T0, arrival, pack
from tests.fakes import FakeSource


@dataclass(frozen=True)
class House:
    client: TestClient
    store: SqlStore
    app: FastAPI
    health: Health
    hub: Hub


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """Tern Cottage with three presses, claimed; the clock stands at T0 + 1000 s."""
    store = SqlStore(f"sqlite:///{tmp_path / 'record.sqlite'}", "Europe/London")
    health, hub = Health("0.0", T0, "127.0.0.1:7433"), Hub()
    understander = Understander(store)
    window = [{"n": "rail.mean", "u": "V", "v": 14.2}, {"n": "rail.window", "u": "s", "v": 60}]
    receive(store, [arrival(pack(seq, PRESS, *window), 100.0 * (seq + 1) + 0.05) for seq in range(3)])
    receive(store, [arrival(b"[]", 500.0)])
    understander.process_pending()
    keeper = Keeper(store, FakeSource([]), understander, health, lambda: T0 + 1000.0, hub.tell)
    thread = threading.Thread(target=keeper.run)
    thread.start()
    app = FastAPI(openapi_url="/api/v1/openapi.json")
    problems.install(app)
    app.add_middleware(Guard, loopback_only=True)
    clock = lambda: T0 + 1000.0  # noqa: E731
    app.include_router(http_api.build(store.reader(), keeper, Actions(keeper), health, clock, "bellcrank"))
    app.include_router(live.build(store.reader(), hub))
    with TestClient(app, base_url="http://localhost:7433") as client:
        yield House(client, store, app, health, hub)
    keeper.stop()
    thread.join()
    store.close()
