"""Tern Cottage's fit-out sheet, an invented one, and what makes checks of it."""

import json
from collections.abc import Callable
from functools import lru_cache
from typing import Any

import pytest

from service.supply.fitout import read_fitout
from service.supply.fitout_rules import Check, check

Checked = Callable[..., Check]

SHEET: dict[str, Any] = {
    "mains_hz": 50,
    "transformer_v": 12,
    "transformer_va": 10,
    "wire": "AWG 20",
    "wire_loop_m": 30,
    "reservoir_f": 1000e-6,
    "reservoir_rated_v": 35,
    "idle_a": 0.008,
    "sound_a": 0.15,
    "test_a": 0.05,
    "regulator": "linear",
    "regulator_v": 5.0,
    "dropout_v": 7.0,
    "detector_ohm": 2200,
    "detector_on_a": 0.0012,
    "detector_diode": True,
    "doors": {"front": {"diode": True}, "garden": {"diode": False}},
}


@pytest.fixture
def checked() -> Checked:
    """The sheet with fields changed; None takes one away."""

    def check_sheet(**changes: Any) -> Check:
        sheet = {name: value for name, value in (SHEET | changes).items() if value is not None}
        return _check(json.dumps(sheet))

    return check_sheet


@lru_cache(maxsize=512)
def _check(text: str) -> Check:
    """A check never changes, so that the same sheet need not be calculated for every test."""
    return check(read_fitout(text))
