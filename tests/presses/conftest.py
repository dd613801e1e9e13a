"""A record in memory."""

from collections.abc import Iterator

import pytest

from adapters.sql.work import SqlStore


@pytest.fixture
def store() -> Iterator[SqlStore]:
    opened = SqlStore("sqlite://", "Europe/London")
    yield opened
    opened.close()
