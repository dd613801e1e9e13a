"""A chime under construction, looked at message by message: what is right, what is wrong and by which rule, what is missing.

Judges with the decoder of the service itself, so that what passes here is understood there. Knows no broker, no clock, no record.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import NamedTuple

from service.contract import OF_DOOR, OF_PACK
from service.errors import BadPack
from service.levels import NEEDS, shown
from service.model import Pack
from service.pack import decode
from service.senml import resolve

LATE_S = 5.0
"""A pack that arrives so long after its `up` says is one that was kept back: no witness of the clock [s]."""

CRYSTAL = 500e-6
"""A crystal is off by some tens of ppm, a ceramic resonator by half a per cent of that; more is a counter that is wrong (chosen)."""

LONG_S = 120.0
"""Shorter than this, arrivals tell nothing of a crystal [s]."""

CLOCK_S = 1.5
"""A chime's own calendar clock is taken to be right to this [s] (the contract)."""

OFTEN_S = 1.0
"""Packs that come closer than this for a while fill the record for nothing [s]."""

FIRST_WITHIN_S = 10.0
"""After power-up the first pack is due [s] (the contract)."""


class Message(NamedTuple):
    """`qos`, `retained`: as it was delivered; None where a recording does not tell."""

    leaf: str
    payload: bytes
    received_s: float
    content_type: str | None = None
    qos: int | None = None
    retained: bool | None = None


class Remark(NamedTuple):
    """`grave`: the contract is broken; else it is worth a look. `about`: the record or the part of the contract."""

    grave: bool
    about: str
    text: str


@dataclass(slots=True)
class Check:
    """`take` each message in order; then `report`."""

    records: Counter[str] = field(default_factory=Counter)  # right ones, by name
    levels: set[str] = field(default_factory=set)
    packs: int = 0
    refused: int = 0
    alive: list[bytes] = field(default_factory=list)
    _remarks: dict[Remark, int] = field(default_factory=dict)
    _last: tuple[Pack, Message] | None = None
    _first_of_boot: tuple[Pack, Message] | None = None
    _contents: dict[tuple[int, int], bytes] = field(default_factory=dict)
    _close: int = 0

    def take(self, message: Message) -> list[Remark]:
        """What is to be said of this message. Each remark is counted."""
        if message.leaf == "alive":
            found = self._presence(message)
        elif message.leaf == "pack":
            found = self._pack(message)
        else:
            found = [Remark(False, "topic", f"On `{message.leaf}` a chime sends nothing.")]
        for one in found:
            self._remarks[one] = self._remarks.get(one, 0) + 1
        return found

    def report(self) -> list[tuple[Remark, int]]:
        """All remarks with how often, grave ones first; and what is missing."""
        missing = (
            []
            if self.alive
            else [
                Remark(
                    False,
                    "presence",
                    "Nothing came on `alive`: publish `1` there, retained, after each connection, and set `0` as last will.",
                )
            ]
        )
        if not self.packs and not self.refused:
            missing = [Remark(True, "pack", "No pack came. Is the topic …/pack, and does the chime reach this broker?")]
        every = [*self._remarks.items(), *((one, 1) for one in missing)]
        return sorted(every, key=lambda one: not one[0].grave)

    @property
    def good(self) -> bool:
        return self.packs > 0 and not any(remark.grave for remark in self._remarks)

    @property
    def next_level(self) -> tuple[str, str] | None:
        """The first that has not been shown, and what it takes."""
        return next(((level, needs) for level, needs in NEEDS.items() if level not in self.levels), None)

    # presence

    def _presence(self, message: Message) -> list[Remark]:
        found = []
        if message.payload not in (b"0", b"1"):
            found.append(
                Remark(True, "presence", f"`{message.payload[:20]!r}` is neither `0` nor `1`: one character, no JSON.")
            )
        if message.qos == 0:
            found.append(Remark(True, "presence", "It came with QoS 0; publish it with QoS 1, and the last will too."))
        self.alive.append(message.payload)
        return found

    # packs

    def _pack(self, message: Message) -> list[Remark]:
        found = []
        if message.retained:
            found.append(
                Remark(
                    True,
                    "pack",
                    "It is retained: a press would be told again to whoever comes later. Publish packs without.",
                )
            )
        if message.qos == 0:
            found.append(
                Remark(True, "pack", "It came with QoS 0: one that is lost is lost for good. Publish with QoS 1.")
            )
        try:
            pack = decode(message.payload, message.content_type, message.received_s)
        except BadPack as bad:
            self.refused += 1
            return [*found, Remark(True, bad.record or "pack", f"{bad}. The whole pack is set aside.")]
        self.packs += 1
        self.levels |= shown(pack)
        names = (record.name.rpartition("_")[2] for record in resolve(message.payload, message.content_type)[2])
        self.records.update(name for name in names if name not in pack.unknown)
        found += [_unknown(name) for name in pack.unknown]
        found += [*self._numbers(pack, message), *_windows(pack), *self._times(pack, message)]
        self._last = (pack, message)
        return found

    def _numbers(self, pack: Pack, message: Message) -> list[Remark]:
        absent = [name for name, value in (("boot", pack.boot), ("seq", pack.seq), ("up", pack.up_s)) if value is None]
        if absent:
            names = ", ".join(f"`{name}`" for name in absent)
            return [
                Remark(
                    False,
                    "numbers",
                    f"Without {names} a pack that is sent again may count twice, and its time is that of arrival.",
                )
            ]
        assert pack.boot is not None
        assert pack.seq is not None
        key = (pack.boot, pack.seq)
        if key in self._contents:
            if self._contents[key] != message.payload:
                return [
                    Remark(
                        True, "seq", "The same `boot` and `seq` came with other content: they name one pack, for good."
                    )
                ]
            return []  # sent again, as it should be
        self._contents[key] = message.payload
        if self._first_of_boot is None or self._first_of_boot[0].boot != pack.boot:
            first, self._first_of_boot = self._first_of_boot, (pack, message)
            return _beginning(pack) if first is not None else []  # else it began before we listened
        last = self._last[0] if self._last is not None else None
        if last is not None and last.boot == pack.boot and last.seq is not None and last.up_s is not None:
            if pack.seq > last.seq + 1:
                return [
                    Remark(
                        False,
                        "seq",
                        "Numbers are left out: each counts as blind time, in which a press may be missing.",
                    )
                ]
            if pack.seq > last.seq and (pack.up_s or 0.0) < last.up_s:
                return [
                    Remark(
                        True,
                        "up",
                        "`up` runs backwards while `seq` grows: it is the chime's own counter from power-up, in seconds.",
                    )
                ]
        return []

    def _times(self, pack: Pack, message: Message) -> list[Remark]:
        found = []
        if pack.clock_s is not None and abs(message.received_s - pack.clock_s) > CLOCK_S + LATE_S:
            off_s = pack.clock_s - message.received_s
            found.append(
                Remark(
                    False,
                    "clock",
                    f"The chime's calendar clock is {'ahead' if off_s > 0 else 'behind'} by {abs(off_s):.0f} s; it will not be believed.",
                )
            )
        first = self._first_of_boot
        if first is not None and first[0].boot == pack.boot and pack.up_s is not None and first[0].up_s is not None:
            up_s, passed_s = pack.up_s - first[0].up_s, message.received_s - first[1].received_s
            if passed_s > LONG_S and abs(up_s - passed_s) > max(LATE_S, 10.0 * CRYSTAL * passed_s):
                found.append(
                    Remark(
                        True,
                        "up",
                        "`up` does not keep step with the time: it counts seconds since power-up, whatever the chime does.",
                    )
                )
        if self._last is not None and 0.0 <= message.received_s - self._last[1].received_s < OFTEN_S:
            self._close += 1
            if self._close == 20:
                found.append(
                    Remark(
                        False,
                        "rate",
                        "Twenty packs came less than a second after the one before: gather windows of ten seconds or more.",
                    )
                )
        else:
            self._close = 0
        return found


