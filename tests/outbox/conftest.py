"""An outbox over a record in a file, with a clock set by hand and a receiver that answers as it is told."""

import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import pytest

from adapters.sql.work import SqlStore
from service.errors import StoreUnavailable
from service.outbox import Carrier
from service.outbox_ports import Letter
from service.outlet_form import read_outlet
from service.ports import Reader, Work
from service.retries import Answer
from tests.builders import CHIME, SITE, T0

T = TypeVar("T")
TAKEN, DOWN = Answer(True, "204 No Content"), Answer(False, "503 Service Unavailable")
MAIL = {
    "name": "Ann",
    "way": "mail",
    "host": "mail.tern-cottage.example",
    "port": 465,
    "sender": "bell@tern-cottage.example",
    "to": ["ann@tern-cottage.example"],
}
HOOK = {"name": "the maker's", "way": "webhook", "url": "https://tern-cottage.example/bell"}


@dataclass
class Receiver:
    """A `Sender`: answers from `answers` in turn, then takes everything. `letters` is what came, `taken` what it took."""

    answers: list[Answer | Exception] = field(default_factory=list)
    letters: list[tuple[float, Sequence[Letter]]] = field(default_factory=list)
    taken: list[Letter] = field(default_factory=list)
    down: bool = False

    def send(self, letters: Sequence[Letter], now_s: float) -> Answer:
        self.letters.append((now_s, letters))
        answer = self.answers.pop(0) if self.answers else (DOWN if self.down else TAKEN)
        if isinstance(answer, Exception):
            raise answer
        if answer.delivered:
            self.taken += letters
        return answer

    def close(self) -> None:
        pass

    @property
    def tried_after_s(self) -> list[float]:
        return [at_s - T0 for at_s, _ in self.letters]

    @property
    def doors(self) -> list[str]:
        return [letter.content["data"]["door"] for letter in self.taken]


@dataclass
class Post:
    """The record with its outbox. `fails`: so many transactions fail; `done`: so many did not."""

    store: SqlStore
    path: Path
    now_s: float = T0
    fails: int = 0
    done: int = 0

    def do(self, action: Callable[[Work], T], timeout_s: float = 10.0) -> T:
        if self.fails:
            self.fails -= 1
            raise StoreUnavailable("The record cannot be written: the disk is full.")
        self.done += 1
        with self.store.work() as work:
            return action(work)

    @property
    def reader(self) -> Reader:
        return self.store.reader()

    def outlet(self, **form: Any) -> int:
        return self.do(lambda work: work.put_outlet(read_outlet(HOOK | form)))

    def ring(self, *doors: str, kind: Any = "press", **data: Any) -> None:
        for door in doors or ("front",):
            self.do(lambda work, door=door: work.add_event(kind, self.now_s, SITE, CHIME, {"door": door, **data}))

    def carrier(self, outlet_id: int, receiver: Receiver, **more: Any) -> Carrier:
        return Carrier(
            self.reader.outlet(outlet_id), self.reader, self, lambda: self.now_s, receiver, draw=lambda: 0.0, **more
        )

    def run(self, carrier: Carrier, until_s: float) -> None:
        """Let the carrier do what it would until this moment; time jumps from one step to the next."""
        while True:
            wait_s = carrier.turn()
            if self.now_s + wait_s > until_s:
                self.now_s = until_s
                return
            self.now_s += wait_s + (1e-6 if wait_s else 0.0)


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
def post(tmp_path: Path, empty: Path) -> Iterator[Post]:
    path = tmp_path / "record.sqlite"
    shutil.copy(empty, path)
    store = SqlStore(f"sqlite:///{path}", "Europe/London")
    yield Post(store, path)
    store.close()
