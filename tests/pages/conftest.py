"""The pages over an invented record, at a clock that stands at 18.20 on 25 November 2026."""

from collections.abc import Callable, Iterator

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from adapters.calendars import read_away
from dashboard import assets, pages
from service.health import Health
from service.teaching import Teaching
from tests.pages.tern_cottage import NOW_S, Record, health

Opened = Callable[..., TestClient]


@pytest.fixture
def opened() -> Iterator[Opened]:
    """Pages over a record; `now_s` and `health` may be given."""
    clients: list[TestClient] = []

    def open_pages(record: Record, now_s: float = NOW_S, told: Health | None = None) -> TestClient:
        """Lessons are taught, and calendars read, as in the service; the clock stands unless `record.clock` moves it."""
        app = FastAPI()
        record.clock = lambda: now_s
        app.mount(assets.MOUNTED_AT, assets.Assets())
        lessons = Teaching(record, record, lambda: record.clock(), later=lambda after_s, action: None)  # type: ignore[arg-type]
        router = pages.build(
            record, record, told or health(), lambda: record.clock(), lessons=lessons, read_calendar=read_away
        )
        app.include_router(router)
        clients.append(TestClient(app, base_url="http://localhost:7433"))
        return clients[-1]

    yield open_pages
    for client in clients:
        client.close()
