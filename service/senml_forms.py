"""The two forms of a SenML pack, JSON and CBOR: bytes to the fields of its records, as they were sent.

Labels and types are checked here, by RFC 8428 §5 and §6. Refuses to know what base fields do and what versions and units mean.
"""

import re
from base64 import urlsafe_b64decode
from decimal import Decimal
from io import BytesIO
from typing import Any

import cbor2
import msgspec
from msgspec import UNSET, UnsetType

from service.errors import BadPack

JSON, CBOR = "application/senml+json", "application/senml+cbor"

Number = int | float


class Fields(msgspec.Struct, gc=False):
    """The labels of RFC 8428 §5 as they came. UNSET = absent, so that a null is refused."""

    bver: int | UnsetType = UNSET
    bn: str | UnsetType = UNSET
    bt: Number | UnsetType = UNSET
    bu: str | UnsetType = UNSET
    bv: Number | UnsetType = UNSET
    bs: Number | UnsetType = UNSET
    n: str | UnsetType = UNSET
    u: str | UnsetType = UNSET
    v: Number | UnsetType = UNSET
    vs: str | UnsetType = UNSET
    vb: bool | UnsetType = UNSET
    vd: Any = UNSET  # text in JSON, bytes in CBOR
    s: Number | UnsetType = UNSET
    t: Number | UnsetType = UNSET
    ut: Number | UnsetType = UNSET


CBOR_LABELS = {
    -1: "bver", -2: "bn", -3: "bt", -4: "bu", -5: "bv", -6: "bs", 0: "n", 1: "u", 2: "v", 3: "vs", 4: "vb", 5: "s",
    6: "t", 7: "ut", 8: "vd",
}  # fmt: skip  # RFC 8428 §6
_BASE64URL = re.compile(r"[-A-Za-z0-9_]*")
_MAYBE_MUST_UNDERSTAND = re.compile(rb'_"\s*:|\\u')
_json = msgspec.json.Decoder(list[Fields])


def read(payload: bytes, content_type: str | None = None) -> list[Fields]:
    """The fields of each record. Raises BadPack, and nothing else, for bytes that are no pack in the form they claim.

    `content_type` as MQTT 5 or HTTP gave it, parameters and all; None: told by the first byte.
    """
    return _read_cbor(payload) if is_cbor(payload, content_type) else _read_json(payload)


def is_cbor(payload: bytes, content_type: str | None) -> bool:
    """Whether the bytes claim to be CBOR; else JSON. Raises BadPack where they claim neither."""
    if content_type is not None:
        kind = content_type.partition(";")[0].strip().lower()
        if kind not in (JSON, CBOR):
            raise BadPack(f"content type {content_type[:80]!r} is neither {JSON} nor {CBOR}")
        return kind == CBOR
    first = payload[:1]
    if first in (b"[", b" ", b"\t", b"\n", b"\r", b"{"):
        return False
    if first and first[0] >> 5 == 4:  # major type 4, an array (RFC 8949 §3.1)
        return True
    raise BadPack(f"first byte {first.hex() or 'missing'} begins neither a JSON nor a CBOR array")


def _read_json(payload: bytes) -> list[Fields]:
    try:
        fields = _json.decode(payload)
        if _MAYBE_MUST_UNDERSTAND.search(payload):
            for record in msgspec.json.decode(payload):
                _refuse_must_understand(record)
    except (msgspec.MsgspecError, ValueError, RecursionError) as error:
        raise BadPack(f"not SenML in JSON: {error}") from None
    for raw in fields:
        if raw.vd is not UNSET and type(raw.vd) is not str:
            raise BadPack("not SenML in JSON: vd is base64url text")
    return fields


def _refuse_must_understand(labels: Any) -> None:
    for label in labels:
        if type(label) is str and label.endswith("_"):
            raise BadPack(f"label {label[:40]!r} must be understood, and is not (RFC 8428 §4.4)")


def _refuse_tag(*_: object) -> None:
    raise BadPack("a tag other than 4")


def _decimal_fraction(pair: object, _immutable: bool = False) -> float:
    """RFC 8949 §3.4.4. Only plain integers: a mantissa of kilobytes would be a way to keep us busy."""
    match pair:
        case (int(exponent), int(mantissa)) if -400 <= exponent <= 400:
            return float(Decimal(mantissa).scaleb(exponent))
    raise BadPack("a decimal fraction that is not [exponent within 400, integer]")


_TAGS: dict[int, Any] = {
    **dict.fromkeys((0, 1, 2, 3, 5, 25, 28, 29, 30, 35, 36, 37, 52, 54, 100, 256, 258, 260, 261, 1004, 43000, 55799), _refuse_tag),
    4: _decimal_fraction,
}  # fmt: skip  # every tag that the library would act on by itself, replaced


def _read_cbor(payload: bytes) -> list[Fields]:
    stream = BytesIO(payload)
    try:
        found = cbor2.CBORDecoder(
            stream, tag_hook=_refuse_tag, semantic_decoders=_TAGS, max_depth=8, allow_indefinite=False
        ).decode()
        if stream.tell() != len(payload):
            raise BadPack(f"{len(payload) - stream.tell()} bytes after the end of the CBOR array")
        if type(found) is not list:
            raise BadPack("not SenML in CBOR: the root is not an array")
        return msgspec.convert([_named(labels) for labels in found], list[Fields])
    except (cbor2.CBORError, msgspec.MsgspecError, ValueError, OverflowError, RecursionError) as error:
        raise BadPack(f"not SenML in CBOR: {error.__cause__ or error}") from None


def _named(labels: Any) -> dict[str, Any]:
    if type(labels) is not dict:
        raise BadPack("not SenML in CBOR: a record is not a map")
    named = {}
    for label, value in labels.items():
        if type(label) is int:
            name = CBOR_LABELS.get(label)
            if name is not None:
                named[name] = value
        elif label in Fields.__struct_fields__:
            raise BadPack(f"label {label!r} as text; in CBOR it is an integer (RFC 8428 §6)")
        else:
            _refuse_must_understand((label,))
    if type(named.get("vd", b"")) is not bytes:
        raise BadPack("not SenML in CBOR: vd is a byte string")
    return named


def from_base64url(text: str) -> bytes:
    """Bytes of base64url without padding (RFC 4648 §5). Raises BadPack.

    >>> from_base64url("aGkgCg")
    b'hi \\n'
    """
    if not _BASE64URL.fullmatch(text) or len(text) % 4 == 1:
        raise BadPack(f"{text[:40]!r} is not base64url without padding (RFC 4648 §5)")
    return urlsafe_b64decode(text + "=" * (-len(text) % 4))
