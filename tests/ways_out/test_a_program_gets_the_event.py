"""Promise: a program of the owner's gets the event on its standard input, never through a shell, within its time."""

import json
import os
import stat
import time
from pathlib import Path

import pytest

from adapters.outlets.command import CommandSender
from service.outlets import Command
from service.retries import Answer
from tests.builders import T0
from tests.ways_out.conftest import letter


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path


def program(folder: Path, text: str, name: str = "lamp") -> None:
    path = folder / name
    path.write_text(f"#!/bin/sh\n{text}\n")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)


def call(folder: Path | None, *arguments: str, name: str = "lamp", time_limit_s: float = 10.0) -> Answer:
    return CommandSender(Command(name, arguments, time_limit_s), folder).send([letter()], T0)


def is_running(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state != "Z"  # it has ended, and nobody has asked how


def test_the_event_comes_on_standard_input_and_the_exit_code_is_told(folder: Path) -> None:
    program(folder, "cat > got")
    assert call(folder) == Answer(True, "exit code 0")
    assert json.loads((folder / "got").read_text()) == letter().content


def test_arguments_are_passed_as_they_are_and_nothing_is_expanded(folder: Path) -> None:
    program(folder, 'printf "%s\\n" "$@" > got')
    words = ["$HOME", "`id`", "a b", "; touch harm", "*", "--"]
    assert call(folder, *words).delivered
    assert (folder / "got").read_text().splitlines() == words
    assert not (folder / "harm").exists()


def test_another_exit_code_is_a_failure_with_the_programs_last_words(folder: Path) -> None:
    program(folder, "echo first >&2; echo 'the lamp is out' >&2; exit 3")
    assert call(folder) == Answer(False, "exit code 3: the lamp is out")


def test_a_program_that_reads_nothing_has_taken_it_all_the_same(folder: Path) -> None:
    program(folder, "exec 0<&-; exit 0")
    assert call(folder) == Answer(True, "exit code 0")


def test_what_a_program_leaves_running_is_not_waited_for(folder: Path) -> None:
    program(folder, "sleep 5 & exit 0")
    begin = time.monotonic()
    assert call(folder) == Answer(True, "exit code 0")
    assert time.monotonic() - begin < 4.0


def test_a_long_event_goes_to_a_program_that_does_not_read_it(folder: Path) -> None:
    program(folder, "exit 4")
    long = letter(told="x" * 1_000_000)
    assert CommandSender(Command("lamp"), folder).send([long], T0) == Answer(False, "exit code 4")


def test_of_what_a_program_says_only_the_end_is_kept(folder: Path) -> None:
    program(folder, "head -c 3000000 /dev/zero | tr '\\0' x >&2; echo >&2; echo 'that was all' >&2; exit 5")
    assert call(folder) == Answer(False, "exit code 5: that was all")


def test_a_program_that_takes_too_long_ends_with_all_it_has_started(folder: Path) -> None:
    program(folder, "sleep 60 & echo $! > child; wait")
    begin = time.monotonic()
    assert call(folder, time_limit_s=0.3) == Answer(False, "ended after its 0.3 s were over")
    assert time.monotonic() - begin < 10.0
    child = int((folder / "child").read_text())
    end = time.monotonic() + 10.0
    while is_running(child) and time.monotonic() < end:
        pass
    assert not is_running(child)


def test_the_services_own_settings_are_not_passed_on(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BELLCRANK_MQTT_PASSWORD", "an invented one")
    program(folder, "env > got")
    assert call(folder).delivered
    got = dict(line.split("=", 1) for line in (folder / "got").read_text().splitlines())
    assert "BELLCRANK_MQTT_PASSWORD" not in got
    assert (got["BELLCRANK_EVENT_ID"], got["BELLCRANK_EVENT_TYPE"]) == ("7-1f", "org.bellcrank.press.v1")
    assert got["PATH"] == os.environ["PATH"]


@pytest.mark.parametrize("name", ["missing", "."])
def test_what_is_no_program_is_refused_in_words(folder: Path, name: str) -> None:
    found = call(folder, name=name)
    assert (found.delivered, found.refused) == (False, True)
    assert "is no program that can be called" in found.told


def test_without_a_folder_nothing_is_called() -> None:
    assert "BELLCRANK_PROGRAMS" in call(None).told
