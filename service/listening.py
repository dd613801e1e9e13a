"""What happens, as lines for a person who watches a terminal or for a program: filters and words. Knows no network and no clock."""

import json
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any, get_args
from zoneinfo import ZoneInfo

from service.alarms.rules import Priority
from service.cloud_events import WHAT, cloud_event
from service.event_words import sentence
from service.model import Event, EventKind
from service.outlets import URGENCY, urgency

KINDS: tuple[EventKind, ...] = tuple(kind for kind in get_args(EventKind) if kind != "test")

BOLD, DIM, PLAIN = "\x1b[1m", "\x1b[2m", "\x1b[0m"
WEIGHT = {"press": BOLD, "alarm": BOLD, "finding": BOLD, "supply": DIM, "presence": DIM}
"""On a terminal, weight and not colour tells what is urgent: it reads on any background."""


@dataclass(frozen=True, slots=True)
class Filter:
    """What is to be shown; empty or None: everything. Supply comes every ten seconds, and only where it is asked for."""

    kinds: Collection[str] = ()
    chime: str | None = None
    door: str | None = None
    lowest: Priority = Priority.LOW

    def shows(self, event: Event) -> bool:
        return (
            (event.kind in self.kinds if self.kinds else event.kind != "supply")
            and self.chime in (None, event.chime)
            and self.door in (None, event.data.get("door"))
            and urgency(event) >= URGENCY[self.lowest]
        )


def line(event: Event, zone: ZoneInfo, weighty: bool = False) -> str:
    """For a person. `weighty`: with a terminal's marks."""
    told = f"{event.kind:<9} {_words(event, zone)}"
    return f"{WEIGHT[event.kind]}{told}{PLAIN}" if weighty and event.kind in WEIGHT else told


def json_line(event: Event) -> str:
    """For a program: one object a line."""
    told = {"id": event.id, "event": event.kind, "site": event.site, "chime": event.chime, **event.data}
    return json.dumps(told, ensure_ascii=False)


def _words(event: Event, zone: ZoneInfo) -> str:
    if event.kind in WHAT:
        return sentence(cloud_event(event, ""), zone)
    data, at = event.data, _local(event.data.get("at"), zone)
    if event.kind == "presence":
        return f"{at}, chime {event.chime} of {event.site}: {'it is there' if data.get('alive') else 'it is away'}."
    figures = ", ".join(f"{name} {value:g}" for name, value in data.items() if isinstance(value, int | float))
    return f"{at}, chime {event.chime} of {event.site}: {figures}."


def _local(text: Any, zone: ZoneInfo) -> str:
    if not isinstance(text, str):
        return "now"
    return f"{datetime.fromisoformat(text).astimezone(zone):%a %d %b %Y, %H:%M:%S}"
