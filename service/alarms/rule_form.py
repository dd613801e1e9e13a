"""Rules as plain JSON: read with every mistake told at once, each with its field and the reason; and written.

Refuses to know how a rule is looked at. A rule is one JSON object; `watch` is another, whose `kind` says what it watches.
"""

from collections.abc import Mapping
from dataclasses import MISSING, asdict, fields
from difflib import get_close_matches
from math import isfinite
from typing import Any

from service.alarms.json_values import Read, flag, number, one_of, or_none, pattern, several, whole
from service.alarms.quantities import QUANTITIES
from service.alarms.rules import (
    BlindTime,
    HeldPress,
    ManyVisits,
    NoPack,
    OpenFinding,
    Priority,
    Problem,
    QuantityBeyond,
    QuietPress,
    Rule,
    RuleRefused,
    Trend,
    Watch,
)
from service.findings.advice import ADVICE

DAY_S = 86_400.0
LONGEST_S = 366 * DAY_S
SHORTEST_REALARM_S = 3600.0
"""People who have been called are not called again within the hour (chosen)."""

KINDS: dict[str, type[Watch]] = {
    "quantity": QuantityBeyond,
    "trend": Trend,
    "finding": OpenFinding,
    "held": HeldPress,
    "visits": ManyVisits,
    "quiet-hours": QuietPress,
    "no-pack": NoPack,
    "blind-time": BlindTime,
}
"""What a rule can watch, by its name in JSON."""

_ID = pattern(r"[a-z0-9][a-z0-9-]{0,39}", "1 to 40 of a-z, 0-9 and -, not beginning with -")
_DOOR = or_none(pattern(r"[a-z0-9]{1,16}", "a door, 1 to 16 of a-z and 0-9"))
_TEXT = pattern(r"(?s)(?=.*\S).{1,500}", "1 to 500 characters")
_WHILE = number(1.0, LONGEST_S, "s")
_DELAY = number(0.0, LONGEST_S, "s")
_CLOCK = pattern(r"([01]\d|2[0-3]):[0-5]\d", "local time from 00:00 to 23:59")
_SIDE = one_of(("above", "below"))
_QUANTITY = one_of(QUANTITIES)
_ANY = number(-1e9, 1e9)

WATCH_FIELDS: dict[type[Watch], dict[str, Read]] = {
    QuantityBeyond: {"name": _QUANTITY, "side": _SIDE, "limit": _ANY, "worse": or_none(_ANY)},
    Trend: {"name": _QUANTITY, "side": _SIDE, "per_day": _ANY, "span_s": _WHILE},
    OpenFinding: {
        "names": several(one_of(ADVICE)),
        "likelihood": number(0.0, 1.0),
        "confirmed": flag,
        "door": _DOOR,
    },
    HeldPress: {"longer_than_s": _WHILE, "door": _DOOR},
    ManyVisits: {"more_than": whole(1, 1000), "within_s": _WHILE, "door": _DOOR},
    QuietPress: {"begins": _CLOCK, "ends": _CLOCK, "door": _DOOR},
    NoPack: {"longer_than_s": _WHILE},
    BlindTime: {
        "within_s": _WHILE,
        "longer_than_s": or_none(_DELAY),
        "share": or_none(number(0.0, 1.0)),
        "why": or_none(one_of(("chime without power", "chime silent"))),
        "up_to_s": or_none(_WHILE),
    },
}

RULE_FIELDS: dict[str, Read] = {
    "id": _ID,
    "cause": _TEXT,
    "consequence": _TEXT,
    "action": _TEXT,
    "priority": one_of(tuple(Priority)),
    "latching": flag,
    "on_delay_s": _DELAY,
    "off_delay_s": _DELAY,
    "deadband": number(0.0, 1e9),
    "realarm_s": or_none(number(SHORTEST_REALARM_S, LONGEST_S, "s")),
    "suppressed_by": several(_ID),
}


