"""Fit-out sheets as the model of the circuit sees them. The last few are kept, so that a sheet opened again, or slid back to, is not solved
again; the model is loaded with this file."""

import json
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

from service.supply.fitout import read_fitout
from service.supply.fitout_curves import Curve, curves
from service.supply.fitout_rules import Check, check

KEPT = 16


def checked(sheet: Mapping[str, Any]) -> Check:
    """Raises SettingError."""
    return _checked(json.dumps(dict(sheet)))


def predicted_curves(sheet: Mapping[str, Any]) -> Sequence[Curve]:
    """Raises SettingError."""
    return _curves(json.dumps(dict(sheet)))


@lru_cache(maxsize=KEPT)
def _checked(text: str) -> Check:
    return check(read_fitout(text))


@lru_cache(maxsize=KEPT)
def _curves(text: str) -> Sequence[Curve]:
    return curves(_checked(text))
