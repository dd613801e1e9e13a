"""Promise: over the API alarms and rules are told, asked and refused as problem documents (RFC 9457), each mistake with its field."""

from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from adapters import alarm_api, problems
from adapters.routes import add_routes
from tests.alarms_live.conftest import Cottage
from tests.alarms_live.test_alarms_speak_when_something_is_the_case import DAY_S, OWN
from tests.builders import CHIME, SITE, T0

PLACE = f"/api/v1/sites/{SITE}/chimes/{CHIME}"


@pytest.fixture
def client(cottage: Cottage) -> Iterator[TestClient]:
    app = FastAPI()
    problems.install(app)
    add_routes(app, alarm_api.build(cottage.store.reader(), cottage.actions, lambda: T0 + cottage.now_s))
    with TestClient(app) as opened:
        yield opened


def test_an_alarm_is_told_and_acknowledged(cottage: Cottage, client: TestClient) -> None:
    cottage.tick(8 * DAY_S)
    (silent,) = [
        one
        for one in client.get(f"{PLACE}/alarms", params={"active": True}).json()["alarms"]
        if one["rule"]["id"] == "chime-silent"
    ]
    assert (silent["state"], silent["ready"], silent["active"]) == ("unacknowledged", True, True)
    answer = client.post(f"{PLACE}/alarms/chime-silent", json={"what": "acknowledge", "who": "Ann"})
    assert (answer.status_code, answer.json()["state"]) == (200, "acknowledged")
    went = client.get(f"/api/v1/sites/{SITE}/alarms/transitions", params={"start": "2026-01-01T00:00:00Z"}).json()
    assert [(one["rule"], one["who"]) for one in went["transitions"]][-1] == ("chime-silent", "Ann")


def test_what_the_life_does_not_allow_is_refused_in_words(client: TestClient) -> None:
    answer = client.post(f"{PLACE}/alarms/chime-silent", json={"what": "unshelve"})
    assert (answer.status_code, answer.json()["detail"]) == (400, "It is not shelved.")
    assert client.post(f"{PLACE}/alarms/nothing-such", json={"what": "acknowledge"}).status_code == 404


def test_a_bad_rule_is_refused_with_each_field(client: TestClient) -> None:
    answer = client.put(f"{PLACE}/rules", json=OWN | {"cause": "", "watch": {"kind": "held", "longer_than_s": -1}})
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert {one["field"] for one in answer.json()["errors"]} == {"cause", "watch.longer_than_s"}


def test_a_rule_is_tried_added_switched_and_removed(client: TestClient) -> None:
    trial = client.post(f"{PLACE}/rules/trial", json=OWN).json()
    assert trial["sentence"].endswith("this would not have spoken.")
    assert client.put(f"{PLACE}/rules", json=OWN, params={"who": "Ann"}).json()["changed_by"] == "Ann"
    off = client.post(f"{PLACE}/rules/late-callers/switch", json={"on": False, "why": "guests"}).json()
    assert off["off"] == "guests"
    assert client.delete(f"{PLACE}/rules/late-callers").status_code == 204


def test_the_figures_are_told_with_their_verdict(client: TestClient) -> None:
    told = client.get(f"/api/v1/sites/{SITE}/alarms/performance").json()
    assert (told["enough"], told["annunciated"]) == (False, 0)
    assert {one["verdict"] for one in told["figures"]} == {"not enough data"}
