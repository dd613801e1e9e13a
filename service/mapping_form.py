"""The mapping file (TOML): read whole, or refused with every mistake, its line and column, and what is wanted there.

Knows no message.
"""

import re
import tomllib
from collections.abc import Callable
from difflib import get_close_matches
from typing import Any, NamedTuple, get_args

from service.contract import DOOR, OF_PACK, RESERVED
from service.errors import SettingError
from service.mapping import Map, Take
from service.topics import NAME

TAKES: tuple[Take, ...] = get_args(Take)
FIELDS: dict[Take, tuple[set[str], set[str]]] = {
    "press": ({"door", "pressed"}, {"released"}),
    "counter": ({"door"}, set()),
    "figure": ({"record"}, {"scale", "window_s"}),
    "presence": ({"present", "absent"}, set()),
}
"""What each needs, and what it may have, beside what all have."""

NEEDED, ALLOWED = {"topic", "site", "chime", "take"}, {"path"}
FIGURES = [name for name, rule in OF_PACK.items() if rule.kind == "number" and name not in ("up", "clock")]

EXAMPLE = """[[map]]
topic = "porch/button"
site = "tern-cottage"
chime = "porch"
take = "press"
door = "front"
pressed = ["ON"]
released = ["OFF"]
"""


class Mistake(NamedTuple):
    line: int
    column: int
    text: str


class MappingRefused(SettingError):  # noqa: N818 - a condition, not a mistake of the program
    """A mapping file that cannot be used. `mistakes` in the order of the file."""

    def __init__(self, mistakes: list[Mistake]) -> None:
        self.mistakes = sorted(mistakes)
        super().__init__(" ".join(f"line {one.line}, column {one.column}: {one.text}" for one in self.mistakes))


def read_mapping(text: str) -> list[Map]:
    """Raises MappingRefused.

    >>> read_mapping(EXAMPLE)[0].door
    'front'
    >>> read_mapping(EXAMPLE.replace('door = "front"', 'dor = "front"'))
    Traceback (most recent call last):
    service.mapping_form.MappingRefused: line 1, column 1: `door` is missing. line 6, column 1: `dor` is not known; was `door` meant?
    """
    try:
        told = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        line, column = (int(place[1]), int(place[2])) if place else (text.count("\n") + 1, 1)
        raise MappingRefused([Mistake(line, column, f"{str(error).partition(' (at ')[0]}.")]) from None
    mistakes = [
        Mistake(*_place(text, None, name), f"`{name}` is not known; each line of the mapping begins with [[map]].")
        for name in told
        if name != "map"
    ]
    tables = told.get("map", [])
    if not isinstance(tables, list) or not all(isinstance(one, dict) for one in tables) or not tables:
        mistakes.append(Mistake(1, 1, "There is no [[map]] in it."))
        raise MappingRefused(mistakes)
    found: list[Map] = []
    for number, table in enumerate(tables):
        reader = _Reader(text, number, table)
        one = reader.read()
        mistakes += reader.mistakes
        if one is not None:
            found.append(one)
    if mistakes:
        raise MappingRefused(mistakes)
    return found


