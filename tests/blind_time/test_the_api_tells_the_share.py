"""Promise: over the API, blind time comes with its share of the stretch asked for, of the house and of each door."""

from collections.abc import Iterator

import pytest
from fastapi import APIRouter, FastAPI
from fastapi.testclient import TestClient

from adapters import log_api
from adapters.sql.work import SqlStore
from service import telling
from tests.blind_time.listening import PRESS, SITE, T0, minutes, sent, take_in

NOW_S = 4500.0


@pytest.fixture
def client(store: SqlStore) -> Iterator[TestClient]:
    app, router = FastAPI(), APIRouter()
    log_api.add(router, store.reader(), lambda: T0 + NOW_S)
    app.include_router(router)
    with TestClient(app) as opened:
        yield opened


def asked(client: TestClient, start_s: float, end_s: float) -> dict[str, object]:
    stretch = {"start": telling.rfc3339(T0 + start_s), "end": telling.rfc3339(T0 + end_s)}
    answer = client.get(f"/sites/{SITE}/blind", params=stretch)
    assert answer.status_code == 200
    return dict(answer.json())


def claimed(store: SqlStore) -> None:
    with store.work() as work:
        work.claim(SITE, "hall", None)


def test_the_share_counts_from_when_the_house_was_heard_of_until_now(client: TestClient, store: SqlStore) -> None:
    """By hand: listened to from 5 s to 4500 s; without power from 305 s to 4005 s; the garden's first press came at 4365 s."""
    garden = {**PRESS, "n": "garden.edges", "t": 0.0}
    again = minutes(0, 5, boot=2, on_s=4000.0)
    take_in(store, [sent(0, 5.0, PRESS), *minutes(1, 5), *again, sent(6, 365.0, garden, boot=2, on_s=4000.0)])
    claimed(store)
    said = asked(client, -86400.0, 86400.0)
    assert said["blind_s"] == pytest.approx(3700.0, abs=0.2)
    assert said["share"] == pytest.approx(3700.0 / 4495.0, abs=1e-3)
    shares = {door["door"]: door["blind_s"] for door in said["doors"]}  # type: ignore[attr-defined]
    assert shares["front"] == pytest.approx(3700.0, abs=0.2)
    assert shares["garden"] == pytest.approx(4360.0, abs=0.2)
    assert [(spell["why"], spell["door"]) for spell in said["blind"]] == [  # type: ignore[attr-defined]
        ("door not fitted yet", "garden"),
        ("chime without power", None),
    ]


def test_the_middle_of_a_power_cut_is_wholly_blind(client: TestClient, store: SqlStore) -> None:
    take_in(store, [*minutes(0, 5), *minutes(0, 9, boot=2, on_s=4000.0)])
    claimed(store)
    assert asked(client, 1000.0, 2000.0)["share"] == 1.0
    assert asked(client, 4010.0, 4100.0)["share"] == 0.0


def test_before_the_house_was_heard_of_there_is_no_share(client: TestClient, store: SqlStore) -> None:
    take_in(store, minutes(0, 73))
    claimed(store)
    assert asked(client, -2000.0, -1000.0) == {
        "blind": [],
        "blind_s": 0.0,
        "share": None,
        "doors": [],
    }
