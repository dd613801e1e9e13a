"""A capture is handed in over the API or on the page; what it showed is kept, the file is not, and whoever asks is told in words."""

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from fastapi.testclient import TestClient

from service.__main__ import main
from service.captures import MOST
from tests.builders import PRESS, arrival, pack
from tests.opened_house import open_house

AT = np.arange(2000) * 1e-4
SINE = 24.0 * np.sin(2.0 * np.pi * 50.0 * AT)
HALF = np.maximum(SINE - 0.5, 0.0)
CAPTURES = "/api/v1/sites/tern-cottage/chimes/hall/captures"
SHEET = {"mains_hz": 50, "transformer_v": 14, "transformer_open_v": 17, "transformer_va": 10, "reservoir_f": 1e-3, "idle_a": 0.01,
         "doors": {"front": {"diode": True}}}  # fmt: skip


def csv(volts: np.ndarray) -> bytes:
    return ("s,V\n" + "".join(f"{t:.5f},{v:.4f}\n" for t, v in zip(AT, volts, strict=True))).encode()


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with open_house(tmp_path, [arrival(pack(0, PRESS), 100.0)], SHEET) as house:
        yield house.client


def test_over_the_api_it_is_read_kept_listed_and_taken_away(client: TestClient) -> None:
    told = client.post(f"{CAPTURES}?point=terminal&name=one.csv", content=csv(HALF))
    assert told.status_code == 201
    answer = told.json()
    assert answer["stretches"][0]["shape"] == "half-wave, positive"
    assert answer["stretches"][0]["pressed"] == "at rest"
    assert answer["stretches"][0]["figures"]["mains_hz"] == pytest.approx(50.0, rel=1e-3)
    assert {line["verdict"] for line in answer["stretches"][0]["comparison"]["lines"]} == {"as predicted"}
    assert client.get(CAPTURES).json()["captures"][0]["shapes"] == ["half-wave, positive"]
    one = f"/api/v1/sites/tern-cottage/captures/{answer['id']}"
    assert client.get(one).json() == answer
    assert client.delete(one).status_code == 204
    assert client.get(one).status_code == 404
    assert client.delete(one).status_code == 404


def test_what_is_no_waveform_is_refused_with_a_sentence(client: TestClient) -> None:
    refused = client.post(f"{CAPTURES}?point=terminal", content=b"%PDF-1.7")
    assert refused.status_code == 422 or refused.status_code == 400
    assert "not a waveform" in refused.json()["detail"]
    assert client.get(CAPTURES).json()["captures"] == []
    assert client.post(f"{CAPTURES}?point=mains", content=csv(HALF)).status_code == 422
    assert client.post(CAPTURES.replace("hall", "loft"), content=csv(HALF)).status_code == 404


def test_only_so_many_are_kept(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("service.captures.MOST", 3)
    assert MOST == 60
    numbers = [client.post(f"{CAPTURES}?name={n}.csv", content=csv(SINE)).json()["id"] for n in range(5)]
    assert [row["id"] for row in client.get(CAPTURES).json()["captures"]] == numbers[:1:-1]


def test_the_page_without_any_says_how_to_begin(client: TestClient) -> None:
    page = client.get("/house/tern-cottage/bench").text
    assert "No capture has been kept yet." in page
    assert "licensed work" in page


def test_on_the_page_pressed_and_at_rest_stand_on_one_scale(client: TestClient) -> None:
    for name, volts in (("rest.csv", HALF), ("pressed.csv", SINE)):
        files = {"capture": (name, csv(volts), "text/csv")}
        handed = client.post(
            "/house/tern-cottage/bench", files=files, data={"point": "terminal"}, follow_redirects=False
        )
        assert handed.status_code == 303
    page = client.get(handed.headers["location"]).text
    assert "A full sine at the chime’s terminal, behind the button: pressed." in page
    assert re.findall(r"<figure><h3>(.*?)</h3>", page) == ["At rest", "Pressed"]
    assert page.count('class="trace"') == 2 + 1  # and the one that names the line
    assert page.count('class="predicted"') == 2 + 1
    assert "All of it is as the fit-out sheet predicts." in page
    assert "rest.csv" in page


def test_on_the_page_a_refusal_is_told_beside_the_form(client: TestClient) -> None:
    files = {"capture": ("shot.png", b"\x89PNG....", "image/png")}
    answer = client.post("/house/tern-cottage/bench", files=files, data={"point": "terminal"})
    assert answer.status_code == 400
    assert "is a picture (PNG), not a waveform" in answer.text
    files = {"capture": ("one.csv", csv(SINE), "text/csv")}
    answer = client.post("/house/tern-cottage/bench", files=files, data={"point": "terminal", "step": "often"})
    assert "The step is no number" in answer.text


def test_a_capture_is_taken_away_on_the_page(client: TestClient) -> None:
    number = client.post(f"{CAPTURES}?point=terminal", content=csv(HALF)).json()["id"]
    assert client.post(f"/house/tern-cottage/bench/{number}/remove", follow_redirects=False).status_code == 303
    assert client.get(f"/house/tern-cottage/bench/{number}").status_code == 404


def test_a_file_name_cannot_write_the_page(client: TestClient) -> None:
    files = {"capture": ("<script>.csv", csv(HALF), "text/csv")}
    page = client.post("/house/tern-cottage/bench", files=files, data={"point": ""}).text
    assert "<script>.csv" not in page
    assert "Such a picture is usual at the chime’s terminal" in page


def test_on_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file, sheet = tmp_path / "terminal.csv", tmp_path / "sheet.json"
    file.write_bytes(csv(HALF))
    sheet.write_text(str(SHEET).replace("'", '"').replace("True", "true"))
    assert main(["capture", str(file), "--point", "terminal", "--fitout", str(sheet)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("A half-wave, upwards at the chime’s terminal, behind the button: at rest.")
    assert "as predicted" in said
    assert "mains side" in said
    assert main(["capture", str(file), "--point", "kitchen"]) == 2
    assert "no point of the circuit" in capsys.readouterr().err
    assert main(["capture", str(tmp_path / "none.csv")]) == 2
    assert "cannot be read" in capsys.readouterr().err
