"""Promise: over the API a way out can be added, changed, switched, tested and removed, and its letters looked at and sent again."""

import select
import shutil
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from adapters import outlet_api, problems
from adapters.mqtt import BrokerAccess
from adapters.outlets.broker import BrokerLine
from adapters.outlets.opening import opener
from adapters.sql.work import SqlStore
from service.health import Health
from service.hub import Hub
from service.intake import Understander
from service.keeper import Keeper
from service.outbox import Outbox
from service.outlet_actions import OutletActions, tell_the_broker
from service.outlets import OFF_BY_SETTING
from tests.builders import CHIME, SITE, T0
from tests.fakes import FakeSource
from tests.ways_out.conftest import HERE, HttpReceiver


class Quiet(FakeSource):
    """Nothing comes; it waits until it is woken, as a real one does."""

    def wait(self, waker: int, timeout_s: float) -> bool:
        select.select([waker], [], [], timeout_s)
        return False


@dataclass
class Api:
    client: TestClient
    store: SqlStore
    keeper: Keeper
    outbox: Outbox

    def ask(self, method: str, path: str = "", body: Any = None, status: int = 200) -> Any:
        answer = self.client.request(method, f"/api/v1/outlets{path}", json=body)
        assert answer.status_code == status, answer.text
        return answer.json() if answer.content else None

    def ring(self, door: str = "front") -> None:
        self.keeper.do(lambda work: work.add_event("press", T0, SITE, CHIME, {"door": door}))


