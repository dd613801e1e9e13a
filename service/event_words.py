"""Events in words for people, as e-mails and terminals have them. Times of day are those of a given zone.

Takes events as they were told (`cloud_events.py`), since a letter outlives its event. Knows no way out.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from service.cloud_events import place_of, what_of
from service.errors import StoreUnavailable
from service.findings.advice import ADVICE
from service.ports import Reader

SECTIONS = {
    "alarm": ("Alarms", "alarm"),
    "finding": ("Findings", "finding"),
    "coverage": ("When presses could not be recorded", "gap"),
    "unseen": ("Perhaps not seen", "unseen press"),
    "visit": ("Visits", "visit"),
    "press": ("Presses", "press"),
    "test": ("Tests", "test"),
}
"""What a letter of several events tells, in this order: the heading of each part, and how one of it is counted."""


@dataclass(frozen=True, slots=True)
class Names:
    """What people call houses and doors; by their identifiers where nothing is known."""

    houses: Mapping[str, str] = field(default_factory=dict)
    doors: Mapping[tuple[str, str, str], str] = field(default_factory=dict)

    def house(self, site: str) -> str:
        return self.houses.get(site) or site.replace("-", " ").title()

    def door(self, site: str, chime: str, door: str) -> str:
        return self.doors.get((site, chime, door)) or door.title()


def names_of(reader: Reader) -> Names:
    """Without any where the record is away, since nothing need wait for a name."""
    try:
        sites = reader.sites()
        doors = [door for site in sites for door in reader.doors(site.site)]
    except StoreUnavailable:
        return Names()
    return Names({one.site: one.name for one in sites}, {(one.site, one.chime, one.door): one.name for one in doors})


class Entry(NamedTuple):
    """One event of a letter. `when` with day and time; `where` the door, if it is about one; `text` in whole sentences."""

    when: str
    where: str
    text: str


def gathered(told: Sequence[dict[str, Any]]) -> dict[str, list[dict[str, Any]]]:
    """Several events by their part of a letter, in order of time: each press and visit once, as it was told last, and no press
    whose visit is there."""
    newest: dict[tuple[str, Any], dict[str, Any]] = {}
    for number, one in enumerate(told):
        what, known = what_of(one), one["data"].get("id")
        newest[what, known if what in ("press", "visit") and known is not None else f"letter {number}"] = one
    visits = {one["data"]["id"] for (what, _), one in newest.items() if what == "visit" and "id" in one["data"]}
    parts: dict[str, list[dict[str, Any]]] = {what: [] for what in SECTIONS}
    for (what, _), one in newest.items():
        if what != "press" or one["data"].get("visit") not in visits:
            parts[what].append(one)
    return {what: sorted(ones, key=_moment) for what, ones in parts.items() if ones}


def heading(told: Sequence[dict[str, Any]], names: Names) -> str:
    """In a few words, as a subject: what happened where, or how much of what.

    >>> press = {"type": "org.bellcrank.press.v1", "source": "/sites/tern-cottage/chimes/hall", "data": {"door": "front", "id": 3}}
    >>> heading([press], Names({"tern-cottage": "Tern Cottage"}))
    'Front, Tern Cottage: somebody rang'
    >>> heading([press, press | {"data": {"door": "garden", "id": 4}}], Names())
    'Tern Cottage: 2 presses'
    """
    parts = gathered(told)
    ones = [one for part in parts.values() for one in part]
    houses = " and ".join(dict.fromkeys(names.house(place_of(one)[0]) for one in ones))
    if len(ones) == 1:
        door = _door(ones[0], names)
        return f"{f'{door}, ' if door else ''}{houses}: {_what(ones[0])}"
    return f"{houses}: " + ", ".join(_counted(len(part), SECTIONS[what][1]) for what, part in parts.items())


def entry(told: dict[str, Any], zone: ZoneInfo, names: Names) -> Entry:
    what = _what(told)
    return Entry(_when(told, zone), _door(told, names), f"{what[:1].upper()}{what[1:]}.{_more(told)}")


def _door(told: dict[str, Any], names: Names) -> str:
    door = told["data"].get("door")
    return names.door(*place_of(told), door) if door else ""


def sentence(told: dict[str, Any], zone: ZoneInfo) -> str:
    """On one line, with day, time and place."""
    site, chime = place_of(told)
    what = _what(told, f"the {told['data']['door']} door" if told["data"].get("door") else "a door")
    return f"{_when(told, zone)}, chime {chime} of {site}: {what[:1].upper()}{what[1:]}.{_more(told)}"


def _what(told: dict[str, Any], door: str = "") -> str:
    """In a few words; `door` where it is not told beside."""
    data, what = told["data"], what_of(told)
    at = f" at {door}" if door else ""
    match what:
        case "press":
            return f"somebody rang{at}"
        case "visit":
            return f"somebody was {at.strip() or 'there'}"
        case "unseen":
            return "somebody may have rung, and the log has no press"
        case "coverage":
            return "presses can be recorded again" if data.get("end") else "presses cannot be recorded"
        case "finding":
            name = data.get("name", "")
            title = ADVICE[name].title if name in ADVICE else name
            return f"{title.rstrip('.')} ({data.get('state', '')})"
        case "alarm":
            return f"{data.get('cause', 'alarm').rstrip('.')} ({data.get('state', '')})"
        case _:
            return "a test"


def _more(told: dict[str, Any]) -> str:
    """Further sentences, each after a blank."""
    data = told["data"]
    match what_of(told):
        case "press":
            return _held(data)
        case "visit":
            return f" {_counted(len(data['presses']), 'press')}." + (f" It was {data['who']}." if data["who"] else "")
        case "unseen":
            return f" Signs: {', '.join(data['why'])}."
        case "coverage":
            return f" Reason: {data['why']}." + ("" if data.get("end") else " It goes on.")
        case "finding":
            return f" {ADVICE[data['name']].meaning}" if data.get("name") in ADVICE else ""
        case "alarm":
            return "".join(f" {data[name]}" for name in ("consequence", "action") if data.get(name))
        case _:
            return f" {data['told']}" if data.get("told") else ""


def _held(data: dict[str, Any]) -> str:
    if data.get("start") is None or data.get("end") is None:
        return ""
    held_s = (datetime.fromisoformat(data["end"]) - datetime.fromisoformat(data["start"])).total_seconds()
    return f" Held for {held_s:.1f} s." if held_s >= 0.05 else ""  # it is told from its first pulse on


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" + ("" if number == 1 else "es" if noun.endswith("s") else "s")


def _when(told: dict[str, Any], zone: ZoneInfo) -> str:
    return f"{_moment(told).astimezone(zone):%a %d %b %Y, %H:%M:%S}"


def _moment(told: dict[str, Any]) -> datetime:
    return datetime.fromisoformat(told["data"].get("start") or told["data"].get("since") or told["time"])
