"""Promise: a file that is none of ours, or has one bad line, is refused in one sentence with the number of the line, and nothing
of it is taken."""

from pathlib import Path

import pytest

from adapters.press_files_read import form_of
from adapters.sql.work import SqlStore
from service.__main__ import main
from service.errors import BadPack
from tests.moving.conftest import Opened, exported, imported, presses

HEAD = "site,chime,door,start,end,source,pulses"
GOOD = "tern-cottage,hall,front,2026-09-14T10:00:00Z,2026-09-14T10:00:00.3Z,edges,15"


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (GOOD.replace("10:00:00Z", "10:00:00"), "timezone"),  # RFC 3339, 5.6: time-offset is not optional
        (GOOD.replace("2026-09-14T10:00:00Z", "14.9.2026 10:00"), "RFC3339"),
        (GOOD.replace("T10:00:00.3Z", "T09:00:00Z"), "ends before it begins"),
        (GOOD.replace("2026", "2036"), "after now"),
        (GOOD.replace("edges", "guess"), "guess"),
        (GOOD.replace("front", "Front door"), "door 'Front door'"),
        (GOOD.replace("tern-cottage", "Tern Cottage"), "site 'Tern Cottage'"),
        (GOOD.replace("hall", "../hall"), "chime"),
        (GOOD.replace(",15", ",-1"), ">= 0"),
        (GOOD.replace(",15", ",many"), "int"),
        (GOOD.replace("edges,15", "edges"), "6 fields under 7 columns"),
        (GOOD.replace("hall", '"hall"x'), "RFC 4180"),
        (GOOD.replace("2026-09-14T10:00:00Z", "2026-07-14T10:00:00Z"), "31 days|2678400|bounds|outside"),
    ],
)
def test_a_bad_line_is_named_and_nothing_is_taken(opened: Opened, line: str, reason: str) -> None:
    store = opened("record")
    with pytest.raises(BadPack, match=rf"line 3 of the file: .*({reason})"):
        imported(store, f"{HEAD}\n{GOOD}\n{line}\n")
    assert presses(store) == []
    assert store.reader().counts().kept == 0


def test_lines_are_counted_as_an_editor_counts_them(opened: Opened) -> None:
    """RFC 4180, section 2 (6): a field in quotes may hold line ends."""
    text = f'{HEAD},note\n{GOOD},"first\nsecond"\n{GOOD}\n'
    with pytest.raises(BadPack, match="line 4 of the file: has 7 fields"):
        imported(opened("record"), text)


def test_a_calendar_of_somebody_else_is_refused(house: SqlStore, opened: Opened) -> None:
    text = exported(house, "ics").splitlines(keepends=True)
    begins = text.index("BEGIN:VEVENT\r\n") + 1
    foreign = ["BEGIN:VEVENT\r\n", "UID:1\r\n", "DTSTART:20260914T100000Z\r\n", "END:VEVENT\r\n"]
    with pytest.raises(BadPack, match=f"line {begins} of the file: begins an event without"):
        imported(opened("record"), "".join([*text[: begins - 1], *foreign, *text[begins - 1 :]]))
    with pytest.raises(BadPack, match="does not end"):
        imported(opened("other"), "".join(text[: begins + 3]))


@pytest.mark.parametrize("text", ["", "hello\n", "[1, 2]\n", "start,end\n", "\x00\x01"])
def test_what_is_none_of_ours_is_refused(text: str) -> None:
    with pytest.raises(BadPack, match="neither a recording nor presses"):
        form_of(text.splitlines())


def test_forms_are_told_apart_by_what_is_in_them() -> None:
    assert form_of(['\ufeff{"at":1,"topic":"bellcrank/1/a/b/alive","alive":"1"}']) == "recording"
    assert form_of(["", '{"kind":"press"}']) == "jsonl"
    assert form_of(["\ufeffBEGIN:VCALENDAR\r\n"]) == "ics"
    assert form_of(['"start",door,chime,site,note\r\n']) == "csv"


# ── as a person does it ─────────────────────────────────────────────────────────────────────────────────────────────


def test_on_the_command_line(tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    file, data = tmp_path / "presses.csv", str(tmp_path / "data")
    file.write_text(f"\ufeff{HEAD}\r\n{GOOD}\r\n", encoding="utf-8")
    assert main(["import", str(file), "--data", data]) == 0
    assert main(["import", str(file), "--data", data]) == 0
    assert capfdbinary.readouterr().out.splitlines() == [
        b"1 read: 1 new, 0 already there, 0 refused.",
        b"1 read: 0 new, 1 already there, 0 refused.",
    ]
    assert main(["export", "presses", "--format", "jsonl", "--data", data, "--from", "2026-09-14T12:00+02:00"]) == 0
    out, said = capfdbinary.readouterr()
    assert out.count(b'"kind":"press"') == 1
    assert said == b"1 written.\n"
    assert main(["export", "presses", "--data", data, "--until", "2026-09-14T12:00+02:00", "-"]) == 0
    assert b"press," not in capfdbinary.readouterr().out
    for form in ("csv", "jsonl", "ics"):
        target = tmp_path / f"out.{form}"
        assert main(["export", "presses", "--format", form, "--data", data, str(target)]) == 0
        assert main(["import", str(target), "--data", str(tmp_path / form)]) == 0
        assert b" 1 new" in capfdbinary.readouterr().out
    target = tmp_path / "recording.jsonl"
    assert main(["export", "recording", "--data", data, str(target)]) == 0
    assert main(["import", str(target), "--data", str(tmp_path / "moved")]) == 0
    assert capfdbinary.readouterr().out == b"1 read: 1 new, 0 already there, 0 refused.\n"
    assert not list(tmp_path.glob("*.unfinished"))


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["export", "presses", "--data", "{none}"], "There is no record in the folder"),
        (["export", "presses", "--data", "{data}", "--site", "elsewhere"], "no site 'elsewhere' has been heard"),
        (["export", "recording", "--data", "{data}", "--site", "tern-cottage", "--chime", "attic"], "no chime 'attic'"),
        (["export", "recording", "--data", "{data}", "--chime", "hall"], "Name it with --site"),
        (["export", "presses", "--data", "{data}", "--from", "yesterday"], "'yesterday' is no time"),
        (["export", "presses", "--data", "{data}", "{none}/out.csv"], "cannot be written"),
        (["import", "{none}", "--data", "{data}"], "cannot be read"),
        (["import", "/dev/null", "--data", "{data}"], "is no file"),
    ],
)
def test_what_cannot_be_done_is_said(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], arguments: list[str], sentence: str
) -> None:
    file = tmp_path / "presses.csv"
    file.write_text(f"{HEAD}\n{GOOD}\n")
    names = {"data": str(tmp_path / "data"), "none": str(tmp_path / "none")}
    assert main(["import", str(file), "--data", names["data"]]) == 0
    assert main([argument.format(**names) for argument in arguments]) == 2
    said = capfd.readouterr().err
    assert sentence in said
    assert said.count("\n") == 1
