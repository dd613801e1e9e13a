"""Promise: `bellcrank examine` tells a person in text, a machine in JSON, and writes a page; mistakes are one sentence."""

import json
from pathlib import Path

import pytest

from service import commands
from service.__main__ import main
from tests.examined.recorded import SHEET, aged, text_of

Said = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    folder = tmp_path_factory.mktemp("recording")
    recording, sheet = folder / "tern-cottage.jsonl", folder / "sheet.json"
    recording.write_text(text_of(aged()))
    sheet.write_text(json.dumps(SHEET))
    return recording, sheet


def test_text_is_for_people(files: tuple[Path, Path], capsys: Said) -> None:
    assert main(["examine", str(files[0]), "--fitout", str(files[1])]) == 0
    said = capsys.readouterr().out
    assert said.startswith("The reservoir capacitor has lost capacity.")
    assert "On the spot, in order of effort" in said


def test_json_is_the_answer_of_the_contract(files: tuple[Path, Path], capsys: Said) -> None:
    assert main(["examine", str(files[0]), "--fitout", str(files[1]), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told == json.loads(json.dumps(commands.examine(*files)))
    # the members that the contract names
    assert {"findings", "quantities", "presses", "unseen", "blind"} <= set(told)
    assert {"name", "door", "likelihood", "also_possible", "since", "evidence", "on_site", "caution"} <= set(
        told["findings"][0]
    )


@pytest.mark.parametrize("json_too", [True, False])
def test_a_page_is_written_beside(files: tuple[Path, Path], tmp_path: Path, capsys: Said, json_too: bool) -> None:
    page = tmp_path / "told.html"
    assert main(["examine", str(files[0]), "--html", str(page), *(["--json"] if json_too else [])]) == 0
    assert capsys.readouterr().out.startswith("{" if json_too else "The reservoir")
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert "<i>tern-cottage.jsonl</i>" in page.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"{", "line 1 of the recording"),
        (b'\n{"at": 1, "topic": "\xff/pack"}', "line 2 of the recording: is not UTF-8"),
    ],
)
def test_a_bad_recording_is_one_sentence(tmp_path: Path, capsys: Said, content: bytes, said: str) -> None:
    recording = tmp_path / "bad.jsonl"
    recording.write_bytes(content)
    assert main(["examine", str(recording)]) == 2
    errors = capsys.readouterr().err
    assert said in errors
    assert len(errors.splitlines()) == 1


def test_what_cannot_be_read_or_written_is_one_sentence(files: tuple[Path, Path], tmp_path: Path, capsys: Said) -> None:
    for arguments in (
        [str(tmp_path / "none.jsonl")],
        [str(files[0]), "--fitout", str(tmp_path / "none.json")],
        [str(files[0]), "--html", str(tmp_path / "no folder" / "told.html")],
    ):
        assert main(["examine", *arguments]) == 2
        errors = capsys.readouterr().err
        assert "No such file or directory" in errors
        assert len(errors.splitlines()) == 1
