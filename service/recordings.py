"""Recordings: packs as a file, JSON Lines as the contract has it. Reads lines to arrivals, writes arrivals to lines.

Bytes of a pack come back as they were, so that a pack that is exported and imported again is known as the same one.
Refuses to know files and what the packs say.
"""

from base64 import urlsafe_b64encode
from collections.abc import Iterable, Iterator

import msgspec

from service.errors import BadPack
from service.model import Arrival
from service.senml_forms import CBOR, JSON, from_base64url, is_cbor

_YEAR_2100_S = 4102444800.0

_BEGINS_JSON = (b"[", b"{", b" ", b"\t", b"\n", b"\r")


class _Line(msgspec.Struct, omit_defaults=True):
    at: float
    topic: str
    pack: msgspec.Raw = msgspec.Raw()  # empty: not given (msgspec keeps raw bytes only outside a union)
    cbor: str | None = None
    alive: str | None = None
    commissioning: bool = False


_line = msgspec.json.Decoder(_Line)


def read(lines: Iterable[str]) -> Iterator[Arrival]:
    """The arrivals of a recording, in its order. Raises BadPack, with the number of the line, at the first bad one.

    What a pack says is not looked at here: a pack that breaks the contract is an arrival like any other.
    """
    for number, line in enumerate(lines, start=1):
        text = line.strip().removeprefix("\ufeff")
        if text:
            try:
                yield _arrival(text)
            except UnicodeEncodeError:
                raise BadPack(f"line {number} of the recording: is not UTF-8") from None
            except (BadPack, msgspec.MsgspecError, ValueError, RecursionError) as error:
                raise BadPack(f"line {number} of the recording: {error}") from None


def _arrival(text: str) -> Arrival:
    line = _line.decode(text)
    given = [name for name in ("pack", "cbor", "alive") if getattr(line, name) not in (None, msgspec.Raw())]
    if len(given) != 1:
        raise BadPack(f"has {' and '.join(given) or 'none'} of pack, cbor and alive; a line has exactly one")
    if not 0.0 <= line.at <= _YEAR_2100_S:
        raise BadPack(f"arrival at {line.at:g} s is outside 1970 to 2100")
    leaf = "alive" if line.alive is not None else "pack"
    if not line.topic.endswith("/" + leaf):
        raise BadPack(f"topic {line.topic[:200]!r} does not end in {leaf}")
    payload, content_type = _payload(line)
    return Arrival(line.topic, payload, line.at, "file", content_type, commissioning=line.commissioning)


def _payload(line: _Line) -> tuple[bytes, str | None]:
    if bytes(line.pack):
        return bytes(line.pack), JSON
    if line.cbor is not None:
        payload = from_base64url(line.cbor)
        return payload, None if payload[:1] in _BEGINS_JSON else CBOR
    if line.alive not in ("0", "1"):
        raise BadPack(f"presence is {str(line.alive)[:20]!r}; the contract knows 1 and 0")
    return line.alive.encode(), None


def write(arrival: Arrival) -> str:
    """One line, without its end. Bytes that are no JSON, or none that fits on one line, stand as base64url, so that even they
    come back as they were.

    Raises BadPack for a presence message that is neither 1 nor 0.
    """
    line = _Line(arrival.received_s, arrival.topic, commissioning=arrival.commissioning)
    if arrival.topic.endswith("/alive"):
        if arrival.payload not in (b"0", b"1"):
            raise BadPack(f"presence is {arrival.payload[:20]!r}; the contract knows 1 and 0")
        line.alive = arrival.payload.decode()
    elif _is_json(arrival):
        line.pack = msgspec.Raw(arrival.payload)
    else:
        line.cbor = urlsafe_b64encode(arrival.payload).rstrip(b"=").decode()
    return msgspec.json.encode(line).decode()


def _is_json(arrival: Arrival) -> bool:
    """On one line, and without blanks around, which JSON Lines would lose."""
    if arrival.payload.strip() != arrival.payload or b"\n" in arrival.payload or b"\r" in arrival.payload:
        return False
    try:
        if is_cbor(arrival.payload, arrival.content_type):
            return False
        msgspec.json.decode(arrival.payload, type=msgspec.Raw)
        arrival.payload.decode()
    except (BadPack, msgspec.MsgspecError, ValueError, RecursionError):
        return False
    return True
