"""The chime contract as a table: every record a pack may hold, its unit, its bounds, and where it goes.

The decoder, the tests and the published contract all derive from this one place. Refuses to know bytes.
Bounds are physical: whatever lies outside cannot be measured at a bell, so the pack that says so is refused as a whole.
"""

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from service.errors import BadPack

VERSIONS = (10, 26)
"""SenML versions of the contract: primary units only, or secondary ones too."""

DOOR = re.compile(r"[a-z0-9]{1,16}")
RESERVED = frozenset(("boot", "rail", "reg", "load", "sound", "radio"))
"""First parts of names that the contract keeps for itself; a door cannot be called so."""

TICK_S = 1e-4
"""One tick of `<door>.edges` [s]."""

NO_VALUE = -32768
"""The int16 code of a sample that was not taken."""

LATEST_S, EARLIEST_S = 60.0, -400 * 86400.0
"""Moments lie between these, counted from the pack [s]: a chime cannot know the future (a minute for clocks that
disagree), nor keep more than a year and some of past."""

Kind = Literal["number", "count", "text", "flag", "data"]


@dataclass(frozen=True, slots=True)
class Rule:
    """One record of the contract.

    `goes_to` is the field of `model.Pack`, or "waveform" for what every waveform of the pack needs; `part` is the field
    inside the value that is kept there, `key` what tells one such value from another beside its moment.
    """

    name: str  # as in the contract; `<door>` stands for the name of a door
    kind: Kind
    meaning: str
    goes_to: str
    part: str = ""
    key: str = ""
    unit: str | None = None
    low: float = 0.0
    high: float = 0.0
    words: tuple[str, ...] = ()  # what a text may say
    repeats: bool = False  # may stand in a pack more than once, at different moments


_COUNT = 2.0**63  # a signed 64-bit column holds it
_SPELL_S = 31 * 86400.0  # a press or a change that lasts longer than a month is a fault of the chime's arithmetic
_WINDOW_S = 7 * 86400.0  # longer means say nothing about a supply
# Highest no-load voltage of a bell transformer 33 V rms (EN/IEC 61558-2-8, from a secondary page), 46.7 V peak; twice
# that for a doubling circuit, rounded up. Below zero only by a diode drop and the converter's offset.
RAIL_V = (-1.0, 100.0)
_MAINS_HZ = (16.0, 410.0)  # 16.7 Hz railways to 400 Hz aircraft (common practice, no source)
_CYCLE_S = (1 / 410.0, 1 / 16.0)
_FALL_V_S = (-1e5, 1e5)  # 10 A out of 100 uF
_LOADS = ("idle", "test", "sound")
_CAUSES = ("power-on", "brown-out", "watchdog", "software", "unknown")


def _volts(name: str, meaning: str, goes_to: str, part: str, key: str = "") -> Rule:
    return Rule(name, "number", meaning, goes_to, part, key, "V", *RAIL_V, repeats=True)


def _bursts() -> list[Rule]:
    rules = []
    for kind in _LOADS:
        for part in ("max", "min", "mean"):
            said = f"{part} of the rail in the burst `{kind}`, for a chime that cannot send raw bursts"
            rules.append(_volts(f"rail.{kind}.{part}", said, "burst_figures", f"{part}_v", kind))
        said = f"how fast the rail falls between two charges in the burst `{kind}`"
        rules.append(
            Rule(
                f"rail.{kind}.fall",
                "number",
                said,
                "burst_figures",
                "fall_v_per_s",
                kind,
                "V/s",
                *_FALL_V_S,
                repeats=True,
            )
        )
    return rules


def _waveform(name: str, meaning: str) -> Rule:
    return Rule(name, "data", meaning, "waveforms", key=name.rpartition(".")[2], unit="V", repeats=True)


