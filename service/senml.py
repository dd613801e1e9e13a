"""SenML (RFC 8428), JSON and CBOR: bytes to resolved records, whole or refused.

Versions are bitmaps of features (RFC 9100): 10 is the base, 26 adds the secondary units of RFC 8798, which come out
converted to primary ones. Refuses to know what any record means, and what time it is: times stay as they were sent.
"""

import re
from math import isfinite

import msgspec
from msgspec import UNSET, UnsetType

from service.errors import BadPack
from service.senml_forms import Fields, Number, from_base64url, read

SIZE_LIMIT = 65536
"""Bytes a pack may have (the contract)."""

RELATIVE_BELOW_S = 2.0**28
"""Times below this are relative to now, the others POSIX seconds (RFC 8428 §4.5.3)."""

BASE_VERSION, SECONDARY_UNITS = 10, 1 << 4
"""The base and the only feature known here (RFC 9100 §2, §4)."""

DRAFT_VERSION = 5
"""What the examples of RFC 8428 §5.1.2 and §6 still say; the same as the base."""

Value = int | float | str | bool | bytes | None

SECONDARY: dict[str, tuple[str, float, float]] = {
    # RFC 8798 table 2, whole: secondary unit -> primary unit, scale, offset; primary = secondary x scale + offset
    "ms": ("s", 1 / 1000, 0), "min": ("s", 60, 0), "h": ("s", 3600, 0), "MHz": ("Hz", 1e6, 0), "kW": ("W", 1000, 0),
    "kVA": ("VA", 1000, 0), "kvar": ("var", 1000, 0), "Ah": ("C", 3600, 0), "Wh": ("J", 3600, 0), "kWh": ("J", 3.6e6, 0),
    "varh": ("vars", 3600, 0), "kvarh": ("vars", 3.6e6, 0), "kVAh": ("VAs", 3.6e6, 0), "Wh/km": ("J/m", 3.6, 0),
    "KiB": ("B", 1024, 0), "GB": ("B", 1e9, 0), "Mbit/s": ("bit/s", 1e6, 0), "B/s": ("bit/s", 8, 0),
    "MB/s": ("bit/s", 8e6, 0), "mV": ("V", 1 / 1000, 0), "mA": ("A", 1 / 1000, 0), "dBm": ("dBW", 1, -30),
    "ug/m3": ("kg/m3", 1e-9, 0), "mm/h": ("m/s", 1 / 3.6e6, 0), "m/h": ("m/s", 1 / 3600, 0), "ppm": ("/", 1e-6, 0),
    "/100": ("/", 1 / 100, 0), "/1000": ("/", 1 / 1000, 0), "hPa": ("Pa", 100, 0), "mm": ("m", 1 / 1000, 0),
    "cm": ("m", 1 / 100, 0), "km": ("m", 1000, 0), "km/h": ("m/s", 1 / 3.6, 0),
}  # fmt: skip


class Record(msgspec.Struct, frozen=True, gc=False):
    """A resolved record, in the order of the pack. `value` is None only where there is a `sum`."""

    name: str  # base name and name
    unit: str | None  # primary, wherever the secondary one is known
    value: Value
    time: float  # [s], relative or absolute, see RELATIVE_BELOW_S
    sum: float | None = None  # [unit x s]
    update_time: float | None = None  # [s] until the next value at the latest


_NAME = re.compile(r"[A-Za-z0-9][-A-Za-z0-9:./_]*")  # RFC 8428 §4.5.1
_INTEGERS = 1 << 63  # beyond, a number comes out as float


def understands(version: int, known: int = BASE_VERSION | SECONDARY_UNITS) -> bool:
    """Whether a pack of this version holds no feature beyond the known ones (RFC 9100 §2.2).

    >>> [understands(version, known=BASE_VERSION | 1 << 5) for version in (10, 42, 26)]
    [True, True, False]
    """
    return version & BASE_VERSION == BASE_VERSION and not version & ~known


def absolute_s(time: float, now_s: float) -> float:
    """POSIX seconds of a record's time (RFC 8428 §4.5.3)."""
    return time if time >= RELATIVE_BELOW_S else now_s + time


