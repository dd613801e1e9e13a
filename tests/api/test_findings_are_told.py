"""Promise: findings, quantities, commissioning records and fit-out sheets are told and taken in as the description says."""

import json

import pytest

from service import examination
from service.findings.verdict import EvidenceLine, Finding, Measured, Verdict
from tests.api.conftest import House
from tests.builders import CHIME, SITE, T0, pack
from tests.examinations.conftest import FakeJudge, survey

API = "/api/v1/sites/tern-cottage"
HALL = f"{API}/chimes/hall"
SHEET = {"transformer_v": 12, "reservoir_f": 4.7e-4, "doors": {"front": {"diode": True}}}
LINE = EvidenceLine("reservoir_f", 3.1e-4, 3.0e-4, 3.2e-4, 4.7e-4)
FINDING = Finding("reservoir-aged", 0.97, since_s=T0, evidence=(LINE,))
BEHIND = Finding("button-diode-shorted", 0.6, "front", also_possible=("contact-stuck",))


def examine(house: House, *found: Finding, at_s: float = T0 + 900.0, farad: float = 3.1e-4) -> None:
    measured = {"reservoir_f": Measured(farad, farad * 0.97, farad * 1.03)}
    judged = frozenset((f.name, f.door) for f in (FINDING, BEHIND))
    judge = FakeJudge(Verdict(measured, found, judged, ("idle_a: no burst at rest",)))
    examined = examination.examine(house.store.reader(), judge, SITE, CHIME, at_s)
    assert examined is not None
    with house.store.work() as work:
        examination.conclude(work, examined)


def send_survey(house: House, number: int) -> None:
    """Made a hundred seconds after the one of the number before, in the boot of the three presses."""
    answer = house.client.post(
        f"{HALL}/packs",
        content=pack(10 + number, *survey(), up_s=400.0 + 100.0 * number),
        headers={"content-type": "application/senml+json"},
    )
    assert answer.status_code == 202
    while house.store.reader().counts().pending:  # the keeper understands it in its own thread
        pass


def test_a_house_that_was_never_examined_has_no_findings_and_says_so(house: House) -> None:
    assert house.client.get(f"{API}/findings").json() == {"findings": [], "examinations": []}


def test_findings_are_told_in_the_contracts_form(house: House) -> None:
    examine(house, FINDING, BEHIND)
    answer = house.client.get(f"{API}/findings").json()
    first, second = answer["findings"]
    # the contract, "What examining a recording answers"
    assert {"name", "door", "likelihood", "also_possible", "since", "evidence", "on_site", "caution"} <= set(first)
    assert (first["name"], first["door"], first["likelihood"]) == ("reservoir-aged", None, 0.97)
    (line,) = first["evidence"]
    assert line == {"quantity": "reservoir_f", "value": 3.1e-4, "low": 3.0e-4, "high": 3.2e-4, "expected": 4.7e-4}
    assert (second["door"], second["also_possible"], second["state"]) == ("front", ["contact-stuck"], "raised")
    assert answer["examinations"][0]["missing"] == ["idle_a: no burst at rest"]
    assert house.client.get(f"{HALL}/findings").json() == answer


def test_cleared_findings_are_told_when_asked_for_with_their_life(house: House) -> None:
    examine(house, FINDING)
    for n in (1, 2):
        send_survey(house, n)
        examine(house, at_s=T0 + 900.0 + n)
    assert house.client.get(f"{HALL}/findings").json()["findings"] == []
    (cleared,) = house.client.get(f"{HALL}/findings", params={"state": "cleared"}).json()["findings"]
    assert [change["after"] for change in cleared["changes"]] == ["raised", "cleared"]
    assert cleared["changes"][1]["why"] == "judged and not found twice running"
    assert cleared["cleared"] is not None


def test_quantities_are_told_with_their_history(house: House) -> None:
    for number, farad in enumerate((3.1e-4, 4e-4)):
        send_survey(house, number)
        examine(house, farad=farad)
    answer = house.client.get(f"{HALL}/quantities", params={"name": "reservoir_f"}).json()
    assert answer["quantities"]["reservoir_f"]["value"] == 4e-4
    assert [point["value"] for point in answer["history"]] == [3.1e-4, 4e-4]
    begin = answer["history"][1]["at"]
    later = house.client.get(
        f"{HALL}/quantities", params={"name": "reservoir_f", "start": begin, "end": "2100-01-01T00:00:00Z"}
    )
    assert [point["value"] for point in later.json()["history"]] == [4e-4]
    assert house.client.get(f"{HALL}/quantities").json()["history"] == []


def test_the_outlook_tells_slope_limit_and_date(house: House) -> None:
    assert house.client.get(f"{HALL}/outlook").json() == {"outlook": []}
    with house.store.work() as work:
        work.keep_fitout(SITE, CHIME, {"reservoir_f": 1e-3}, T0, "Ann")
        for day in range(90):  # 12 % a year, with a scatter of 0.2 %
            farad = 1e-3 * (1.0 - 0.12 * day / 365.25 + 0.002 * ((day * 7919) % 13 - 6) / 6)
            work.add_quantities(
                SITE, CHIME, T0 - (90 - day) * 86_400.0, {"reservoir_f": Measured(farad, 0.9e-3, 1.1e-3)}
            )
    (told,) = house.client.get(f"{HALL}/outlook").json()["outlook"]
    share = told["share_per_year"]
    assert share["low"] < -0.12 < share["high"]
    assert (told["quantity"], told["readings"], told["drifts"], told["passed"]) == ("reservoir_f", 90, True, False)
    assert told["limit"]["value"] == pytest.approx(0.85e-3)
    assert (told["limit"]["side"], told["limit"]["reason"]) == ("above", "85 % of what the fit-out sheet says")
    # 15 % at 12 % a year: 1.25 years after 2026-06-16, the first of the readings, is mid-September 2027
    assert told["meets"]["at"][:7] in ("2027-09", "2027-08", "2027-10")
    assert told["meets"]["earliest"] < told["meets"]["at"] < told["meets"]["latest"]
    assert told["why"] is told["changed"] is None