# fmt: off
RULES: tuple[Rule, ...] = (
    Rule("boot", "count", "number of this power-up: one more each time, or random", "boot", unit="count", high=_COUNT),
    Rule("boot.cause", "text", "why the chime started", "boot_cause", words=_CAUSES),
    Rule("seq", "count", "number of this pack in this boot, from 0; with `boot` the key of exactly-once", "seq", unit="count", high=_COUNT),
    Rule("up", "number", "the chime's own monotonic clock when the pack was put together", "up_s", unit="s", high=3.2e9),
    Rule("dropped", "count", "records this boot has had to throw away", "dropped", unit="count", high=_COUNT),
    Rule("clock", "number", "POSIX time by the chime's own clock, where it has a set one", "clock_s", unit="s", high=4102444800.0),
    Rule("<door>.edges", "data", "detector pulses as they came: LEB128 ticks of 100 µs", "pulse_trains", repeats=True),
    Rule("<door>.press", "flag", "true at first contact, false at release, from a chime that debounces", "contact_changes", repeats=True),
    Rule("<door>.span", "number", "one press: first to last pulse", "press_summaries", "span_s", unit="s", high=_SPELL_S, repeats=True),
    Rule("<door>.pulses", "count", "number of its pulses", "press_summaries", "pulses", unit="count", high=1e9, repeats=True),
    Rule("<door>.gap", "number", "longest inner gap", "press_summaries", "longest_gap_s", unit="s", high=_SPELL_S, repeats=True),
    Rule("<door>.width", "number", "median width of pulses", "press_summaries", "median_width_s", unit="s", high=_SPELL_S, repeats=True),
    _volts("rail.mean", "mean of the reservoir voltage over the last `rail.window`", "rail_windows", "mean_v"),
    _volts("rail.min", "its minimum", "rail_windows", "min_v"),
    _volts("rail.max", "its maximum", "rail_windows", "max_v"),
    _volts("rail.low", "lowest reservoir voltage while sounding", "rail_windows", "low_v"),
    Rule("rail.window", "number", "length of that window", "rail_windows", "window_s", unit="s", high=_WINDOW_S, repeats=True),
    Rule("rail.rise", "number", "a sudden rise of the cycle maximum", "rail_rises", "rise_v", unit="V", high=RAIL_V[1], repeats=True),
    Rule("rail.rise.span", "number", "how long it lasted", "rail_rises", "span_s", unit="s", high=_SPELL_S, repeats=True),
    _waveform("rail.peaks", "cycle maxima one after another, little-endian int16 in `rail.lsb`, `rail.cycle` apart"),
    _waveform("rail.troughs", "cycle minima, likewise"),
    _waveform("rail.burst.idle", "raw samples, little-endian int16 in `rail.lsb`, at `rail.rate`"),
    _waveform("rail.burst.test", "likewise, with the test load"),
    _waveform("rail.burst.step", "likewise, across the moment when the test load is switched on"),
    _waveform("rail.burst.sound", "likewise, while sounding"),
    Rule("rail.cycle", "number", "spacing of `rail.peaks` and `rail.troughs`", "waveform", "cycle_s", "", "s", *_CYCLE_S),
    Rule("rail.rate", "number", "sampling rate of the bursts", "waveform", "rate_hz", unit="Hz", low=10.0, high=1e6),
    Rule("rail.lsb", "number", "volts per code", "waveform", "lsb_v", unit="V", low=1e-6, high=1.0),
    *_bursts(),
    Rule("mains", "number", "mains frequency as the chime measures it", "mains_hz", "", "", "Hz", *_MAINS_HZ, repeats=True),
    # class 2 supplies give 5 A at most (NEC chapter 9 table 11(A), from a secondary page)
    Rule("load.test", "number", "the known test load: an extra current", "test_load_a", unit="A", low=1e-5, high=5.0),
    Rule("load.test.ohm", "number", "the known test load: a resistor across the rail", "test_load_ohm", unit="Ohm", low=0.1, high=1e6),
    Rule("radio", "flag", "true while the radio may transmit", "radio", repeats=True),
    Rule("load.log", "text", "the chime's own load from this moment on", "load_changes", words=_LOADS, repeats=True),
    Rule("reg.mean", "number", "mean of the regulated rail", "regulated_mean_v", "", "", "V", *RAIL_V, repeats=True),
    Rule("reg.min", "number", "its minimum", "regulated_min_v", "", "", "V", *RAIL_V, repeats=True),
    Rule("sound", "flag", "true when it starts to sound, false when it stops", "sound", repeats=True),
    # silicon works from -55 to 150 degrees at the widest (common practice, no source)
    Rule("temp", "number", "temperature inside the chime", "temperature_c", unit="Cel", low=-60.0, high=150.0, repeats=True),
    # thermal noise in 1 Hz is -204 dBW at 290 K (k T, closed form); a watt received is a transmitter touching the aerial
    Rule("link", "number", "received radio power", "link_dbw", unit="dBW", low=-204.0, high=0.0, repeats=True),
)
# fmt: on

OF_PACK = {rule.name: rule for rule in RULES if not rule.name.startswith("<door>.")}
OF_DOOR = {rule.name.partition(".")[2]: rule for rule in RULES if rule.name.startswith("<door>.")}


