"""The chime's own encoder: records to a SenML pack (RFC 8428), JSON or CBOR, and pulses to edges.

Written from the standard and the contract alone, apart from the service's decoder, so that the two check each other.
"""

import base64
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import cbor2
import msgspec

DEVICE = "urn:dev:mac:00005eef10000001_"
"""A device URN (RFC 9039) with an EUI-64 from the range set aside for documentation (RFC 9542; from memory)."""

TICK_S = 1e-4
CBOR_LABELS = {"bver": -1, "bn": -2, "n": 0, "u": 1, "v": 2, "vs": 3, "vb": 4, "t": 6, "vd": 8}
"""RFC 8428, table 4."""

Record = dict[str, Any]


def value(name: str, unit: str, number: float, at_s: float | None = None) -> Record:
    """A number with its unit; `at_s` is the moment relative to the pack, left out where it is the pack's own."""
    record: Record = {"n": name, "u": unit, "v": number}
    return record if at_s is None else {**record, "t": at_s}


def text(name: str, words: str, at_s: float | None = None) -> Record:
    record: Record = {"n": name, "vs": words}
    return record if at_s is None else {**record, "t": at_s}


def flag(name: str, on: bool, at_s: float | None = None) -> Record:
    record: Record = {"n": name, "vb": on}
    return record if at_s is None else {**record, "t": at_s}


def data(name: str, octets: bytes, at_s: float | None = None) -> Record:
    record: Record = {"n": name, "vd": octets}
    return record if at_s is None else {**record, "t": at_s}


def edges(pulses: Sequence[tuple[float, float]]) -> bytes:
    """Pulses (rise, fall) [s] as LEB128 ticks: 0, width, gap, width, ... from the first rise on.

    >>> edges([(5.0, 5.0085), (5.02, 5.0285)]).hex()
    '00557355'
    """
    if not pulses:
        raise ValueError("edges of no pulses")
    origin = round(pulses[0][0] / TICK_S)
    ticks = [round(moment / TICK_S) - origin for pulse in pulses for moment in pulse]
    steps = [ticks[0], *(b - a for a, b in pairwise(ticks))]
    return b"".join(_leb128(step) for step in steps)


def encode(records: Sequence[Record], cbor: bool = False) -> bytes:
    """One pack. The first record carries the base name; version 10 is the default and left out."""
    first, *others = records
    whole = [{"bn": DEVICE, **first}, *others]
    if cbor:
        return cbor2.dumps([{CBOR_LABELS[label]: given for label, given in record.items()} for record in whole])
    for record in whole:
        if "vd" in record:
            record["vd"] = base64.urlsafe_b64encode(record["vd"]).rstrip(b"=").decode()
    return msgspec.json.encode(whole)


def _leb128(number: int) -> bytes:
    octets = bytearray()
    while number > 0x7F:
        octets.append(number & 0x7F | 0x80)
        number >>= 7
    octets.append(number)
    return bytes(octets)