def test_the_outlook_is_asked_of_a_chime_that_was_heard(house: House) -> None:
    assert house.client.get(f"{API}/chimes/attic/outlook").status_code == 404


def test_a_fitout_sheet_is_kept_with_its_history(house: House) -> None:
    assert house.client.get(f"{HALL}/fitout").json() == {"fitout": None, "unknown": [], "earlier": []}
    house.client.put(f"{HALL}/fitout", json=SHEET, params={"by": "Ann"})
    answer = house.client.put(f"{HALL}/fitout", json={**SHEET, "reservoir_f": 1e-3, "reservoir_uf": 1000})
    assert answer.status_code == 200
    assert answer.json() == house.client.get(f"{HALL}/fitout").json()
    assert (answer.json()["fitout"]["sheet"]["reservoir_f"], answer.json()["unknown"]) == (1e-3, ["reservoir_uf"])
    assert [(one["by"], one["sheet"]) for one in answer.json()["earlier"]] == [("Ann", SHEET)]


@pytest.mark.parametrize(
    "body",
    [
        '{"transformer_v": 400}',
        '{"doors": ["front"]}',
        '{"test_a": 0.05, "test_ohm": 330}',
        '{"transformer_v": NaN}',
        '{"reservoir_f": 1e999}',
        '{"\\ud800": 1}',
        "[]",
        "transformer_v: 12",
    ],
)
def test_a_sheet_that_cannot_be_is_refused_with_its_reason_and_nothing_is_kept(house: House, body: str) -> None:
    answer = house.client.put(f"{HALL}/fitout", content=body, headers={"content-type": "application/json"})
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["detail"]
    assert house.client.get(f"{HALL}/fitout").json()["fitout"] is None


def test_a_sheet_longer_than_a_pack_may_be_is_refused(house: House) -> None:
    answer = house.client.put(
        f"{HALL}/fitout", content=json.dumps({"remarks": "x" * 70_000}), headers={"content-type": "application/json"}
    )
    assert answer.status_code == 400
    assert house.client.get(f"{HALL}/fitout").json()["fitout"] is None


def test_the_newest_survey_becomes_the_commissioning_record(house: House) -> None:
    assert house.client.get(f"{HALL}/commissioning").json() == {"commissioning": None, "earlier": []}
    send_survey(house, 1)
    answer = house.client.post(f"{HALL}/commissioning", json={"by": "Ann"})
    assert answer.status_code == 201
    record = answer.json()["commissioning"]
    assert (record["by"], record["packs"]) == ("Ann", 1)
    assert record["start"] < record["end"]
    # RFC 3339: the clock of this test stands at T0 + 1000 s
    assert record["taken"] == "2026-09-14T10:16:40Z"


def test_a_stretch_becomes_the_commissioning_record_and_the_one_before_stays(house: House) -> None:
    send_survey(house, 1)
    house.client.post(f"{HALL}/commissioning", json={})
    # the three presses at T0 + 100, 200 and 300 s; T0 is 2026-09-14T10:00:00Z
    stretch = {"start": "2026-09-14T10:01:00Z", "end": "2026-09-14T10:04:00Z"}
    answer = house.client.post(f"{HALL}/commissioning", json={"stretch": stretch}).json()
    assert (answer["commissioning"]["packs"], answer["commissioning"]["start"][:19]) == (2, stretch["start"][:19])
    assert [one["packs"] for one in answer["earlier"]] == [1]


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({}, 400),  # no survey has been sent
        ({"stretch": {"start": "2026-09-14T10:04:00Z", "end": "2026-09-14T10:01:00Z"}}, 400),
        ({"stretch": {"start": "2026-09-01T00:00:00Z", "end": "2026-09-14T10:01:00Z"}}, 400),
        ({"stretch": {"start": "2026-08-01T00:00:00Z", "end": "2026-08-01T10:00:00Z"}}, 400),
        ({"stretch": {"start": "2026-08-01T00:00:00Z"}}, 422),
        ({"newest": True}, 422),
    ],
)
def test_what_cannot_be_a_commissioning_record_is_refused_and_changes_nothing(
    house: House, body: dict[str, object], status: int
) -> None:
    answer = house.client.post(f"{HALL}/commissioning", json=body)
    assert (answer.status_code, answer.headers["content-type"]) == (status, "application/problem+json")
    assert house.client.get(f"{HALL}/commissioning").json()["commissioning"] is None


@pytest.mark.parametrize("leaf", ["findings", "quantities", "commissioning", "fitout"])
def test_a_chime_that_was_never_heard_is_not_found(house: House, leaf: str) -> None:
    answer = house.client.get(f"{API}/chimes/attic/{leaf}")
    assert (answer.status_code, answer.headers["content-type"]) == (404, "application/problem+json")
    assert house.client.get("/api/v1/sites/nowhere/findings").status_code == 404


def test_listeners_are_told_of_a_finding_at_once_and_later(house: House) -> None:
    examine(house, FINDING)
    (event,) = [one for one in house.store.reader().events_after(0) if one.kind == "finding"]
    assert (event.data["name"], event.data["state"]) == ("reservoir-aged", "raised")
