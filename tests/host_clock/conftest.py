"""A record in memory, and bridges that are ended after the test."""

from collections.abc import Iterator

import pytest

from adapters.sql.work import SqlStore
from tests.host_clock.bridge import Bridge, Bridged, memory


@pytest.fixture
def store() -> Iterator[SqlStore]:
    with memory() as opened:
        yield opened


@pytest.fixture
def bridged() -> Iterator[Bridged]:
    made: list[Bridge] = []

    def make(store: SqlStore, wrong_s: float = 0.0) -> Bridge:
        made.append(Bridge(store, wrong_s))
        return made[-1]

    yield make
    for bridge in made:
        bridge.ends()
