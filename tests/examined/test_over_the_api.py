"""Promise: a recording handed in over HTTP gets the answer of the command, keeps nothing, stops nobody, and a bad one gets a sentence."""

import asyncio
import json
import threading
from collections.abc import Iterable, Iterator
from typing import Any

import httpx2
import pytest
import schemathesis
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from schemathesis.specs.openapi.checks import positive_data_acceptance

from adapters import examination_api, problems
from service import commands
from service.examine import Examined, answer
from tests.examined.recorded import SHEET, aged, text_of

PATH = "/api/v1/examinations"
JSONL = {"content-type": "application/jsonl"}


def app_of(examine: examination_api.Examine) -> FastAPI:
    app = FastAPI(openapi_url="/api/v1/openapi.json")
    problems.install(app)
    app.include_router(examination_api.build(examine))
    return app


def engine(lines: Iterable[str], sheet: str | None) -> dict[str, Any]:
    return answer(commands.examined(lines, sheet))


@pytest.fixture
def client() -> Iterator[TestClient]:
    with TestClient(app_of(engine)) as client:
        yield client


@pytest.fixture(scope="module")
def recording() -> bytes:
    return text_of(aged()).encode()


def test_the_answer_is_that_of_the_engine(client: TestClient, recording: bytes, of_aged: Examined) -> None:
    form = {"recording": ("survey.jsonl", recording, "application/jsonl"), "fitout": ("sheet.json", json.dumps(SHEET))}
    found = client.post(PATH, files=form)
    assert found.status_code == 200
    assert found.json() == json.loads(json.dumps(answer(of_aged)))
    assert found.json()["findings"][0]["name"] == "reservoir-aged"


def test_a_recording_by_itself_is_the_body(client: TestClient, recording: bytes) -> None:
    found = client.post(PATH, content=recording, headers=JSONL).json()
    assert found["packs"] == {"read": 8, "set_aside": []}
    assert [press["door"] for press in found["presses"]] == ["front", "front"]
    assert any("fit-out sheet" in said for said in found["missing"])


def test_an_empty_recording_is_no_mistake(client: TestClient) -> None:
    found = client.post(PATH, content=b"", headers=JSONL)
    assert found.status_code == 200
    assert found.json()["packs"]["read"] == 0


GOOD = b'{"at": 1, "topic": "bellcrank/1/tern-cottage/hall/pack", "pack": []}\n'


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (GOOD + b"{\n", "line 2 of the recording"),
        (GOOD + GOOD + b'{"at": 1, "topic": "\xff"}\n', "line 3 of the recording: is not UTF-8"),
        (b"\n\n" + b'{"at": 1, "topic": "x/pack"}\n', "line 3 of the recording"),
        (b'{"at": -1, "topic": "x/pack", "pack": []}\n', "outside 1970 to 2100"),
    ],
)
def test_a_bad_line_is_told_by_its_number(client: TestClient, body: bytes, said: str) -> None:
    for files in (None, {"recording": ("r.jsonl", body)}):
        given_so: dict[str, Any] = {"files": files} if files else {"content": body, "headers": JSONL}
        found = client.post(PATH, **given_so)
        assert (found.status_code, found.headers["content-type"]) == (422, "application/problem+json")
        assert said in found.json()["detail"]


def test_a_bad_sheet_or_form_is_a_problem_in_a_sentence(client: TestClient) -> None:
    sheet = client.post(PATH, files={"recording": ("r", GOOD), "fitout": ("s", b'{"idle_a": -1}')})
    assert (sheet.status_code, "idle_a" in sheet.json()["detail"]) == (422, True)
    no_json = client.post(PATH, files={"recording": ("r", GOOD), "fitout": ("s", b"\xff{")})
    assert no_json.status_code == 422
    nameless = client.post(PATH, files={"fitout": ("s", b"{}")})
    assert (nameless.status_code, "recording" in nameless.json()["detail"]) == (400, True)
    unknown = client.post(PATH, files={"recording": ("r", GOOD), "other": ("s", b"{}")})
    assert (unknown.status_code, "other" in unknown.json()["detail"]) == (400, True)
    broken = client.post(PATH, content=b"--x", headers={"content-type": "multipart/form-data"})
    assert (broken.status_code, broken.headers["content-type"]) == (400, "application/problem+json")


def test_too_much_is_refused_before_it_is_read_whole(client: TestClient) -> None:
    def endless() -> Iterator[bytes]:
        for _ in range(40):
            yield b" " * (1024 * 1024)

    found = client.post(PATH, content=endless(), headers=JSONL)
    assert (found.status_code, found.headers["content-type"]) == (413, "application/problem+json")
    form = client.post(PATH, files={"recording": ("r", b" " * (17 * 1024 * 1024))})
    assert form.status_code == 413
    sheet = client.post(PATH, files={"recording": ("r", GOOD), "fitout": ("s", b" " * 70_000)})
    assert (sheet.status_code, "fit-out sheet" in sheet.json()["detail"]) == (413, True)


def test_what_stays_below_the_limit_is_taken(client: TestClient) -> None:
    assert client.post(PATH, content=b"\n" * (15 * 1024 * 1024), headers=JSONL).status_code == 200


def test_the_service_goes_on_while_a_recording_is_examined() -> None:
    """The examination waits until another request has been answered; on the loop itself that would never come."""
    other = threading.Event()

    def waits(lines: Iterable[str], sheet: str | None) -> dict[str, Any]:
        assert other.wait(20.0)
        return engine(lines, sheet)

    app = app_of(waits)

    @app.get("/other")
    async def another() -> dict[str, bool]:
        other.set()
        return {"answered": True}

    async def both() -> list[int]:
        transport = httpx2.ASGITransport(app=app)
        async with httpx2.AsyncClient(transport=transport, base_url="http://localhost") as client:
            asked = asyncio.create_task(client.post(PATH, content=GOOD, headers=JSONL))
            answers = [await client.get("/other"), await asked]
        return [one.status_code for one in answers]

    assert asyncio.run(both()) == [200, 200]


def test_nothing_of_it_is_kept(client: TestClient, recording: bytes) -> None:
    first = client.post(PATH, content=recording, headers=JSONL).json()
    assert client.post(PATH, content=recording, headers=JSONL).json() == first  # no duplicates: it starts from nothing


def test_the_example_of_the_description_is_examined(client: TestClient) -> None:
    described = client.get("/api/v1/openapi.json").json()["paths"][PATH]["post"]["requestBody"]["content"]
    found = client.post(PATH, content=described["application/jsonl"]["example"], headers=JSONL)
    assert found.status_code == 200
    assert (found.json()["packs"]["read"], len(found.json()["presses"])) == (2, 1)


def test_the_api_answers_as_described() -> None:
    """schemathesis makes bodies from the description; most are no recording, and are refused as described."""
    schema = schemathesis.openapi.from_asgi("/api/v1/openapi.json", app_of(engine))
    (operation,) = (found.ok() for found in schema.get_all_operations())

    @settings(max_examples=15, deadline=None, database=None, derandomize=True, suppress_health_check=list(HealthCheck))
    @given(case=operation.as_strategy())
    def ask(case: schemathesis.Case) -> None:
        case.call_and_validate(excluded_checks=[positive_data_acceptance])

    ask()
