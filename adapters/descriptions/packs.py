"""JSON Schema (2020-12) of a pack in SenML JSON, made from the table of the contract. Loaded where somebody asks.

It says which records there are and what each may hold. What a schema cannot say (one `seq` a pack, times that add up) is in the
contract, and `bellcrank examine` tells of it.
"""

import re
from typing import Any

from adapters.descriptions.events import DIALECT
from service.contract import DOOR, RULES, Rule

VALUES = {"number": "v", "count": "v", "text": "vs", "flag": "vb", "data": "vd"}


def schema() -> dict[str, Any]:
    """A pack: an array of records. Base fields (RFC 8428, section 4.1) may stand in any."""
    return {
        "$schema": DIALECT,
        "title": "Pack",
        "description": "One pack of a chime in SenML JSON (RFC 8428).",
        "type": "array",
        "minItems": 1,
        "items": {
            "type": "object",
            "properties": {
                "bn": {"type": "string"},
                "bt": {"type": "number"},
                "bu": {"type": "string"},
                "bver": {"enum": [10, 26]},
                "t": {"type": "number", "description": "seconds after the pack was put together, zero or negative"},
                "u": {"type": "string"},
            },
            "anyOf": [{"not": {"required": ["n"]}}, *map(record, RULES)],
        },
    }


def record(rule: Rule) -> dict[str, Any]:
    """One row of the contract's table."""
    values: dict[str, dict[str, Any]] = {
        "number": {"type": "number", "minimum": rule.low, "maximum": rule.high},
        "count": {"type": "integer", "minimum": rule.low, "maximum": rule.high},
        "text": {"enum": list(rule.words)},
        "flag": {"type": "boolean"},
        "data": {"type": "string", "pattern": "^[A-Za-z0-9_-]*$"},
    }
    unit = {"u": {"const": rule.unit}} if rule.unit and rule.kind in ("number", "count") else {}
    name = re.escape(rule.name).replace(re.escape("<door>"), DOOR.pattern)
    return {
        "title": rule.name,
        "description": rule.meaning,
        "required": ["n", VALUES[rule.kind]],
        "properties": {"n": {"type": "string", "pattern": f"^{name}$"}, VALUES[rule.kind]: values[rule.kind], **unit},
    }
