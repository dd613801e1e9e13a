"""What another chime says in its own way, as packs of the contract: words, counters and figures, plain or inside JSON.

Such a chime tells no pulses and no clock: its presses have the time of their arrival. What it said before is remembered only while
the service runs, so a counter begins anew with each start, and nothing is claimed of what it counted meanwhile. Knows no broker.
"""

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple

Take = Literal["press", "counter", "figure", "presence"]

SAME_WITHIN_S = 10.0
"""A message that the broker marks as sent again is left out where the same came within this [s]."""

MOST_AT_ONCE = 20
"""Presses that a counter may tell at once; a larger step is a counter that was set (chosen)."""


@dataclass(frozen=True, slots=True)
class Map:
    """One line of the mapping. `find` takes a value out of JSON; None: the payload is the value, as text.

    `pressed`, `released`: words; without `released` each press is over at once. `present`, `absent`: words of a presence.
    """

    topic: str  # a filter
    site: str
    chime: str
    take: Take
    door: str = ""
    pressed: frozenset[str] = frozenset()
    released: frozenset[str] = frozenset()
    present: frozenset[str] = frozenset()
    absent: frozenset[str] = frozenset()
    record: str = ""
    unit: str = ""
    scale: float = 1.0
    window_s: float | None = None
    find: Callable[[Any], list[Any]] | None = None


class Said(NamedTuple):
    """What a message comes to: a leaf of the contract's topics and its payload; or why it cannot be used."""

    site: str
    chime: str
    leaf: str
    payload: bytes
    trouble: str = ""


@dataclass(slots=True)
class Translator:
    """One for each connection; `translate` messages in their order."""

    maps: Sequence[Map]
    _counted: dict[int, float] = field(default_factory=dict)
    _closed: dict[int, bool] = field(default_factory=dict)
    _lately: dict[tuple[str, bytes], float] = field(default_factory=dict)

    @property
    def filters(self) -> list[str]:
        return list(dict.fromkeys(one.topic for one in self.maps))

    def translate(
        self, topic: str, payload: bytes, received_s: float, retained: bool = False, again: bool = False
    ) -> list[Said]:
        """Nothing where no line of the mapping is for this topic, or nothing has happened."""
        before_s = self._lately.get((topic, payload))
        if again and before_s is not None and 0.0 <= received_s - before_s < SAME_WITHIN_S:
            return []
        self._lately = {key: at for key, at in self._lately.items() if received_s - at < SAME_WITHIN_S}
        self._lately[topic, payload] = received_s
        found: list[Said] = []
        for number, one in enumerate(self.maps):
            if matches(one.topic, topic):
                found += self._of(number, one, payload, received_s, retained)
        return found

    def _of(self, number: int, one: Map, payload: bytes, received_s: float, retained: bool) -> Iterator[Said]:
        try:
            values = _values(one, payload)
        except ValueError as error:
            yield Said(one.site, one.chime, "pack", payload, str(error))
            return
        for value in values:
            try:
                told = self._records(number, one, value, retained)
            except ValueError as error:
                yield Said(one.site, one.chime, "pack", payload, str(error))
                continue
            if one.take == "presence":
                yield from (Said(one.site, one.chime, "alive", state.encode()) for state in told)
                continue
            for records in told:
                # `clock` tells equal packs apart: each press is one of its own
                pack = [*records, {"n": "clock", "u": "s", "v": received_s}]
                yield Said(one.site, one.chime, "pack", json.dumps(pack, separators=(",", ":")).encode())

    def _records(self, number: int, one: Map, value: str, retained: bool) -> list[Any]:
        """Of each pack; of a presence the payloads. Raises ValueError with a sentence."""
        match one.take:
            case "press":
                return self._press(number, one, value, retained)
            case "counter":
                return self._count(number, one, _number(value), retained)
            case "figure":
                window = [{"n": "rail.window", "u": "s", "v": one.window_s}] if one.window_s else []
                return [[{"n": one.record, "u": one.unit, "v": one.scale * _number(value)}, *window]]
            case "presence":
                return ["1" if value in one.present else "0"] if value in one.present | one.absent else []

    def _press(self, number: int, one: Map, value: str, retained: bool) -> list[Any]:
        if value not in one.pressed | one.released:
            return []
        closed = value in one.pressed
        if not one.released:
            return [] if retained else [_short(one.door)]
        known, self._closed[number] = self._closed.get(number), closed
        if retained or closed is known or (known is None and not closed):
            return []  # how it stands is no news, and a press that began before we listened has no time
        return [[{"n": f"{one.door}.press", "vb": closed}]]

    def _count(self, number: int, one: Map, count: float, retained: bool) -> list[Any]:
        known, self._counted[number] = self._counted.get(number), count
        if known is None or retained or count <= known:
            return []  # where it begins, or began anew
        presses = int(count - known)
        if presses > MOST_AT_ONCE:
            raise ValueError(f"the counter went from {known:g} to {count:g} at once")
        return [_short(one.door)] * (1 if presses else 0)  # of several only the last has a time


def matches(pattern: str, topic: str) -> bool:
    """MQTT 3.1.1, section 4.7.

    >>> matches("house/+/bell", "house/front/bell"), matches("house/#", "house/front/bell"), matches("house/+", "house/a/b")
    (True, True, False)
    """
    wanted, parts = pattern.split("/"), topic.split("/")
    for place, part in enumerate(wanted):
        if part == "#":
            return True
        if place >= len(parts) or part not in ("+", parts[place]):
            return False
    return len(wanted) == len(parts)


def _short(door: str) -> list[dict[str, Any]]:
    """A press of which only the moment is known."""
    return [{"n": f"{door}.span", "u": "s", "v": 0}]


def _values(one: Map, payload: bytes) -> list[str]:
    """As text. Raises ValueError with a sentence where the payload is not what the mapping says."""
    try:
        text = payload.decode()
    except UnicodeDecodeError:
        raise ValueError("it is no text in UTF-8") from None
    if one.find is None:
        return [text.strip()]
    try:
        told = json.loads(text)
    except ValueError as error:
        raise ValueError(f"it is no JSON: {error}") from None
    except RecursionError:
        raise ValueError("it is nested too deeply") from None
    return [value if isinstance(value, str) else json.dumps(value) for value in one.find(told)]


def _number(text: str) -> float:
    try:
        number = float(text)
    except ValueError:
        raise ValueError(f"{text[:40]!r} is no number") from None
    if not abs(number) < 1e12:
        raise ValueError(f"{text[:40]!r} is no number that can be")
    return number