def read_rule(given: Mapping[str, Any]) -> Rule:
    """A rule from its JSON object. Raises RuleRefused with every mistake there is.

    >>> read_rule({"id": "silent", "watch": {"kind": "no-pack", "longer_than_s": -5}, "cause": "x", "consequence": "y"})
    Traceback (most recent call last):
    service.alarms.rules.RuleRefused: action: It is missing. watch.longer_than_s: -5 must be a number from 1 to 3.16224e+07 s.
    """
    problems: list[Problem] = []
    if not isinstance(given, Mapping):
        raise RuleRefused([Problem("rule", "A rule is one JSON object.")])
    plain = {name: value for name, value in given.items() if name != "watch"}
    values = _read(plain, RULE_FIELDS, Rule, "", problems)
    watch = _read_watch(given.get("watch"), problems)
    values["priority"] = Priority(values.get("priority", Priority.LOW))
    if watch is not None:
        problems += _beside_each_other(watch, values)
    if values.get("id") in values.get("suppressed_by", ()):
        problems.append(Problem("suppressed_by", "A rule cannot suppress itself."))
    if problems or watch is None:
        raise RuleRefused(problems)
    return Rule(watch=watch, **values)


def write_rule(rule: Rule) -> dict[str, Any]:
    """Its JSON object, every field in it; `read_rule` gives the same rule again."""
    kind = next(name for name, watch in KINDS.items() if isinstance(rule.watch, watch))
    plain = asdict(rule)
    watch = {"kind": kind} | {name: _listed(value) for name, value in plain.pop("watch").items()}
    said = {name: _listed(value) for name, value in plain.items()}
    return {"id": said.pop("id"), "watch": watch} | said | {"priority": str(rule.priority)}


def _listed(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def _read_watch(given: Any, problems: list[Problem]) -> Watch | None:
    if given is None:
        problems.append(Problem("watch", "It is missing."))
        return None
    if not isinstance(given, Mapping):
        problems.append(Problem("watch", "It must be one JSON object, with its kind."))
        return None
    kind = given.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        problems.append(Problem("watch.kind", f"{_shown(kind)} must be one of {', '.join(KINDS)}."))
        return None
    plain = {name: value for name, value in given.items() if name != "kind"}
    before = len(problems)
    values = _read(plain, WATCH_FIELDS[KINDS[kind]], KINDS[kind], "watch.", problems)
    return KINDS[kind](**values) if len(problems) == before else None


def _read(
    given: Mapping[str, Any], readers: dict[str, Read], made: type, prefix: str, problems: list[Problem]
) -> dict[str, Any]:
    values = {}
    for name, value in given.items():
        if name not in readers:
            close = get_close_matches(str(name), readers, 1)
            meant = f"; perhaps {close[0]} is meant" if close else ""
            problems.append(Problem(f"{prefix}{str(name)[:40]}", f"There is no such field{meant}."))
            continue
        try:
            values[name] = readers[name](value)
        except ValueError as error:
            problems.append(Problem(f"{prefix}{name}", f"{_shown(value)} must be {error}."))
    needed = [one.name for one in fields(made) if one.name in readers and one.default is MISSING]
    problems += [Problem(f"{prefix}{name}", "It is missing.") for name in needed if name not in given]
    return values


def _beside_each_other(watch: Watch, values: Mapping[str, Any]) -> list[Problem]:
    """What each field allows by itself, and the others forbid."""
    problems: list[Problem] = []
    deadband = values.get("deadband", 0.0)
    match watch:
        case QuantityBeyond(name=name, side=side, limit=limit, worse=worse):
            unit, low, high, _ = QUANTITIES[name]
            for field, value in (("limit", limit), ("worse", worse)):
                if value is not None and not low <= value <= high:
                    problems.append(Problem(f"watch.{field}", f"{value:g} must be from {low:g} to {high:g} {unit}."))
            if worse is not None and (worse <= limit if side == "above" else worse >= limit):
                problems.append(Problem("watch.worse", f"{worse:g} must lie {side} the limit of {limit:g} {unit}."))
            if not isfinite(deadband) or deadband >= high - low:
                problems.append(Problem("deadband", f"{deadband:g} must be less than {high - low:g} {unit}."))
        case Trend():
            pass
        case _ if deadband:
            problems.append(Problem("deadband", "Only a quantity and a trend can have one."))
    match watch:
        case QuietPress(begins=begins, ends=ends) if begins == ends:
            problems.append(Problem("watch.ends", "Quiet hours must end at another time than they begin."))
        case BlindTime(within_s=within_s, longer_than_s=longer_s, share=share):
            if (longer_s is None) == (share is None):
                problems.append(Problem("watch.longer_than_s", "Either this or share must be given, and not both."))
            elif watch.most_s >= within_s:
                field = "longer_than_s" if share is None else "share"
                problems.append(
                    Problem(f"watch.{field}", f"There cannot be more than {within_s:g} s within {within_s:g} s.")
                )
    return problems


def _shown(value: Any) -> str:
    text = repr(value)
    return text if len(text) <= 40 else f"{text[:39]}…"
