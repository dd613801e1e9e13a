"""Files of presses read: CSV (RFC 4180), JSON Lines and iCalendar (RFC 5545) as `press_files.py` writes them.

Reads no more than a line or an event at a time. What is wrong is refused in one sentence with the number of the line. Knows no
store and no packs.
"""

import csv
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Annotated, Any, Literal
from urllib.parse import parse_qsl

import msgspec
from icalendar import Event

from adapters.press_files import PRESS_PROPERTY
from service import model
from service.errors import BadPack
from service.moving import ToldPress

Form = Literal["recording", "csv", "jsonl", "ics"]

KINDS = ("press", "unseen", "blind")

MOST_EVENT_LINES = 20_000


class _Row(msgspec.Struct):
    """What a press is made from. Other columns, such as who it was, are what people and the record said; packs do not carry them."""

    site: str
    chime: str
    door: str
    start: Annotated[datetime, msgspec.Meta(tz=True)]  # RFC 3339
    end: Annotated[datetime, msgspec.Meta(tz=True)] | None = None
    uncertainty_s: Annotated[float, msgspec.Meta(ge=0.0)] = 0.0
    source: model.PressSource = "summary"
    pulses: Annotated[int, msgspec.Meta(ge=0)] | None = None
    longest_gap_s: Annotated[float, msgspec.Meta(ge=0.0)] = 0.0


def form_of(lines: Iterable[str]) -> Form:
    """What a file is, by its first line that is not empty. Raises BadPack where it is none of ours."""
    first = next((text for line in lines if (text := line.strip().removeprefix("\ufeff"))), "")
    if first.upper() == "BEGIN:VCALENDAR":
        return "ics"
    if first.startswith("{"):
        try:
            return "recording" if "topic" in _object(first) else "jsonl"
        except BadPack as error:
            raise BadPack(f"line 1 of the file: {error}") from None
    if {"site", "chime", "door", "start"} <= set(next(csv.reader([first]), [])):
        return "csv"
    raise BadPack(
        "the file is neither a recording nor presses: it begins with no JSON object, no calendar and no columns"
        " named site, chime, door and start"
    )


def read(lines: Iterable[str], form: Form) -> Iterator[ToldPress]:
    """What a file of presses tells, line by line. Raises BadPack, with the number of the line, at the first bad one."""
    rows = {"csv": _rows_of_csv, "jsonl": _rows_of_jsonl, "ics": _rows_of_ics}[form](lines)
    number = 1
    try:
        for number, row in rows:
            yield ToldPress(number, _press(row))
    except _BadLine as bad:
        raise BadPack(f"line {bad.number} of the file: {bad}") from None
    except BadPack as error:
        raise BadPack(f"line {number} of the file: {error}") from None


class _BadLine(Exception):  # noqa: N818 - never leaves this file
    def __init__(self, number: int, reason: str) -> None:
        super().__init__(reason)
        self.number = number


def _press(row: dict[str, Any]) -> model.Press | None:
    kind = row.get("kind", "press")
    if kind not in KINDS:
        raise BadPack(f"is of kind {str(kind)[:40]!r}; there are {', '.join(KINDS)}")
    if kind != "press":
        return None
    try:
        told = msgspec.convert(row, _Row, strict=False)
    except (msgspec.MsgspecError, ValueError) as error:
        raise BadPack(str(error)) from None
    return model.Press(
        id=0,
        visit_id=0,
        site=told.site,
        chime=told.chime,
        door=told.door,
        start_s=told.start.timestamp(),
        end_s=None if told.end is None else told.end.timestamp(),
        uncertainty_s=told.uncertainty_s,
        source=told.source,
        pulses=told.pulses,
        drop_outs=0,
        bounce=False,
        sure="sure",
        longest_gap_s=told.longest_gap_s,
    )


def _rows_of_csv(lines: Iterable[str]) -> Iterator[tuple[int, dict[str, Any]]]:
    reader = csv.reader(lines, strict=True)
    begins, columns = 1, list[str]()
    try:
        for cells in reader:
            begins, number = reader.line_num + 1, begins
            if not cells:
                continue
            if not columns:
                columns = [name.removeprefix("\ufeff").strip() for name in cells]
                continue
            if len(cells) != len(columns):
                raise _BadLine(number, f"has {len(cells)} fields under {len(columns)} columns")
            yield number, {name: cell for name, cell in zip(columns, cells, strict=True) if cell}
    except csv.Error as error:
        raise _BadLine(begins, f"is no CSV after RFC 4180: {error}") from None


def _rows_of_jsonl(lines: Iterable[str]) -> Iterator[tuple[int, dict[str, Any]]]:
    for number, line in enumerate(lines, 1):
        text = line.strip().removeprefix("\ufeff")
        if text:
            try:
                row = _object(text)
            except BadPack as error:
                raise _BadLine(number, str(error)) from None
            yield number, {name: value for name, value in row.items() if value is not None}


def _object(text: str) -> dict[str, Any]:
    try:
        found = msgspec.json.decode(text)
    except (msgspec.MsgspecError, UnicodeEncodeError, RecursionError) as error:
        raise BadPack(f"is no JSON: {error}") from None
    if not isinstance(found, dict):
        raise BadPack("is no JSON object")
    return found


def _rows_of_ics(lines: Iterable[str]) -> Iterator[tuple[int, dict[str, Any]]]:
    """The presses of each event; the number is that of the line at which its event begins."""
    event: list[str] | None = None
    begins = 0
    for number, line in enumerate(lines, 1):
        text = line.rstrip("\r\n")
        if text.upper() == "BEGIN:VEVENT":
            event, begins = [], number
        if event is None:
            continue
        event.append(text)
        if len(event) > MOST_EVENT_LINES:
            raise _BadLine(begins, f"begins an event of more than {MOST_EVENT_LINES} lines")
        if text.upper() == "END:VEVENT":
            for row in _rows_of_event(event, begins):
                yield begins, row
            event = None
    if event is not None:
        raise _BadLine(begins, "begins an event that does not end")


def _rows_of_event(event: list[str], begins: int) -> Iterator[dict[str, Any]]:
    try:
        told = Event.from_ical("\r\n".join([*event, ""])).get(PRESS_PROPERTY, [])
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        raise _BadLine(begins, f"begins an event that cannot be read: {' '.join(str(error).split())[:200]}") from None
    values = told if isinstance(told, list) else [told]
    if not values:
        raise _BadLine(begins, f"begins an event without {PRESS_PROPERTY}: it is none that Bellcrank has exported")
    for value in values:
        yield dict(parse_qsl(str(value)))
