"""The service's own stream of events, heard from outside over HTTP (WHATWG HTML, "Server-sent events").

Comes back by itself where the stream ends, and asks for what it missed. Knows no words.
"""

import http.client
import json
import time
import urllib.parse
from collections.abc import Callable, Iterable, Iterator
from typing import Any, NamedTuple

from service.errors import SettingError, StoreUnavailable

RETRY_S = 1.0
"""Pause before it comes back, unless the stream says another [s]."""

SILENT_S = 60.0
"""The service sends a comment more often than this; a stream that is silent for longer is dead [s]."""


class Heard(NamedTuple):
    id: str
    kind: str
    data: dict[str, Any]


def parsed(lines: Iterable[str]) -> Iterator[Heard]:
    """Events of a stream's lines, without their ends. Comments and fields that are not known are passed over.

    >>> list(parsed(["event: press", "id: 7", 'data: {"door":', 'data: "front"}', "", ": a comment", ""]))
    [Heard(id='7', kind='press', data={'door': 'front'})]
    """
    last, kind, data = "", "message", list[str]()
    for line in lines:
        name, _, value = line.partition(":")
        value = value.removeprefix(" ")
        if not line:
            if data:
                yield Heard(last, kind, json.loads("\n".join(data)))
            kind, data = "message", []
        elif name == "data":
            data.append(value)
        elif name == "event":
            kind = value
        elif name == "id":
            last = value


def events(url: str, site: str | None = None, sleep: Callable[[float], None] = time.sleep) -> Iterator[Heard]:
    """For ever. `url`: of the service, such as http://localhost:7433.

    Raises SettingError where the address makes no sense, StoreUnavailable where nobody answers at first.
    """
    parts = urllib.parse.urlsplit(url)
    if parts.scheme not in ("http", "https") or not parts.hostname:
        raise SettingError(f"{url!r} is no address of the service; write http://localhost:7433.")
    last, answered = "", False
    while True:
        try:
            for one in parsed(_lines(parts, site, last)):
                answered, last = True, one.id or last
                yield one
            answered = True
        except (OSError, http.client.HTTPException) as error:
            if not answered:
                raise StoreUnavailable(f"Nobody answers at {url}: {error}. Is the service running?") from None
        sleep(RETRY_S)


def _lines(parts: urllib.parse.SplitResult, site: str | None, last: str) -> Iterator[str]:
    kind = http.client.HTTPSConnection if parts.scheme == "https" else http.client.HTTPConnection
    connection = kind(parts.hostname or "", parts.port, timeout=SILENT_S)
    try:
        query = "?" + urllib.parse.urlencode({"site": site}) if site else ""
        headers = {"accept": "text/event-stream", **({"last-event-id": last} if last else {})}
        connection.request("GET", f"{parts.path.rstrip('/')}/api/v1/stream{query}", headers=headers)
        answer = connection.getresponse()
        if answer.status != 200:
            raise http.client.HTTPException(f"it answers {answer.status} {answer.reason}")
        while line := answer.readline():
            yield line.decode().rstrip("\r\n")
    finally:
        connection.close()
