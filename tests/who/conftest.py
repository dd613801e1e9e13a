"""Tern Cottage over the API, with the keeper at work, a clock set by hand, and contacts that a chime tells as they change."""

import select
import shutil
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from adapters import http_api, problems
from adapters.sql.work import SqlStore
from service.actions import Actions
from service.health import Health
from service.hub import Hub
from service.intake import Understander
from service.keeper import Keeper
from service.teaching import Teaching
from tests.builders import T0, pack
from tests.fakes import FakeSource

API = "/api/v1/sites/tern-cottage"
PACKS = f"{API}/chimes/hall/packs"
JSON = {"content-type": "application/senml+json"}
Presses = Sequence[tuple[float, float]]


@dataclass
class House:
    """`now_s` may be set. `later` holds what is to be called after a press, with its delay [s]."""

    client: TestClient
    store: SqlStore
    path: Path
    now_s: float = T0 + 10.0
    seq: int = 0
    later: list[tuple[float, Callable[[], None]]] = field(default_factory=list)

    def take(self, *records: dict[str, Any], up_s: float, boot: int = 1, since_s: float = T0) -> None:
        """A pack made `up_s` after a power-up at `since_s` comes at once; the clock stands at its arrival, or stays."""
        self.now_s = max(self.now_s, since_s + up_s + 0.05)
        content = pack(self.seq, *records, boot=boot, up_s=up_s)
        self.seq += 1
        assert self.client.post(PACKS, content=content, headers=JSON).status_code == 202
        while self.store.reader().counts().pending:  # the keeper understands it in its own thread
            pass

    def ring(self, *presses: tuple[float, float], door: str = "front", **more: Any) -> None:
        """One pack that tells of presses, (begin, end) in the chime's own time, made a tenth of a second after the last."""
        up_s = max(end for _, end in presses) + 0.1
        self.take(*contact(door, presses, up_s), up_s=up_s, **more)

    def phrase(self, at_s: float, holds_s: Sequence[float], gaps_s: Sequence[float], **more: Any) -> None:
        presses = []
        for hold, gap in zip(holds_s, [*gaps_s, 0.0], strict=True):
            presses.append((at_s, at_s + hold))
            at_s += hold + gap
        self.ring(*presses, **more)

    def get(self, path: str, status: int = 200, **params: Any) -> Any:
        answer = self.client.get(f"{API}{path}", params=params)
        assert answer.status_code == status, answer.text
        return answer.json()

    def visits(self, **params: Any) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = self.get("/visits", **params)["visits"]
        return found


def contact(door: str, presses: Presses, up_s: float) -> list[dict[str, Any]]:
    """`<door>.press` records of the contract, one for each change, in a pack made at `up_s`."""
    changes = [(moment, closed) for begin, end in presses for moment, closed in ((begin, True), (end, False))]
    return [{"n": f"{door}.press", "t": round(moment - up_s, 6), "vb": closed} for moment, closed in changes]


class Quiet(FakeSource):
    """Nothing comes but what is handed in; it waits until it is woken, as a real one does."""

    def wait(self, waker: int, timeout_s: float) -> bool:
        select.select([waker], [], [], timeout_s)
        return False


@pytest.fixture(scope="session")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record as it is made for a first start; made once, as migrations take a second."""
    path = tmp_path_factory.mktemp("empty") / "record.sqlite"
    SqlStore(f"sqlite:///{path}", "Europe/London").close()
    return path


@pytest.fixture
def house(tmp_path: Path, empty: Path) -> Iterator[House]:
    """Nothing has come yet; the chime has power since T0, and the clock stands ten seconds later."""
    shutil.copy(empty, tmp_path / "record.sqlite")
    store, hub, health = (
        SqlStore(f"sqlite:///{tmp_path / 'record.sqlite'}", "Europe/London"),
        Hub(),
        Health("0.0", T0, ""),
    )
    app = FastAPI(openapi_url="/api/v1/openapi.json")
    house = House(TestClient(app, base_url="http://localhost:7433"), store, tmp_path)
    clock = lambda: house.now_s  # noqa: E731
    keeper = Keeper(store, Quiet([]), Understander(store), health, clock, hub.tell)
    teaching = Teaching(store.reader(), keeper, clock, lambda after_s, action: house.later.append((after_s, action)))
    hub.listen(teaching.told)
    problems.install(app)
    app.include_router(
        http_api.build(store.reader(), keeper, Actions(keeper), health, clock, "bellcrank", teaching=teaching)
    )
    thread = threading.Thread(target=keeper.run)
    thread.start()
    with house.client:
        yield house
    keeper.stop()
    thread.join()
    store.close()


@pytest.fixture
def rung(house: House) -> House:
    """Three visits at the front door and one at the garden door."""
    for number in range(3):
        house.ring((100.0 + 200.0 * number, 100.4 + 200.0 * number))
    house.ring((800.0, 800.3), (808.0, 808.2), door="garden")
    return house
