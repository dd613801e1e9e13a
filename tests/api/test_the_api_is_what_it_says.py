"""Promise: the API answers as its OpenAPI description says; times are RFC 3339, errors RFC 9457, pages follow by cursor."""

import re

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis.specs.openapi.checks import positive_data_acceptance

from tests.api.conftest import House
from tests.builders import PRESS, pack

API = "/api/v1"
PACKS = f"{API}/sites/tern-cottage/chimes/hall/packs"
JSON = {"content-type": "application/senml+json"}


def test_presses_are_told_with_their_door_time_and_certainty(house: House) -> None:
    answer = house.client.get(f"{API}/sites/tern-cottage/presses").json()
    assert [press["door"] for press in answer["presses"]] == ["front"] * 3
    assert answer["presses"][0]["pulses"] == 7
    # RFC 3339, in UTC
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z", answer["presses"][0]["start"])


def test_pages_follow_each_other_by_cursor(house: House) -> None:
    first = house.client.get(f"{API}/sites/tern-cottage/presses", params={"limit": 2}).json()
    rest = house.client.get(f"{API}/sites/tern-cottage/presses", params={"limit": 2, "cursor": first["next"]}).json()
    assert [len(first["presses"]), len(rest["presses"]), rest["next"]] == [2, 1, None]


def test_a_stretch_is_half_open(house: House) -> None:
    presses = house.client.get(f"{API}/sites/tern-cottage/presses").json()["presses"]
    stretch = {"start": presses[0]["start"], "end": presses[2]["start"]}
    found = house.client.get(f"{API}/sites/tern-cottage/visits", params=stretch).json()["visits"]
    assert [visit["id"] for visit in found] == [press["visit"] for press in presses[:2]]


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/sites/nowhere/presses", 404),
        ("/sites/tern-cottage/chimes/attic", 404),
        ("/sites/tern-cottage/presses/999", 404),
        ("/sites/tern-cottage/presses?limit=0", 422),
        ("/sites/tern-cottage/presses?cursor=yesterday", 400),
        ("/sites/tern-cottage/presses?start=2026-11-25T09:00:00", 422),
        ("/nothing", 404),
    ],
)
def test_errors_are_problem_details(house: House, path: str, status: int) -> None:
    answer = house.client.get(API + path)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    # RFC 9457, section 3.1 (as quoted on a secondary page): type, title, status, detail, instance
    assert set(answer.json()) == {"type", "title", "status", "detail", "instance"}


def test_a_pack_handed_in_over_http_is_on_the_disk_when_it_is_accepted(house: House) -> None:
    before = house.store.reader().counts().kept
    assert house.client.post(PACKS, content=pack(9, PRESS), headers=JSON).status_code == 202
    assert house.store.reader().counts().kept == before + 1


def test_a_bad_pack_over_http_is_kept_aside_and_its_sender_is_told_why(house: House) -> None:
    answer = house.client.post(PACKS, content=b'[{"n":"rail.mean","u":"V","v":400}]', headers=JSON)
    assert answer.status_code == 422
    assert "400" in answer.json()["detail"]


def test_what_is_no_pack_at_all_is_turned_away(house: House) -> None:
    before = house.store.reader().counts().kept
    assert house.client.post(PACKS, content=b"x", headers={"content-type": "text/plain"}).status_code == 415
    assert house.client.post(PACKS, content=b" " * 65537, headers=JSON).status_code == 413
    bad_name = f"{API}/sites/Tern%20Cottage/chimes/hall/packs"
    assert house.client.post(bad_name, content=pack(9), headers=JSON).status_code == 400
    assert house.store.reader().counts().kept == before


def test_the_quarantine_shows_bytes_and_reason(house: House) -> None:
    (aside,) = house.client.get(f"{API}/quarantine").json()["packs"]
    assert (bytes.fromhex(aside["hex"]), aside["fate"]) == (b"[]", "quarantined")


def test_an_unclaimed_chime_can_be_claimed_and_named(house: House) -> None:
    assert house.client.get(f"{API}/sites").json() == {"sites": []}
    assert house.client.post(f"{API}/sites/tern-cottage/chimes/hall/claim").json()["claimed"]
    named = {"name": "Tern Cottage", "time_zone": "Europe/London"}
    assert house.client.put(f"{API}/sites/tern-cottage", json=named).json()["name"] == "Tern Cottage"
    assert house.client.put(f"{API}/sites/tern-cottage", json=named | {"time_zone": "Mars"}).status_code == 400
    assert len(house.client.get(f"{API}/sites").json()["sites"]) == 1


def test_supply_comes_as_sent_or_joined(house: House) -> None:
    path = f"{API}/sites/tern-cottage/chimes/hall/supply"
    assert len(house.client.get(path).json()["supply"]) == 3
    joined = house.client.get(path, params={"step_s": 86400, "start": "2026-09-14T00:00:00Z"}).json()["supply"]
    assert [point["windows"] for point in joined] == [3]


def test_trouble_is_told_in_health(house: House) -> None:
    house.health.broker_trouble = "The broker at localhost:1883 does not answer."
    answer = house.client.get(f"{API}/health").json()
    assert answer["status"] == "trouble"
    assert answer["troubles"] == ["The broker at localhost:1883 does not answer."]
    assert answer["packs"]["quarantined"] == 1


def test_a_page_of_another_site_cannot_act_here(house: House) -> None:
    claim = f"{API}/sites/tern-cottage/chimes/hall/claim"
    assert house.client.post(claim, headers={"origin": "http://elsewhere.example"}).status_code == 403
    assert house.client.post(claim, headers={"origin": "http://localhost:7433"}).status_code == 200
    assert house.client.get(f"{API}/sites", headers={"host": "elsewhere.example"}).status_code == 403


def test_every_answer_fits_the_description(house: House) -> None:
    """schemathesis makes requests from the OpenAPI document and checks each answer against it.

    It may refuse what the shape allows: whether a name or a time zone will do is no matter of shape.
    """
    host = {"host": "localhost"}
    schema = schemathesis.openapi.from_asgi(f"{API}/openapi.json", house.app, headers=host)
    asked: set[str] = set()
    for operation in (found.ok() for found in schema.exclude(path_regex="stream|packs").get_all_operations()):

        @settings(
            max_examples=6, deadline=None, database=None, derandomize=True, suppress_health_check=list(HealthCheck)
        )
        @given(case=operation.as_strategy())
        def check(case: schemathesis.Case) -> None:
            asked.add(case.path)
            case.call_and_validate(headers=host, excluded_checks=[positive_data_acceptance])

        check()
    assert len(asked) >= 12
