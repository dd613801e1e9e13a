"""Promise: `bellcrank ask` asks a chime through the running service, waits, and says what came of it, by exit code too.

A real server and a chime that answers or does not; the clock of the service is set by hand. Exit codes are the project's own
(README.md, "Ask the chime"); refusals are RFC 9457 problem details.
"""

import json
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from fastapi import FastAPI

from adapters import ask_api, problems
from adapters.http_server import Server
from adapters.routes import add_routes
from service import ask_command
from service.__main__ import WRONG, main
from service.asks import ANSWER_WITHIN_S
from service.errors import SettingError
from tests.asks.test_a_chime_is_asked_and_its_answer_known import BURST, SOUND, House, house
from tests.blind_time.listening import sent, take_in
from tests.builders import CHIME, SITE, T0

__all__ = ["house"]
PLACE = f"{SITE}/{CHIME}"


@contextmanager
def served(house: House) -> Iterator[str]:
    """The requests of this house, over HTTP."""
    app = FastAPI()
    problems.install(app)
    add_routes(app, ask_api.build(house.store.reader(), house.asking, lambda: T0 + house.now_s))
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = Server(app, "127.0.0.1", port, lambda: None)
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield f"http://127.0.0.1:{port}"
    server.stop()
    thread.join()


@pytest.fixture
def url(house: House) -> Iterator[str]:
    with served(house) as at:
        yield at


def waiting(monkeypatch: pytest.MonkeyPatch, *steps: Any) -> None:
    """Instead of sleeping, one step more happens each time."""
    ahead = iter(steps)
    monkeypatch.setattr(time, "sleep", lambda _: next(ahead, lambda: None)())


def test_a_survey_is_waited_for(
    house: House, url: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def answers() -> None:
        take_in(house.store, [sent(6, 325.0, *BURST)])
        house.tick(330.0)

    waiting(monkeypatch, lambda: house.tick(320.0), answers)
    assert main(["ask", PLACE, "survey", "--by", "Ann", "--why", "before I drive out", "--url", url]) == 0
    assert capsys.readouterr().out == "The chime answered, 15 s after it was asked.\n"
    (kept,) = house.store.reader().asks(SITE, CHIME)
    assert (kept.what, kept.by, kept.why) == ("bursts", "Ann", "before I drive out")
    assert house.sent == [{"id": f"ask-{kept.id}", "do": "bursts"}]


def test_a_chime_that_does_not_answer_is_told_as_such(
    house: House, url: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    waiting(monkeypatch, lambda: house.tick(310.0 + ANSWER_WITHIN_S["sound"] + 1.0))
    assert main(["ask", PLACE, "sound", "--url", url]) == WRONG
    assert capsys.readouterr().out == "The chime has not answered within 60 s.\n"


def test_a_program_gets_it_as_json(
    house: House, url: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def answers() -> None:
        take_in(house.store, [sent(6, 312.0, SOUND)])
        house.tick(315.0)

    waiting(monkeypatch, answers)
    assert main(["ask", PLACE, "sound", "--json", "--url", url]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["what"], told["state"]) == ("sound", "answered")


@pytest.mark.parametrize("end", [["--for", "3600"], ["--until", "2026-09-14T11:05:10+01:00"]])
def test_quiet_is_sent_with_its_end_and_not_waited_for(
    house: House, url: str, end: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # T0 is 2026-09-14 11:00 in Britain (from the POSIX time, by hand); the service's clock stands 310 s later
    monkeypatch.setattr("service.settings.now_s", lambda: T0 + house.now_s)
    house.now_s = 10.0
    assert main(["ask", PLACE, "hush", *end, "--url", url]) == 0
    until_s = T0 + (3610.0 if end[0] == "--for" else 310.0)
    assert (house.sent[0]["do"], house.sent[0]["until_s"]) == ("hush", until_s)
    told = {"what": "hush", "state": "sent", "told": "The broker has it.", "until": "2026-09-14T10:05:10Z"}
    shown = ask_command.sentence(told, ZoneInfo("Europe/London"))
    assert shown == "The broker has it. It is to be quiet until Mon 14 Sep 2026, 11:05:10."
    assert "It is to be quiet until " in capsys.readouterr().out


def test_one_who_does_not_wait_is_told_that_it_was_sent(
    house: House, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["ask", PLACE, "survey", "--no-wait", "--url", url]) == 0
    assert "not known yet" in capsys.readouterr().out


def test_what_the_broker_does_not_take_is_no_success(
    house: House, url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    house.taken = False
    assert main(["ask", PLACE, "survey", "--url", url]) == WRONG
    assert "the broker is away" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([PLACE, "hush"], "A hush has an end"),
        ([PLACE, "sound", "--for", "60"], "Only a hush has an end"),
        ([PLACE, "hush", "--for", "1e6"], "within 24 hours"),
        ([f"{SITE}/attic", "sound"], "no chime 'attic'"),
        (["hall", "sound"], "write SITE/CHIME"),
        ([PLACE, "hush", "--until", "tonight"], "is no time"),
    ],
)
def test_what_cannot_be_is_refused_with_a_sentence(
    house: House, url: str, words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["ask", *words, "--url", url]) == 2
    assert said in capsys.readouterr().err
    assert house.sent == []


def test_where_nothing_listens_that_is_said(house: House, capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        assert main(["ask", PLACE, "sound", "--url", f"http://127.0.0.1:{probe.getsockname()[1]}"]) == 2
    assert "Is the service running?" in capsys.readouterr().err
    assert main(["ask", PLACE, "sound", "--url", "localhost:7433"]) == 2
    assert "no address of the service" in capsys.readouterr().err


class Deaf:
    """A service that takes a request and never says how it ended."""

    def get(self, path: str) -> Any:
        return {"asks": [{"id": 1, "what": "bursts", "state": "waiting", "told": ""}]}

    def post(self, path: str, body: dict[str, Any]) -> Any:
        return self.get(path)["asks"][0]


def test_it_does_not_wait_for_ever() -> None:
    now = [0.0]
    told = ask_command.ask(
        Deaf(), PLACE, "survey", "", "", None, lambda: now[0], lambda s: now.__setitem__(0, now[0] + s)
    )
    assert now[0] == pytest.approx(ANSWER_WITHIN_S["bursts"] + ask_command.GRACE_S, abs=ask_command.LOOK_EVERY_S)
    assert not ask_command.is_well(told)
    with pytest.raises(SettingError):
        ask_command.ask(Deaf(), "Hall/x", "survey", "", "", None, lambda: 0.0, lambda _: None)
