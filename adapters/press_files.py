"""Presses written as files: CSV (RFC 4180), JSON Lines and iCalendar (RFC 5545); `press_files_read.py` reads them again.

All three tell a press by the same names. CSV and JSON Lines also tell of unseen presses and blind time, each line with its `kind`,
so that a file is as honest as the log; a calendar has visits only. Refuses to know where the entries come from and the bytes go.
"""

import csv
from collections.abc import Iterable, Iterator, Mapping
from io import StringIO
from itertools import islice
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

import msgspec
from icalendar.parser import Contentline

from adapters.calendars import write_visits
from service import model, telling
from service.leaving import Asked, Counted, Entry, Rung, sites, visits
from service.ports import Reader

OF_PRESS = (
    "site", "chime", "door", "start", "end", "uncertainty_s", "source", "pulses", "longest_gap_s", "drop_outs", "bounce", "sure",
    "cut_off", "visit",
)  # fmt: skip
COLUMNS = ("kind", *OF_PRESS, "cadence", "who", "note", "why", "packs", "records")

FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "\0")
"""Text that begins so may be run as a formula by a spreadsheet: an apostrophe before it prevents that (OWASP ASVS 5.0, 1.2.10;
the ends of lines after the same organisation's page on CSV injection, from memory)."""

PRESS_PROPERTY = "X-BELLCRANK-PRESS"
"""Beside what a calendar shows: a press in full, so that it can be read again. Its value has nothing that TEXT would escape."""

BEGIN_EVENT, END_EVENT, END = b"BEGIN:VEVENT\r\n", b"END:VEVENT\r\n", b"END:VCALENDAR\r\n"
VISITS_AT_ONCE = 500


def write_jsonl(entries: Iterable[Entry]) -> Iterator[bytes]:
    """One JSON object a line; press, unseen and blind by their `kind`."""
    for entry in entries:
        yield msgspec.json.encode(_fields(entry)) + b"\n"


def write_csv(entries: Iterable[Entry]) -> Iterator[bytes]:
    """A header and one record an entry, ends of lines as RFC 4180 has them. A column that an entry does not have is empty."""
    line = StringIO(newline="")
    writer = csv.writer(line)
    writer.writerow(COLUMNS)
    for entry in entries:
        fields = _fields(entry)
        writer.writerow([_cell(fields.get(name)) for name in COLUMNS])
        yield line.getvalue().encode()
        line.seek(0)
        line.truncate()
    yield line.getvalue().encode()


def write_calendars(reader: Reader, asked: Asked, counted: Counted) -> Iterator[bytes]:
    """One calendar for each house, one after the other, as RFC 5545 (3.4) allows. A visit counts where it begins in the stretch."""
    for name in sites(reader, asked):
        site, doors = reader.site(name), {door.door: door.name for door in reader.doors(name, asked.chime)}
        yield from write_ics(counted.all(visits(reader, name, asked)), site, ZoneInfo(site.time_zone), doors)


def write_ics(
    found: Iterable[model.Visit], site: model.Site, zone: ZoneInfo, doors: Mapping[str, str] | None = None
) -> Iterator[bytes]:
    """A calendar of visits as `calendars.write_visits` makes it, with every press in full beside. In parts; together one calendar."""
    yield write_visits([], site, zone, doors).removesuffix(END)
    following = iter(found)
    while some := list(islice(following, VISITS_AT_ONCE)):
        _, *events = write_visits(some, site, zone, doors).removesuffix(END).split(BEGIN_EVENT)
        for visit, event in zip(some, events, strict=True):
            presses = (_folded(f"{PRESS_PROPERTY}:{_value(press)}") for press in visit.presses)
            yield BEGIN_EVENT + event.removesuffix(END_EVENT) + b"".join(presses) + END_EVENT
    yield END


def _folded(line: str) -> bytes:
    """Lines of at most 75 octets, as RFC 5545 (3.1) has them."""
    return bytes(Contentline(line).to_ical()) + b"\r\n"  # type: ignore[no-untyped-call]


def _fields(entry: Entry) -> dict[str, Any]:
    if isinstance(entry, Rung):
        told = telling.press(entry.press)
        visit = entry.visit
        said = {"cadence": visit.cadence, "who": visit.who, "note": visit.note}
        return {"kind": "press", **{name: told[name] for name in OF_PRESS}, **said}
    if isinstance(entry, model.Unseen):
        return {"kind": "unseen", **telling.unseen(entry)}
    return {"kind": "blind", **telling.blind_spell(entry)}


def _cell(value: Any) -> str:
    """
    >>> _cell("=1+1"), _cell(True), _cell(None), _cell(-0.5), _cell(["rail rose", "restarted"])
    ("'=1+1", 'true', '', '-0.5', 'rail rose; restarted')
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "; ".join(value)
    text = str(value)
    return f"'{text}" if isinstance(value, str) and text.startswith(FORMULA) else text


def _value(press: model.Press) -> str:
    told = telling.press(press)
    return urlencode([(name, _cell(told[name])) for name in OF_PRESS if told[name] is not None])