def resolve(payload: bytes, content_type: str | None = None) -> tuple[int, str | None, list[Record]]:
    """Version, first base name and resolved records of one pack.

    `content_type` as MQTT 5 or HTTP gave it, parameters and all; None: told by the first byte.
    Any bytes give a result or raise BadPack, nothing else.
    """
    if len(payload) > SIZE_LIMIT:
        raise BadPack(f"pack of {len(payload)} bytes; a pack has at most {SIZE_LIMIT}")
    fields = read(payload, content_type)
    version = _version(fields)
    first_base_name: str | None = None
    base_name, base_unit = "", None
    base_time = 0.0
    base_value: Number | UnsetType = UNSET
    base_sum: Number | UnsetType = UNSET
    records = []
    for raw in fields:
        if raw.bn is not UNSET:
            base_name = raw.bn
            first_base_name = base_name if first_base_name is None else first_base_name
        base_time = base_time if raw.bt is UNSET else _finite(raw.bt, base_name)
        base_unit = base_unit if raw.bu is UNSET else raw.bu
        base_value = base_value if raw.bv is UNSET else raw.bv
        base_sum = base_sum if raw.bs is UNSET else raw.bs
        if raw.v is UNSET and _is_base_only(raw):
            continue
        name = base_name if raw.n is UNSET else base_name + raw.n
        if not _NAME.fullmatch(name):
            raise BadPack(f"name {name[:80]!r} is empty or outside the grammar of RFC 8428 §4.5.1")
        value = _value(raw, base_value, name)
        total = None if raw.s is UNSET and base_sum is UNSET else _sum(raw.s, base_sum, name)
        if value is None and total is None:
            raise _bad("no value; a record has one of v, vs, vb, vd, or a sum (RFC 8428 §4.2)", name)
        unit = base_unit if raw.u is UNSET else raw.u
        if unit in SECONDARY:
            if not version & SECONDARY_UNITS:
                raise _bad(f"unit {unit} is a secondary one; version {version} has primary units only", name)
            unit, scale, offset = SECONDARY[unit]
            if type(value) is float or type(value) is int:
                value = _finite(value * scale + offset, name)
            total = None if total is None else _finite(total * scale, name)
        time = base_time if raw.t is UNSET else _sum(base_time, raw.t, name) if base_time else _finite(raw.t, name)
        update_time = None if raw.ut is UNSET else _finite(raw.ut, name)
        records.append(Record(name, unit, value, time, total, update_time))
    return version, first_base_name, records


def _is_base_only(raw: Fields) -> bool:
    """Base fields for the records that follow, as in RFC 8428 §5.1.7."""
    own = (raw.n, raw.u, raw.v, raw.vs, raw.vb, raw.vd, raw.s, raw.t, raw.ut)
    return all(field is UNSET for field in own)


def _value(raw: Fields, base: Number | UnsetType, name: str) -> Value:
    number = raw.v
    if raw.vs is UNSET and raw.vb is UNSET and raw.vd is UNSET:
        if isinstance(number, UnsetType):
            return None if isinstance(base, UnsetType) else _finite(base, name)  # a missing v counts as 0: §4.5.4
        if not isinstance(base, UnsetType):
            return _sum(number, base, name)
        return number if -_INTEGERS < number < _INTEGERS else _finite(number, name)
    given = [value for value in (number, raw.vs, raw.vb, raw.vd) if value is not UNSET]
    if len(given) > 1:
        raise _bad(f"{len(given)} values; a record has exactly one of v, vs, vb, vd (RFC 8428 §4.2)", name)
    value: Value = given[0]
    return _data(value, name) if raw.vd is not UNSET and type(value) is str else value


def _sum(one: Number | UnsetType, other: Number | UnsetType, name: str) -> float:
    """Both together; what is missing counts as zero (RFC 8428 §4.5.4)."""
    return _finite(sum(_finite(part, name) for part in (one, other) if not isinstance(part, UnsetType)), name)


def _version(fields: list[Fields]) -> int:
    given = {raw.bver for raw in fields if raw.bver is not UNSET}
    if any(not 0 <= version < 1 << 53 for version in given):
        raise BadPack("a version outside 0 to 2^53 - 1 (RFC 9100 §2)")
    if len(given) > 1:
        raise BadPack(
            f"versions {', '.join(map(str, sorted(given)))} in one pack; all records have the same (RFC 8428 §4.1)"
        )
    version = given.pop() if given else BASE_VERSION
    if version != DRAFT_VERSION and not understands(version):
        raise BadPack(f"SenML version {version}; understood are 10 and 26 (RFC 9100)")
    return version


def _bad(reason: str, name: str) -> BadPack:
    return BadPack(reason, name[:80])


def _finite(number: Number, name: str) -> float:
    if -_INTEGERS < number < _INTEGERS:
        return float(number)
    try:
        value = float(number)
    except OverflowError:
        value = float("inf")
    if not isfinite(value):
        raise _bad("a number is infinite, too large or not a number", name)
    return value


def _data(text: str, name: str) -> bytes:
    try:
        return from_base64url(text)
    except BadPack as bad:
        raise _bad(bad.reason, name) from None
