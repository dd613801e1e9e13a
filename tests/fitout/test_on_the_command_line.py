"""Promise: `bellcrank fitout SHEET` says what the sheet means, what a change would do, and by its exit code whether anything is wrong."""

import io
import json
import re
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any

import pytest

from service.__main__ import main
from service.supply.fitout import MEANING
from tests.fitout.conftest import SHEET


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "tern-cottage.json"
    path.write_text(json.dumps(SHEET))
    return path


def test_it_is_readable_and_ends_with_the_cautions(sheet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fitout", str(sheet)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Nothing is wrong with this fit-out")
    assert re.search(
        r"sounding +low −10% +13\.7 \(13\.3 to 14\.0\) +11\.4", said
    )  # ngspice 39.3 at nominal mains: 15.67, 13.32
    assert "Without transformer_open_v" in said
    # the cautions that must stand wherever advice is given
    for caution in ("licensed electrician", "local code", "stays charged", "no alarm"):
        assert caution in said
    assert max(map(len, said.split("\n\n")[2].splitlines())) < 250


def test_something_wrong_makes_exit_code_3(sheet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fitout", str(sheet), "--set", "reservoir_f=1e-4"]) == 3
    assert "collapses between cycles" in capsys.readouterr().out


def test_what_if_shows_before_and_after(sheet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["fitout", str(sheet), "--set", "reservoir_f=2200e-6", "--set", "wire=AWG 22"])
    said = capsys.readouterr().out
    assert "What reservoir_f=2200e-6, wire=AWG 22 changes" in said
    found = re.search(r"ripple while it sounds +(\S+) V → (\S+) V", said)
    assert found is not None
    # I T / C: the ripple goes about with 1 / C (closed form)
    assert float(found[1]) / float(found[2]) == pytest.approx(2.2, rel=0.1)


def test_as_json_it_is_the_answer_of_the_api(sheet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fitout", str(sheet), "--json", "--set", "sound_a=1"]) == 3
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert told["fits"] is False
    assert told["what_if"]["fitted_before"] is True
    assert {remark["severity"] for remark in told["what_if"]["remarks_new"]} >= {"wrong"}
    assert told["conditions"][0]["rail_max_v"].keys() == {"value", "low", "high"}


def test_a_drawing_goes_into_a_file(sheet: Path, tmp_path: Path) -> None:
    target = tmp_path / "rail.svg"
    assert main(["fitout", str(sheet), "--plot", str(target)]) == 0
    assert ElementTree.parse(target).getroot().tag == "{http://www.w3.org/2000/svg}svg"


def test_a_sheet_may_come_from_standard_input(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(json.dumps(SHEET).encode())))
    assert main(["fitout", "-"]) == 0
    assert "The circuit as taken" in capsys.readouterr().out


def test_without_a_sheet_the_fields_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fitout"]) == 0
    said = capsys.readouterr().out
    assert all(re.search(rf"^  {name} ", said, re.MULTILINE) for name in MEANING)


@pytest.mark.parametrize(
    ("content", "arguments", "said"),
    [
        (None, [], "cannot be used: No such file"),
        (b"not json", [], "is not JSON"),
        (b"\xff\xfe\x00", [], "is not JSON"),
        (b'{"mains_hz": 5}', [], "mains_hz of the fit-out sheet is '5'"),
        (b'{"transformer_v": 12, "wire": "AWG 90", "wire_loop_m": 10}', [], "too thin"),
        (b"{}", ["--set", "reservoir=1"], "perhaps reservoir_f is meant"),
        (b"{}", ["--plot", "/no/such/folder/rail.svg"], "cannot be used"),
    ],
)
def test_a_bad_sheet_gets_one_sentence_and_exit_code_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], content: bytes | None, arguments: list[str], said: str
) -> None:
    path = tmp_path / "sheet.json"
    if content is not None:
        path.write_bytes(content)
    assert main(["fitout", str(path), *arguments]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err
    assert len(err.strip().splitlines()) == 1
