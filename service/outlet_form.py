"""Ways out as plain JSON: read with every mistake told at once, each with its field and the reason; written without what is secret.

Refuses to know how anything is sent. `way` says which of the fields of a way there are beside the common ones.
"""

import binascii
import re
import secrets
from base64 import b64decode, b64encode
from collections.abc import Mapping
from dataclasses import MISSING, asdict, fields
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from service.alarms.json_values import Read, number, one_of, or_none, pattern, several, whole
from service.alarms.rules import Priority, Problem
from service.errors import Refused
from service.outlets import GOING_OUT, WAYS, Broker, Command, Mail, Outlet, Webhook

KEY_MARK = "whsec_"
KEY_BYTES = (24, 64)
"""Standard Webhooks 1.0.0, "Symmetric": 24 to 64 bytes, base64, behind this mark."""

_TEXT = pattern(r"[^\x00-\x1f\x7f]{0,200}", "at most 200 printable characters")
_CLOCK = pattern(r"([01]\d|2[0-3]):[0-5]\d", "local time from 00:00 to 23:59")
_ADDRESS = pattern(r"[!-?A-~]{1,64}@[!-?A-~]{1,190}", "an e-mail address such as ann@tern-cottage.example")
_HOST = pattern(r"[A-Za-z0-9._:\-]{1,253}", "the name or address of a machine")
_PROGRAM = pattern(r"[A-Za-z0-9_][A-Za-z0-9._\-]{0,99}", "the name of a file in the folder of programs")
_PRIORITY = one_of(tuple(Priority))