def check(rule: Rule, name: str, value: object, unit: str | None) -> object:
    """The value of a record as the model has it, if it is of the rule's type, unit and bounds. Raises BadPack.

    A unit that is missing is taken for the right one. Whole numbers may come as floats: encoders differ.
    """
    kind = rule.kind
    if kind == "number" or kind == "count":
        if type(value) is not float and type(value) is not int:
            raise BadPack(_not_a(value, "a number (v)"), name)
        if unit is not None and unit != rule.unit:
            raise BadPack(f"unit {unit[:20]}; the contract has {rule.unit}", name)
        if not rule.low <= value <= rule.high:
            raise BadPack(f"{value:g} {rule.unit} is outside {rule.low:g} to {rule.high:g} {rule.unit}", name)
        if kind == "number":
            return float(value)
        if value != int(value) or value >= _COUNT:
            raise BadPack(f"{value:g} is not a whole number below 2^63", name)
        return int(value)
    if kind == "flag" and type(value) is not bool:
        raise BadPack(_not_a(value, "true or false (vb)"), name)
    if kind == "data" and type(value) is not bytes:
        raise BadPack(_not_a(value, "data (vd)"), name)
    if kind == "text":
        if type(value) is not str:
            raise BadPack(_not_a(value, "text (vs)"), name)
        if value not in rule.words:
            raise BadPack(f"{value[:40]!r} is none of {', '.join(rule.words)}", name)
    return value


def _not_a(value: object, wanted: str) -> str:
    kinds = {int: "a number", float: "a number", str: "text", bool: "true or false", bytes: "data"}
    return f"{kinds.get(type(value), 'a sum alone')} where the contract has {wanted}"


def markdown() -> str:
    """The table for the published contract."""
    labels = {"number": "v", "count": "v", "text": "vs", "flag": "vb", "data": "vd"}
    lines = ["| record | value | unit | from | to | meaning |", "| --- | --- | --- | --- | --- | --- |"]
    for rule in RULES:
        bounds = f"{rule.low:g} | {rule.high:g}" if rule.kind in ("number", "count") else " | "
        said = rule.meaning + (": " + " ".join(f"`{word}`" for word in rule.words) if rule.words else "")
        unit = rule.unit or "" if rule.kind in ("number", "count") else ""
        lines.append(f"| `{rule.name}` | {labels[rule.kind]} | {unit} | {bounds} | {said} |")
    return "\n".join(lines) + "\n"


_DEVICE = re.compile(r"urn:dev:([a-z0-9]+):([-A-Za-z0-9.:]+)(_[-A-Za-z0-9.]+)*_")
_HEX_64 = re.compile(r"[0-9a-f]{16}")


@lru_cache(1024)
def device_of(base_name: str) -> str:
    """The device URN (RFC 9039) of a base name, without the `_` that ends it. Raises BadPack.

    An address of six bytes must be widened, and a 1-Wire one must have its own checksum right.

    >>> device_of("urn:dev:mac:0024befffe804ff1_")
    'urn:dev:mac:0024befffe804ff1'
    """
    found = _DEVICE.fullmatch(base_name)
    if not found:
        raise BadPack(f"base name {base_name[:80]!r} is not a device URN (RFC 9039) that ends in _")
    kind, number = found[1], found[2]
    if kind in ("mac", "ow") and not _HEX_64.fullmatch(number):
        hint = f"; for the EUI-48 {number} that is {widened(number)}" if re.fullmatch(r"[0-9a-f]{12}", number) else ""
        raise BadPack(f"urn:dev:{kind} takes 16 digits of 0-9 a-f, not {number[:40]!r}{hint} (RFC 9039 §4)")
    if kind == "ow" and crc8(bytes.fromhex(number[:14])) != int(number[14:], 16):
        raise BadPack(f"1-Wire address {number} has checksum {crc8(bytes.fromhex(number[:14])):02x}, not {number[14:]}")
    return base_name[:-1]


def widened(address: str, mac_48: bool = False) -> str:
    """EUI-48 (or the older MAC-48) of 12 hex digits as 16 digits (RFC 9039 table 1).

    >>> widened("0024be804ff1"), widened("0024be804ff1", mac_48=True)
    ('0024befffe804ff1', '0024beffff804ff1')
    """
    return address[:6] + ("ffff" if mac_48 else "fffe") + address[6:]


def crc8(octets: bytes) -> int:
    """Checksum of a 1-Wire address: x^8 + x^5 + x^4 + 1, least significant bit first.

    >>> f"{crc8(bytes.fromhex('10e2073a010800')):02x}"
    '63'
    """
    remainder = 0
    for octet in octets:
        remainder ^= octet
        for _ in range(8):
            remainder = remainder >> 1 ^ (0x8C if remainder & 1 else 0)
    return remainder
