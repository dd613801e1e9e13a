"""Packs and arrivals of Tern Cottage, an invented house."""

import json
from typing import Any

from service.model import Arrival

T0 = 1_789_380_000.0
SITE, CHIME = "tern-cottage", "hall"
TOPIC = f"bellcrank/1/{SITE}/{CHIME}/pack"

PRESS = {"n": "front.edges", "t": -0.4, "vd": "AEaCAUaCAUaCAUaCAUaCAUaCAUY"}
"""Seven pulses of 7 ms, 20 ms apart, that began 0.4 s before the pack was made."""


def pack(seq: int, *records: dict[str, Any], boot: int = 1, up_s: float | None = None) -> bytes:
    head: list[dict[str, Any]] = [
        {"n": "boot", "v": boot},
        {"n": "seq", "v": seq},
        {"n": "up", "u": "s", "v": 100.0 * (seq + 1) if up_s is None else up_s},
    ]
    return json.dumps([*head, *records]).encode()


def arrival(payload: bytes, after_s: float = 100.05, topic: str = TOPIC, **more: Any) -> Arrival:
    return Arrival(topic, payload, T0 + after_s, **more)
