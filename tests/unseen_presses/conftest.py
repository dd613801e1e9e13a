"""A record in memory."""

from collections.abc import Iterator

import pytest

from adapters.sql.work import SqlStore
from tests.blind_time.listening import memory


@pytest.fixture
def store() -> Iterator[SqlStore]:
    with memory() as opened:
        yield opened
