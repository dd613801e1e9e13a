"""Promise: `bellcrank rebuild` makes everything that is derived anew from the kept packs. Same packs, same tables; what people
have said stays; until the exchange nothing changes, and the service may go on meanwhile."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Table, select

from adapters.simulated import history
from adapters.sql.rebuilding import DERIVED, Rebuilding
from adapters.sql.work import SqlStore
from service.errors import Refused
from service.intake import Understander, receive
from service.model import Arrival

START_S = 1793000000.0
NAMES = {"id", "boot_id", "visit_id"}
"""Numbers of rows: they may differ, as the order of understanding may."""


@pytest.fixture(scope="module")
def packs(tmp_path_factory: pytest.TempPathFactory) -> list[Arrival]:
    """Two days of the invented house, some packs twice and some late."""
    told = list(
        history.history(
            start_s=START_S, end_s=START_S + 86400.0, data_dir=tmp_path_factory.mktemp("house"), prefix="bellcrank"
        )
    )
    live = [arrival._replace(via="mqtt") for arrival in told]
    live[300:340] = reversed(live[300:340])
    return [*live, *live[500:510], live[0]._replace(payload=b"{not SenML")]


@pytest.fixture
def record(tmp_path: Path, packs: list[Arrival]) -> Iterator[SqlStore]:
    store = SqlStore(f"sqlite:///{tmp_path / 'record.sqlite'}", "Europe/London")
    receive(store, packs)
    understander = Understander(store)
    while understander.process_pending(500):
        pass
    yield store
    store.close()


def rebuilding(tmp_path: Path) -> Rebuilding:
    return Rebuilding(f"sqlite:///{tmp_path / 'record.sqlite'}", tmp_path / "beside.sqlite", "bellcrank", True)


def rebuild(tmp_path: Path) -> bool:
    making = rebuilding(tmp_path)
    while making.advance():
        pass
    done = making.exchange()
    making.close()
    return done


def content(store: SqlStore, target: Table) -> list[tuple[str, ...]]:
    columns = [column for column in target.columns if column.name not in NAMES]
    with store.engine.connect() as connection:
        return sorted(tuple(str(value) for value in row) for row in connection.execute(select(*columns)))


def everything(store: SqlStore) -> dict[str, list[tuple[str, ...]]]:
    return {target.name: content(store, target) for target in DERIVED}


def test_the_same_packs_give_the_same_tables(tmp_path: Path, record: SqlStore) -> None:
    before = everything(record)
    assert before["press"]
    assert before["pack_fate"]
    assert rebuild(tmp_path)
    assert everything(record) == before


def test_what_was_derived_wrongly_is_mended(tmp_path: Path, record: SqlStore) -> None:
    before = everything(record)
    with record.engine.begin() as connection:
        for name in ("press", "reading", "presence"):
            connection.exec_driver_sql(f"DELETE FROM {name}")
    assert rebuild(tmp_path)
    assert everything(record) == before


def test_what_people_have_said_stays(tmp_path: Path, record: SqlStore) -> None:
    with record.work() as work:
        work.claim("tern-cottage", "hall", "Tern Cottage")
        work.rename_door("tern-cottage", "hall", "front", "Front door")
    assert rebuild(tmp_path)
    assert record.reader().chime("tern-cottage", "hall").claimed
    assert "Front door" in [door.name for door in record.reader().doors("tern-cottage")]


def test_the_writer_goes_on_meanwhile_and_afterwards(tmp_path: Path, record: SqlStore, packs: list[Arrival]) -> None:
    understander, late = Understander(record), packs[-60:-20]
    making = rebuilding(tmp_path)
    making.advance()
    moved = [
        a._replace(payload=a.payload.replace(b'"boot","u":"count","v":', b'"boot","u":"count","v":9')) for a in late
    ]
    receive(record, moved)
    while understander.process_pending(100):
        pass
    while making.advance():
        pass
    assert making.exchange()
    making.close()
    before = everything(record)
    receive(record, [moved[0]])  # sent again: the writer must know the new rows, not the ones it had at hand
    while understander.process_pending(100):
        pass
    after = everything(record)
    assert after.pop("pack_fate") != before.pop("pack_fate")
    assert after == before


def test_broken_off_nothing_has_changed(tmp_path: Path, record: SqlStore) -> None:
    before = everything(record)
    making = rebuilding(tmp_path)
    making.advance(100)
    making.close()
    assert everything(record) == before
    assert not list(tmp_path.glob("beside*"))


def test_a_door_heard_for_the_first_time_meanwhile_means_beginning_again(tmp_path: Path, record: SqlStore) -> None:
    making = rebuilding(tmp_path)
    with record.work() as work:
        work.door(work.chime("tern-cottage", "hall", START_S), "side", START_S)
    before = everything(record)
    while making.advance():
        pass
    assert not making.exchange()
    making.close()
    assert everything(record) == before


def test_another_database_is_refused_in_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Elsewhere:
        class dialect:  # noqa: N801 - as SQLAlchemy names it
            name = "postgresql"

    monkeypatch.setattr("adapters.sql.rebuilding.open_engine", lambda url: Elsewhere())
    with pytest.raises(Refused, match="SQLite"):
        rebuilding(tmp_path)