def _beginning(pack: Pack) -> list[Remark]:
    """Of a power-up that we have seen begin."""
    found = []
    if pack.seq:
        found.append(
            Remark(True, "seq", "A new `boot` began with a `seq` that is not 0: what came before it counts as missing.")
        )
    if (pack.up_s or 0.0) > FIRST_WITHIN_S:
        found.append(
            Remark(
                False,
                "up",
                f"The first pack of a power-up came later than {FIRST_WITHIN_S:g} s: until then it counts as blind.",
            )
        )
    return found


def _unknown(name: str) -> Remark:
    known = [*OF_PACK, *(f"{name.partition('.')[0]}.{rest}" for rest in OF_DOOR)]
    near = get_close_matches(name, known, 1)
    meant = f" Was `{near[0]}` meant?" if near else ""
    return Remark(False, name, f"The contract does not know this record; it is kept and left alone.{meant}")


def _windows(pack: Pack) -> Sequence[Remark]:
    found = []
    for window in pack.rail_windows:
        values = [value for value in (window.min_v, window.mean_v, window.max_v) if value is not None]
        if values != sorted(values):
            found.append(Remark(True, "rail.mean", "`rail.min`, `rail.mean` and `rail.max` are not in this order."))
        if window.mean_v is not None and not window.window_s:
            found.append(
                Remark(False, "rail.window", "Without it nobody knows of which stretch `rail.mean` is the mean.")
            )
        if window.mean_v is not None and 0.0 < abs(window.mean_v) < 0.5:
            found.append(
                Remark(
                    False,
                    "rail.mean",
                    f"{window.mean_v:g} V is next to nothing: is it in V, and is the divider counted?",
                )
            )
    return found
