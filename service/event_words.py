"""Events in words for people, as e-mails have them: a heading and a sentence each. Times of day are those of the outlet's zone.

Takes events as they were told (`cloud_events.py`), since a letter outlives its event. Knows no way out.
"""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from service.cloud_events import place_of, what_of
from service.findings.advice import ADVICE


def heading(told: dict[str, Any]) -> str:
    """In a few words, as a subject.

    >>> heading({"type": "org.bellcrank.press.v1", "source": "/sites/tern-cottage/chimes/hall", "data": {"door": "front"}})
    'Tern-Cottage: somebody rang at the front door'
    """
    site, _ = place_of(told)
    return f"{site.title()}: {_what(told)}"


def sentence(told: dict[str, Any], zone: ZoneInfo) -> str:
    """With the day and time."""
    data, what = told["data"], what_of(told)
    local = _local(data.get("start") or data.get("since") or told["time"], zone)
    site, chime = place_of(told)
    more = {
        "press": lambda: _held(data),
        "visit": lambda: (
            f" {_counted(len(data['presses']), 'press')}." + (f" It was {data['who']}." if data["who"] else "")
        ),
        "unseen": lambda: f" Signs: {', '.join(data['why'])}.",
        "coverage": lambda: f" Reason: {data['why']}." + ("" if data.get("end") else " It goes on."),
        "finding": lambda: f" {ADVICE[data['name']].meaning}" if data.get("name") in ADVICE else "",
        "alarm": lambda: f" {data.get('consequence', '')} {data.get('action', '')}".rstrip(),
    }.get(what, lambda: f" {data.get('told', '')}".rstrip())()
    text = _what(told)
    return f"{local}, chime {chime} of {site}: {text[:1].upper()}{text[1:]}.{more}"


def _what(told: dict[str, Any]) -> str:
    data, what = told["data"], what_of(told)
    door = f"the {data['door']} door" if data.get("door") else "a door"
    match what:
        case "press":
            return f"somebody rang at {door}"
        case "visit":
            return f"somebody was at {door}"
        case "unseen":
            return "somebody may have rung, and the log has no press"
        case "coverage":
            return "presses can be recorded again" if data.get("end") else "presses cannot be recorded"
        case "finding":
            name = data.get("name", "")
            title = ADVICE[name].title if name in ADVICE else name
            return f"{title} ({data.get('state', '')})"
        case "alarm":
            return f"{data.get('cause', 'alarm')} ({data.get('state', '')})"
        case _:
            return "a test"


def _held(data: dict[str, Any]) -> str:
    if data.get("start") is None or data.get("end") is None:
        return ""
    held_s = (datetime.fromisoformat(data["end"]) - datetime.fromisoformat(data["start"])).total_seconds()
    return (
        f" Held for {held_s:.1f} s." if held_s >= 0.05 else ""
    )  # it is told at the first pulse, and again when it is over


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" + ("es" if number != 1 else "")


def _local(text: str, zone: ZoneInfo) -> str:
    return f"{datetime.fromisoformat(text).astimezone(zone):%a %d %b %Y, %H:%M:%S}"
