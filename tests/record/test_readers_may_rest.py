"""Promise: what readers leave open is given back between their questions, and they notice nothing."""

from pathlib import Path

import pytest

from adapters.sql.work import SqlStore


@pytest.mark.parametrize("kind", ["in a file", "in memory"])
def test_a_reader_goes_on_after_a_rest(kind: str, tmp_path: Path) -> None:
    store = SqlStore(f"sqlite:///{tmp_path / 'record.sqlite'}" if kind == "in a file" else "sqlite://")
    reader = store.reader()
    for _ in range(2):
        store.rest()
        assert reader.counts().kept == 0
    store.close()


def test_a_rest_leaves_no_idle_connection(tmp_path: Path) -> None:
    store = SqlStore(f"sqlite:///{tmp_path / 'record.sqlite'}")
    store.reader().sites()
    store.rest()
    assert store.reader()._engine.pool.checkedin() == 0  # type: ignore[attr-defined]
    store.close()
