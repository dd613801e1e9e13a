"""Promise: over the API a sheet gets the same check and the same drawing, described by OpenAPI, and a bad one a problem document."""

import json
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from schemathesis.specs.openapi.checks import positive_data_acceptance

from adapters import fitout_api, problems
from dashboard import fitout_plot
from service.supply.fitout import MEANING
from service.supply.fitout_told import told
from tests.fitout.conftest import SHEET, Checked

FITOUT = "/api/v1/fitout"


@pytest.fixture
def app() -> FastAPI:
    app = FastAPI(openapi_url="/api/v1/openapi.json")
    problems.install(app)
    app.include_router(fitout_api.build(fitout_plot.plot))
    return app


@pytest.fixture
def client(app: FastAPI) -> Iterator[TestClient]:
    with TestClient(app) as client:
        yield client


def test_the_answer_is_that_of_the_engine(client: TestClient, checked: Checked) -> None:
    answer = client.post(FITOUT, json=SHEET)
    assert answer.status_code == 200
    assert answer.json() == json.loads(json.dumps(told(checked())))


def test_what_if_shows_before_and_after(client: TestClient) -> None:
    answer = client.post(FITOUT, json=SHEET, params={"set": ["reservoir_f=1e-4", "wire=AWG 22"]}).json()
    ripple = next(figure for figure in answer["what_if"]["figures"] if figure["name"] == "ripple_idle_v")
    assert ripple["after"] / ripple["before"] == pytest.approx(10.0, rel=0.1)  # I T / C: with 1 / C (closed form)
    assert (answer["fits"], answer["what_if"]["fitted_before"]) == (False, True)
    assert "reservoir_f" in {remark["field"] for remark in answer["what_if"]["remarks_new"]}


def test_the_drawing_is_an_svg(client: TestClient) -> None:
    answer = client.post(f"{FITOUT}/plot", json=SHEET, params={"set": "reservoir_f=2.2e-3"})
    assert answer.headers["content-type"] == "image/svg+xml"
    assert ElementTree.fromstring(answer.content).tag == "{http://www.w3.org/2000/svg}svg"


@pytest.mark.parametrize(
    ("body", "params", "status", "said"),
    [
        (b"{", {}, 400, "not JSON"),
        (b"[]", {}, 400, "not one JSON object"),
        (b'{"idle_a": -1}', {}, 400, "idle_a of the fit-out sheet"),
        (b"{}", {"set": "reservoir=1"}, 400, "perhaps reservoir_f is meant"),
        (b" " * 70_000, {}, 413, "at most"),
    ],
)
def test_a_bad_sheet_is_a_problem_in_a_sentence(
    client: TestClient, body: bytes, params: dict[str, Any], status: int, said: str
) -> None:
    for path in (FITOUT, f"{FITOUT}/plot"):
        answer = client.post(path, content=body, params=params)
        assert (answer.status_code, answer.headers["content-type"]) == (status, "application/problem+json")
        assert said in answer.json()["detail"]


def test_every_field_is_described(app: FastAPI) -> None:
    body = app.openapi()["paths"][FITOUT]["post"]["requestBody"]["content"]["application/json"]
    assert set(body["schema"]["properties"]) == set(MEANING)
    assert all(described["description"] for described in body["schema"]["properties"].values())
    assert set(body["example"]) <= set(MEANING)


def test_the_example_of_the_description_fits(client: TestClient, app: FastAPI) -> None:
    body = app.openapi()["paths"][FITOUT]["post"]["requestBody"]["content"]["application/json"]
    assert client.post(FITOUT, json=body["example"]).json()["fits"] is True


def test_the_api_answers_as_described(app: FastAPI) -> None:
    """schemathesis makes sheets from the description; an answer must have the shape that is described. A wire too thin may be refused."""
    schema = schemathesis.openapi.from_asgi("/api/v1/openapi.json", app)
    asked: set[str] = set()
    for operation in (found.ok() for found in schema.get_all_operations()):

        @settings(
            max_examples=12, deadline=None, database=None, derandomize=True, suppress_health_check=list(HealthCheck)
        )
        @given(case=operation.as_strategy())
        def ask(case: schemathesis.Case) -> None:
            asked.add(case.path)
            case.call_and_validate(excluded_checks=[positive_data_acceptance])

        ask()
    assert asked == {FITOUT, f"{FITOUT}/plot"}
