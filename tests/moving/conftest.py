"""Records in files, since exports read beside the writer, and a log of Tern Cottage, an invented house, with presses of every kind."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from adapters.press_files import write_calendars, write_csv, write_jsonl
from adapters.press_files_read import Form, form_of, read
from adapters.sql.kept_reader import kept_packs
from adapters.sql.work import SqlStore
from service.examine import take_in
from service.intake import Understander
from service.leaving import Asked, Counted, entries
from service.model import Arrival, Press
from service.moving import Taken, check, take_in_presses
from tests.builders import PRESS, SITE, T0, arrival, pack

NOW_S = T0 + 86_400.0
FORMS: tuple[Form, ...] = ("csv", "jsonl", "ics")

Opened = Callable[[str], SqlStore]


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Opened]:
    stores: list[SqlStore] = []

    def open_one(name: str) -> SqlStore:
        stores.append(SqlStore(f"sqlite:///{tmp_path / name}.sqlite", "Europe/London"))
        return stores[-1]

    yield open_one
    for store in stores:
        store.close()


def of_the_house() -> list[Arrival]:
    """Pulses at the front door, two of them close together; one pulse; a chime that debounces; a pack that never came."""
    single = {"n": "garden.edges", "t": -0.2, "vd": "AAI"}  # one pulse of 0.2 ms: doubtful
    plain = "bellcrank/1/tern-cottage/porch/pack"
    packs = [
        arrival(pack(0, PRESS)),
        arrival(pack(1, PRESS, {**PRESS, "t": -0.9}), 200.05),
        arrival(pack(2, single), 300.05),
        arrival(pack(5, PRESS), 600.05),  # two are missing before it
        arrival(b'[{"n":"side.press","t":-0.45,"vb":true},{"n":"side.press","t":-0.2,"vb":false}]', 700.0, plain),
        arrival(b'[{"n":"side.press","t":-0.45,"vb":true},{"n":"side.press","t":-0.3,"vb":false}]', 700.6, plain),
        arrival(b'[{"n":"side.press","vb":true}]', 800.0, plain),  # when it opened, nobody told
        arrival(b"{not SenML", 900.0),
    ]
    return [*packs, packs[0]._replace(received_s=T0 + 130.0, redelivered=True)]


@pytest.fixture
def house(opened: Opened) -> SqlStore:
    store = opened("house")
    take_in(store, of_the_house(), Understander(store))
    return store


def exported(store: SqlStore, form: Form, asked: Asked = Asked()) -> str:  # noqa: B008 - a tuple
    if form == "ics":
        parts = write_calendars(store.reader(), asked, Counted())
    else:
        parts = {"csv": write_csv, "jsonl": write_jsonl}[form](entries(store.reader(), asked, NOW_S))
    return b"".join(parts).decode()


def imported(store: SqlStore, text: str, enrolment_open: bool = True) -> Taken:
    lines = text.splitlines(keepends=True)
    form = form_of(lines)
    check(read(lines, form), "bellcrank", NOW_S)
    understander = Understander(store, enrolment_open=enrolment_open)
    return take_in_presses(store, read(lines, form), kept_packs(store.engine, refused=False), understander, "bellcrank")


def presses(store: SqlStore, site: str = SITE) -> list[Press]:
    return list(store.reader().presses(site, 0.0, 2 * T0, limit=10_000)[0])