@pytest.fixture(scope="session")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A record with a claimed chime; made once, as migrations take a second."""
    path = tmp_path_factory.mktemp("empty") / "record.sqlite"
    store = SqlStore(f"sqlite:///{path}", "Europe/London")
    with store.work() as work:
        work.chime(SITE, CHIME, T0)
    with store.work() as work:
        work.claim(SITE, CHIME, "Tern Cottage")
    store.close()
    return path


@pytest.fixture
def api(tmp_path: Path, empty: Path) -> Iterator[Api]:
    shutil.copy(empty, tmp_path / "record.sqlite")
    store, hub = SqlStore(f"sqlite:///{tmp_path / 'record.sqlite'}", "Europe/London"), Hub()
    keeper = Keeper(store, Quiet([]), Understander(store), Health("0.0", T0, ""), lambda: T0, hub.tell)
    line = BrokerLine(BrokerAccess("mqtt://127.0.0.1:1"), "bellcrank")
    outbox = Outbox(store.reader(), keeper, lambda: T0, opener(line, "0.0", HERE, tmp_path))
    hub.listen(outbox.told)
    app = FastAPI()
    problems.install(app)
    actions = OutletActions(store.reader(), keeper, outbox, lambda: T0, "Europe/London")
    app.include_router(outlet_api.build(store.reader(), actions))
    writing, sending = threading.Thread(target=keeper.run), threading.Thread(target=outbox.run)
    writing.start()
    sending.start()
    with TestClient(app) as client:
        yield Api(client, store, keeper, outbox)
    for part, thread in ((outbox, sending), (keeper, writing)):
        part.stop()  # type: ignore[attr-defined]
        thread.join()
    store.close()


def hook(receiver: HttpReceiver, **more: Any) -> dict[str, Any]:
    return {"name": "workshop", "way": "webhook", "url": f"http://127.0.0.1:{receiver.port}/bell", **more}


def test_one_is_added_and_its_key_is_told_once(api: Api, receiver: HttpReceiver) -> None:
    added = api.ask("POST", body=hook(receiver), status=201)
    assert added["keys"][0].startswith("whsec_")
    assert added["outlet"]["time_zone"] == "Europe/London"
    told = api.ask("GET", f"/{added['id']}")
    assert told["outlet"]["keys"] is True
    assert "whsec_" not in str(api.ask("GET"))


def test_an_event_reaches_it_and_is_listed(api: Api, receiver: HttpReceiver) -> None:
    ended = threading.Event()
    receiver.wait = ended.set
    number = api.ask("POST", body=hook(receiver), status=201)["id"]
    api.ring()
    assert ended.wait(10)
    while api.ask("GET", f"/{number}")["outbox"]["waiting"]:
        pass
    (letter,) = api.ask("GET", f"/{number}/letters?state=delivered")["letters"]
    assert (letter["answer"], letter["tries"]) == ("204 No Content", 1)
    assert letter["key"] == receiver.requests[0].headers["webhook-id"] == letter["content"]["id"]


def test_what_is_wrong_is_told_field_by_field(api: Api) -> None:
    told = api.ask("POST", body={"name": "x", "way": "webhook", "url": "ftp://x", "colour": 1}, status=422)
    assert "url:" in told["detail"]
    assert "colour:" in told["detail"]
    assert api.ask("GET") == {"outlets": []}


def test_a_change_keeps_what_is_secret(api: Api, receiver: HttpReceiver) -> None:
    added = api.ask("POST", body=hook(receiver), status=201)
    api.ask("PUT", f"/{added['id']}", hook(receiver, name="attic"))
    outlet = api.store.reader().outlet(added["id"])
    assert outlet.name == "attic"
    assert list(outlet.way.keys) == added["keys"]  # type: ignore[union-attr]


def test_a_test_tells_what_became_of_it(api: Api, receiver: HttpReceiver) -> None:
    number = api.ask("POST", body=hook(receiver), status=201)["id"]
    assert api.ask("POST", f"/{number}/test") == {"delivered": True, "answer": "204 No Content"}
    receiver.answers = [b"HTTP/1.1 500 Broken\r\nContent-Length: 0\r\n\r\n"]
    assert api.ask("POST", f"/{number}/test") == {"delivered": False, "answer": "500 Broken"}
    assert receiver.requests[0].headers["webhook-id"] != receiver.requests[1].headers["webhook-id"]


def test_dead_letters_can_be_looked_at_and_sent_again(api: Api, receiver: HttpReceiver) -> None:
    number = api.ask("POST", body=hook(receiver), status=201)["id"]
    api.ask("POST", f"/{number}/switch", {"on": False, "why": "the workshop is closed"})
    api.keeper.do(lambda work: work.switch_outlet(number, ""))
    for door in ("front", "garden", "cellar"):
        api.ring(door)
    api.keeper.do(lambda work: work.switch_outlet(number, "closed"))
    ids = [letter.id for letter in api.store.reader().waiting_letters(number, 0, 10)]
    api.keeper.do(lambda work: work.letters_failed(ids, T0, "503 Away", None))
    first = api.ask("GET", f"/{number}/letters?limit=2")
    second = api.ask("GET", f"/{number}/letters?limit=2&cursor={first['cursor']}")
    assert [one["id"] for one in first["letters"] + second["letters"]] == ids[::-1]
    assert second["cursor"] is None
    assert first["letters"][0]["answer"] == "503 Away"
    assert api.ask("POST", f"/{number}/letters/resend", {"letters": [ids[1]]}) == {"letters": 1}
    assert api.ask("POST", f"/{number}/letters/resend", {}) == {"letters": 2}
    api.ask("POST", f"/{number}/letters/resend", {}, status=400)
    doors = [letter.content["data"]["door"] for letter in api.store.reader().waiting_letters(number, 0, 10)]
    assert doors == ["garden", "front", "cellar"]


def test_what_waits_can_be_hurried(api: Api, receiver: HttpReceiver) -> None:
    taken = threading.Event()
    receiver.wait = lambda: taken.set() if len(receiver.requests) > 1 else None
    receiver.answers = [b"HTTP/1.1 503 Away\r\nContent-Length: 0\r\n\r\n"]
    number = api.ask("POST", body=hook(receiver), status=201)["id"]
    api.ring()
    while not (waiting := api.ask("GET", f"/{number}/letters?state=waiting")["letters"]) or not waiting[0]["due"]:
        pass
    api.ask("POST", f"/{number}/letters/hurry", status=204)
    assert taken.wait(10)


def test_one_that_is_removed_is_gone_with_its_letters(api: Api, receiver: HttpReceiver) -> None:
    number = api.ask("POST", body=hook(receiver), status=201)["id"]
    api.ask("DELETE", f"/{number}", status=204)
    for method, path in (
        ("GET", ""),
        ("DELETE", ""),
        ("POST", "/test"),
        ("GET", "/letters"),
        ("POST", "/letters/hurry"),
    ):
        assert api.ask(method, f"/{number}{path}", status=404)["title"] == "Not Found"


def test_whether_the_broker_is_told_is_a_setting(api: Api) -> None:
    def start(wanted: bool) -> list[tuple[str, str]]:
        api.keeper.do(lambda work: tell_the_broker(api.store.reader(), work, wanted))
        return [(outlet.name, outlet.off) for outlet in api.store.reader().outlets()]

    assert start(False) == []
    assert start(True) == [("MQTT", "")]
    assert start(True) == [("MQTT", "")]
    assert start(False) == [("MQTT", OFF_BY_SETTING)]
    assert start(True) == [("MQTT", "")]
    number = api.store.reader().outlets()[0].id
    api.ask("POST", f"/{number}/switch", {"on": False})
    assert start(True) == [("MQTT", "Somebody has switched it off.")]