class _Reader:
    """One table of the file."""

    def __init__(self, text: str, number: int, table: dict[str, Any]) -> None:
        self._text, self._place_of, self._table = text, number, table
        self.mistakes: list[Mistake] = []

    def read(self) -> Map | None:
        take = self._one_of("take", TAKES)
        needs, more = FIELDS.get(take, (set[str](), set[str]())) if take else (set[str](), set[str]())
        allowed = NEEDED | ALLOWED | needs | more
        for name in self._table if take else ():
            if name not in allowed:
                near = get_close_matches(name, allowed, 1)
                self._wrong(
                    name, f"`{name}` is not known{f'; was `{near[0]}` meant?' if near else f' where {take} is taken.'}"
                )
        for name in (NEEDED | needs) - set(self._table):
            self._wrong(None, f"`{name}` is missing.")
        values: dict[str, Any] = {
            "topic": self._checked(
                "topic", _is_filter, "an MQTT topic filter: + stands alone between /, # alone at the end"
            ),
            "site": self._checked("site", _is_name, "1 to 40 of a-z, 0-9 and -"),
            "chime": self._checked("chime", _is_name, "1 to 40 of a-z, 0-9 and -"),
            "door": self._checked("door", _is_door, "1 to 16 of a-z and 0-9, and none of the contract's own words"),
            "scale": self._number("scale", 1.0),
            "window_s": self._number("window_s", None),
            "find": self._path(),
        }
        values |= {name: self._words(name) for name in ("pressed", "released", "present", "absent")}
        if "record" in self._table:
            record = self._one_of("record", FIGURES)
            values |= {"record": record, "unit": OF_PACK[record].unit if record else ""}
        if self.mistakes or take is None:
            return None
        return Map(take=take, **{name: value for name, value in values.items() if value is not None})

    def _wrong(self, name: str | None, text: str, further: int = 0) -> None:
        line, column = _place(self._text, self._place_of, name)
        self.mistakes.append(Mistake(line, column + further, text))

    def _one_of(self, name: str, choices: Any) -> Any:
        value = self._table.get(name)
        if value is None or value in choices:
            return value
        near = get_close_matches(str(value), choices, 1)
        self._wrong(name, f"{value!r} is none of {', '.join(choices)}{f'; was {near[0]!r} meant?' if near else '.'}")
        return None

    def _checked(self, name: str, fits: Callable[[str], bool], wanted: str) -> str | None:
        value = self._table.get(name)
        if value is not None and not (isinstance(value, str) and fits(value)):
            self._wrong(name, f"`{name}` must be {wanted}.")
        return value

    def _words(self, name: str) -> frozenset[str] | None:
        value = self._table.get(name)
        if value is None:
            return None
        if not isinstance(value, list) or not value or not all(isinstance(one, str) for one in value):
            self._wrong(name, f'`{name}` must be a list of words, such as ["ON"].')
            return None
        return frozenset(value)

    def _number(self, name: str, otherwise: float | None) -> float | None:
        value = self._table.get(name, otherwise)
        if value is not None and (
            isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 < value < 1e9
        ):
            self._wrong(name, f"`{name}` must be a number above 0.")
        return value

    def _path(self) -> Callable[[Any], list[Any]] | None:
        """A JSONPath (RFC 9535)."""
        path = self._table.get("path")
        if path is None:
            return None
        from jsonpath_rfc9535 import JSONPathError, compile

        try:
            compiled = compile(str(path))
        except JSONPathError as error:
            token = getattr(error, "token", None)
            further = (token.index + self._quoted("path")) if token is not None else 0
            self._wrong("path", f"It is no JSONPath (RFC 9535): {str(error).partition(', line')[0]}.", further)
            return None

        def find(told: Any) -> list[Any]:
            """Raises ValueError with a sentence."""
            try:
                return list(compiled.find(told).values())
            except JSONPathError as error:  # such as one nested more deeply than is followed
                raise ValueError(f"its JSONPath finds nothing in it: {str(error).partition(', line')[0]}") from None

        return find

    def _quoted(self, name: str) -> int:
        """From the name to the first character of its text."""
        found = re.search(rf"^[ \t]*{name}\s*=\s*[\"']", _table_text(self._text, self._place_of)[1], re.MULTILINE)
        return len(found[0].lstrip()) if found else 0


def _table_text(text: str, number: int) -> tuple[int, str]:
    """Where a table begins in the file, and its text."""
    heads = [head.start() for head in re.finditer(r"^[ \t]*\[\[\s*map\s*\]\]", text, re.MULTILINE)]
    begin = heads[number] if number < len(heads) else 0
    end = heads[number + 1] if number + 1 < len(heads) else len(text)
    return begin, text[begin:end]


def _place(text: str, number: int | None, name: str | None) -> tuple[int, int]:
    """Line and column, from 1, of a name in a table (None: of the file); of the table where it is not in it."""
    begin, part = (0, text) if number is None else _table_text(text, number)
    found = re.search(rf"^[ \t]*(?=\[?\[?\s*\"?{re.escape(name)}\"?\s*[=\].])", part, re.MULTILINE) if name else None
    at = begin + (found.end() if found else len(part) - len(part.lstrip()))
    return text.count("\n", 0, at) + 1, at - (text.rfind("\n", 0, at) + 1) + 1


def _is_filter(text: str) -> bool:
    parts = text.split("/")
    good = all(part in ("+", "#") or not set(part) & {"+", "#"} for part in parts) and "#" not in parts[:-1]
    return bool(text) and len(text) < 1000 and "\0" not in text and good


def _is_name(text: str) -> bool:
    return bool(NAME.fullmatch(text))


def _is_door(text: str) -> bool:
    return bool(DOOR.fullmatch(text)) and text not in RESERVED