class OutletRefused(Refused):
    """A way out cannot be used. Show each reason beside its field; nothing of it was taken."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__(" ".join(f"{field}: {reason}" for field, reason in self.problems))


def _url(given: Any) -> str:
    if not isinstance(given, str) or len(given) > 2000 or not re.fullmatch(r"[!-~]+", given):
        raise ValueError("a URL of at most 2000 characters")
    try:
        parts, port = urlsplit(given), urlsplit(given).port
    except ValueError:
        raise ValueError("a URL") from None
    if parts.scheme not in ("https", "http") or not parts.hostname or parts.username is not None or port == 0:
        raise ValueError("https://host/path, without a user name (http:// only within the house)")
    return given


def _key(given: Any) -> str:
    try:
        if isinstance(given, str) and given.startswith(KEY_MARK):
            size = len(b64decode(given.removeprefix(KEY_MARK), validate=True))
            if KEY_BYTES[0] <= size <= KEY_BYTES[1]:
                return given
    except binascii.Error:
        pass
    raise ValueError(f"{KEY_MARK} and {KEY_BYTES[0]} to {KEY_BYTES[1]} bytes in base64")


def _zone(given: Any) -> str:
    try:
        ZoneInfo(given)
    except (ZoneInfoNotFoundError, ValueError, OSError, TypeError):
        raise ValueError("a time zone of the IANA list, such as Europe/London") from None
    return str(given)


COMMON: dict[str, Read] = {
    "name": pattern(r"(?=.*\S)[^\x00-\x1f\x7f]{1,60}", "1 to 60 printable characters"),
    "kinds": several(one_of(GOING_OUT)),
    "site": or_none(pattern(r"[a-z0-9][a-z0-9-]{0,39}", "a site, 1 to 40 of a-z, 0-9 and -")),
    "lowest": _PRIORITY,
    "quiet_from": or_none(_CLOCK),
    "quiet_until": or_none(_CLOCK),
    "quiet_lowest": _PRIORITY,
    "person": or_none(pattern(r"(?=.*\S)[^\x00-\x1f\x7f]{1,60}", "1 to 60 printable characters")),
    "away_lowest": or_none(_PRIORITY),
    "time_zone": _zone,
}

OF_WAY: dict[type, dict[str, Read]] = {
    Webhook: {"url": _url, "keys": several(_key)},
    Mail: {
        "host": _HOST,
        "port": whole(1, 65535),
        "sender": _ADDRESS,
        "to": several(_ADDRESS),
        "security": one_of(("tls", "starttls", "none")),
        "username": _TEXT,
        "password": _TEXT,
        "digest": one_of(("each", "hour", "day")),
        "digest_hour": whole(0, 23),
    },
    Command: {"program": _PROGRAM, "arguments": several(_TEXT), "time_limit_s": number(0.1, 300.0, "s")},
    Broker: {},
}

SECRET = ("keys", "password")
"""Fields that are written into the record and told to nobody."""


def new_key() -> str:
    """A key for signatures, of 32 random bytes."""
    return KEY_MARK + b64encode(secrets.token_bytes(32)).decode()


def read_outlet(given: Mapping[str, Any], time_zone: str = "UTC") -> Outlet:
    """A way out from its JSON object; a webhook without a key gets a new one. Raises OutletRefused with every mistake.

    Parameters
    ----------
    time_zone : of its quiet hours and digests, where it names none.

    >>> read_outlet({"name": "x", "way": "command", "program": "../sh"})
    Traceback (most recent call last):
    service.outlet_form.OutletRefused: program: '../sh' must be the name of a file in the folder of programs.
    """
    if not isinstance(given, Mapping):
        raise OutletRefused([Problem("outlet", "A way out is one JSON object.")])
    kind = WAYS.get(str(given.get("way")))
    if kind is None:
        raise OutletRefused([Problem("way", f"It must be one of {', '.join(WAYS)}.")])
    problems: list[Problem] = []
    known = COMMON | OF_WAY[kind]
    values: dict[str, Any] = {}
    for name, value in given.items():
        if name == "way":
            continue
        if name not in known:
            problems.append(Problem(str(name)[:60], f"It is no field of a {given['way']}."))
            continue
        try:
            values[name] = known[name](value)
        except ValueError as must_be:
            shown = "what is given" if name in SECRET else repr(value)[:60]
            problems.append(Problem(name, f"{shown} must be {must_be}."))
    if kind is Webhook and not given.get("keys"):
        values["keys"] = (new_key(),)
    for part in (Outlet, kind):
        problems += [
            Problem(one.name, "It is missing.")
            for one in fields(part)
            if one.default is MISSING and one.name in known and one.name not in given and one.name not in values
        ]
    problems += _beside_each_other(values)
    if problems:
        raise OutletRefused(problems)
    way = kind(**{name: values[name] for name in OF_WAY[kind] if name in values})
    common = {name: values[name] for name in COMMON if name in values}
    for name in ("lowest", "quiet_lowest", "away_lowest"):
        if common.get(name) is not None:
            common[name] = Priority(common[name])
    return Outlet(**{"time_zone": time_zone, **common, "way": way})


def write_outlet(outlet: Outlet) -> dict[str, Any]:
    """The JSON object of a way out, with its secrets: for the record alone."""
    common = {name: getattr(outlet, name) for name in COMMON}
    way = next(name for name, kind in WAYS.items() if isinstance(outlet.way, kind))
    plain = {**common, "way": way, **asdict(outlet.way)}
    return {name: list(value) if isinstance(value, tuple) else value for name, value in plain.items()}


def told_outlet(outlet: Outlet) -> dict[str, Any]:
    """The same for people: of secrets only whether there are any."""
    return {name: bool(value) if name in SECRET else value for name, value in write_outlet(outlet).items()} | {
        "id": outlet.id,
        "off": outlet.off or None,
    }


def _beside_each_other(values: Mapping[str, Any]) -> list[Problem]:
    problems = []
    if (values.get("quiet_from") is None) is not (values.get("quiet_until") is None):
        problems.append(Problem("quiet_until", "Quiet hours begin and end: give both, or none."))
    if values.get("away_lowest") is not None and (values.get("person") is None or values.get("site") is None):
        problems.append(Problem("away_lowest", "It needs the person, and the site where that person lives."))
    if "to" in values and not 1 <= len(values["to"]) <= 20:
        problems.append(Problem("to", "There must be 1 to 20 addresses."))
    if "keys" in values and len(values["keys"]) > 2:
        problems.append(Problem("keys", "There are at most two: the present one, and one that is being replaced."))
    if "kinds" in values and not values["kinds"]:
        problems.append(Problem("kinds", "There must be at least one."))
    if len(values.get("arguments", ())) > 20:
        problems.append(Problem("arguments", "There are at most 20."))
    return problems
