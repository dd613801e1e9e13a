"""Tern Cottage with its alarms: a record in a file, a clock set by hand, packs by the minute."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from adapters.sql.work import SqlStore
from dashboard import assets, pages
from service.alarm_actions import AlarmActions
from service.alarm_ports import KeptRule
from service.alarming import Alarming
from service.health import Health
from service.model import Event
from service.ports import Work
from tests.blind_time.listening import minutes, take_in
from tests.builders import CHIME, SITE, T0

T = TypeVar("T")


@dataclass
class Cottage:
    """`now_s` counts from T0. `told`: alarm events in order."""

    store: SqlStore
    now_s: float = 0.0
    told: list[Event] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.restart()

    def do(self, action: Callable[[Work], T], timeout_s: float = 10.0) -> T:
        with self.store.work() as work:
            answer = action(work)
        for event in self.store.fresh_events():
            self.alarming.told(event)
            self.told += [event] if event.kind == "alarm" else []
        return answer

    def restart(self) -> None:
        reader = self.store.reader()
        self.alarming = Alarming(reader, self, lambda: T0 + self.now_s)
        self.actions = AlarmActions(reader, self, self.alarming, lambda: T0 + self.now_s, lambda do, *more: do(*more))  # type: ignore[arg-type]

    def hears(self, *more: Any, until_s: float, **words: Any) -> None:
        """Everything given is taken in, and it is `until_s`."""
        take_in(self.store, list(more), **words)
        self.tick(until_s)

    def tick(self, now_s: float) -> None:
        self.now_s = now_s
        for event in self.store.fresh_events():
            self.alarming.told(event)
        self.alarming.tick()

    def alarm(self, rule: str) -> KeptRule:
        return self.actions.rule(SITE, CHIME, rule)

    def state(self, rule: str) -> str:
        standing = self.alarm(rule).standing
        return standing.alarm.state.value if standing else ""

    def said(self) -> list[tuple[str, str, str]]:
        """Of each alarm event: the rule, what happened, and how it stands."""
        return [(event.data["rule"], event.data["event"], event.data["state"]) for event in self.told]


@pytest.fixture
def cottage(tmp_path: Path) -> Iterator[Cottage]:
    """A claimed chime that was heard for five minutes."""
    store = SqlStore(f"sqlite:///{tmp_path / 'record.sqlite'}", "Europe/London")
    take_in(store, minutes(0, 5))
    with store.work() as work:
        work.claim(SITE, CHIME, None)
    store.fresh_events()
    opened = Cottage(store, 306.0)
    opened.alarming.tick()
    yield opened
    store.close()


@pytest.fixture
def client(cottage: Cottage) -> Iterator[TestClient]:
    """Its pages."""
    app = FastAPI()
    app.mount(assets.MOUNTED_AT, assets.Assets(), name="static")
    router = pages.build(
        cottage.store.reader(),
        None,  # type: ignore[arg-type] - what else people do is not asked here
        Health("0.1.0", T0, "127.0.0.1:7433"),
        lambda: T0 + cottage.now_s,
        alarms=cottage.actions,
    )
    app.router.routes.extend(router.routes)
    with TestClient(app) as opened:
        yield opened
