"""Promise: whoever listens hears what he asked for, in words or as JSON, and after a break what he missed.

Server-sent events: WHATWG HTML, section 9.2.6 "Interpreting an event stream"; its examples stand below.
"""

import http.server
import itertools
import json
import threading
from collections.abc import Iterator
from zoneinfo import ZoneInfo

import pytest

from adapters.event_stream import Heard, events, parsed
from service.alarms.rules import Priority
from service.errors import SettingError, StoreUnavailable
from service.listening import KINDS, Filter, json_line, line
from service.model import Event, EventKind

ZONE = ZoneInfo("Europe/London")
PRESS = Event(7, 0.0, "press", "tern-cottage", "hall", {
    "door": "front", "start": "2026-07-14T10:00:00Z", "end": "2026-07-14T10:00:00.400000Z",
})  # fmt: skip
ALARM = Event(8, 0.0, "alarm", "tern-cottage", "hall", {
    "rule": "chime-silent", "state": "unacknowledged", "since": "2026-07-14T10:00:00Z", "priority": "medium",
    "cause": "Nothing has been heard from the chime.", "consequence": "It may not be ringing.", "action": "Ring the bell.",
})  # fmt: skip


def happening(kind: EventKind, **data: object) -> Event:
    return Event(1, 0.0, kind, "tern-cottage", "hall", dict(data))


def test_the_standards_examples_are_understood() -> None:
    """ "data: YHOO", "data: +2", "data: 10": one event of three lines; a space after the colon is left out, and no more than one."""
    (one,) = parsed(['data: {"a":', "data:1,", 'data:  "b": 2}', ""])
    assert one == Heard("", "message", {"a": 1, "b": 2})
    assert list(parsed([": test stream", "", "id", "", "data: {}"])) == []  # an event that is not ended is dropped
    assert [one.id for one in parsed(["id: 1", "data: {}", "", "data: {}", ""])] == ["1", "1"]  # an id stays


def test_a_person_reads_sentences_in_local_time() -> None:
    assert line(PRESS, ZONE) == (
        "press     Tue 14 Jul 2026, 11:00:00, chime hall of tern-cottage: Somebody rang at the front door. Held for 0.4 s."
    )
    assert "Nothing has been heard from the chime (unacknowledged)." in line(ALARM, ZONE)
    assert line(ALARM, ZONE, weighty=True) == f"\x1b[1m{line(ALARM, ZONE)}\x1b[0m"


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_a_line(kind: EventKind) -> None:
    data = {
        "at": "2026-07-14T10:00:00Z",
        "start": "2026-07-14T10:00:00Z",
        "alive": True,
        "mean_v": 14.2,
        "name": "",
        "who": None,
    }
    told = line(happening(kind, **data, presses=[1], why=["rail rose"]), ZONE)
    assert told.startswith(kind)
    assert "11:00:00" in told


def test_a_program_reads_one_object_a_line() -> None:
    assert json.loads(json_line(PRESS)) == {
        "id": 7, "event": "press", "site": "tern-cottage", "chime": "hall", **PRESS.data,
    }  # fmt: skip


def test_only_what_was_asked_for_is_shown() -> None:
    assert Filter().shows(PRESS)
    assert not Filter().shows(happening("supply", mean_v=14.2))
    assert Filter(kinds={"supply"}).shows(happening("supply", mean_v=14.2))
    assert not Filter(kinds={"alarm"}).shows(PRESS)
    assert not Filter(door="garden").shows(PRESS)
    assert not Filter(chime="attic").shows(PRESS)
    assert Filter(lowest=Priority.MEDIUM).shows(ALARM)
    assert not Filter(lowest=Priority.HIGH).shows(ALARM)


@pytest.fixture
def breaking() -> Iterator[tuple[str, list[str | None]]]:
    """A service whose stream ends after each event; the ids it was asked to go on after."""
    asked: list[str | None] = []

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.headers["last-event-id"])
            self.send_response(200)
            self.send_header("content-type", "text/event-stream")
            self.end_headers()
            self.wfile.write(f': listening\n\nevent: press\nid: {len(asked)}\ndata: {{"door":"front"}}\n\n'.encode())

        def log_message(self, *_: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.01,))
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}", asked
    server.shutdown()
    thread.join()
    server.server_close()


def test_it_comes_back_and_asks_for_what_it_missed(breaking: tuple[str, list[str | None]]) -> None:
    url, asked = breaking
    heard = list(itertools.islice(events(url, sleep=lambda _: None), 3))
    assert [one.id for one in heard] == ["1", "2", "3"]
    assert asked[:3] == [None, "1", "2"]


def test_what_cannot_be_heard_is_told_in_a_sentence() -> None:
    with pytest.raises(SettingError, match="no address of the service"):
        next(events("localhost:7433"))
    with pytest.raises(StoreUnavailable, match="Is the service running"):
        next(events("http://127.0.0.1:9"))
