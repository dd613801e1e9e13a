"""A record to test with: in a file, as it is in use, and in memory, as recordings are examined."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from adapters.sql.work import SqlStore


@pytest.fixture(params=["file", "memory"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[SqlStore]:
    url = f"sqlite:///{tmp_path / 'record.sqlite'}" if request.param == "file" else "sqlite://"
    opened = SqlStore(url, "Europe/London")
    yield opened
    opened.close()
