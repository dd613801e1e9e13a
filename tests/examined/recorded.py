"""Recordings of Tern Cottage, an invented house: surveys sampled from a rail that is calculated, with noise that is known."""

import json
from base64 import urlsafe_b64encode
from functools import cache
from typing import Any

import numpy as np

from service.supply.rectifier import PHASES, Supply, steady_state

HERTZ, RATE_HZ, LSB_V, NOISE_V = 50.0, 2000.0, 0.005, 0.008
HEALTHY_F, AGED_F = 470e-6, 260e-6
IDLE_A, TEST_A, SOUND_A = 0.006, 0.05, 0.12
SHEET = {
    "mains_hz": 50,
    "transformer_v": 12,
    "transformer_va": 8,
    "reservoir_f": HEALTHY_F,
    "idle_a": IDLE_A,
    "sound_a": SOUND_A,
    "test_a": TEST_A,
    "regulator_v": 5,
    "dropout_v": 6.5,
    "doors": {"front": {"diode": True}},
}
BURSTS = {"idle": 0.7, "test": 1.5, "sound": 2.3}
"""When each begins, from the start of the chime [s]."""

LASTING_S, BURST_S = 6.0, 0.25
PRESSED_S = (4.0, 4.5)
COMMISSIONED_S, NOW_S = 1_767_225_600.0, 1_789_380_000.0  # 1 January 2026, 14 September 2026
TOPIC = "bellcrank/1/tern-cottage/hall/pack"

Line = dict[str, Any]


@cache
def rail(reservoir_f: float) -> dict[str, np.ndarray]:
    """One cycle of each state [V]."""
    solved = steady_state(
        Supply(
            mains_hz=HERTZ,
            open_circuit_v=14.0,
            source_ohm=4.0,
            reservoir_f=reservoir_f,
            load_a=np.array([IDLE_A, IDLE_A, SOUND_A]),
            test_a=np.array([0.0, TEST_A, 0.0]),
            leakage_h=1e-3,
            dropout_v=6.5,
        )
    )
    return dict(zip(BURSTS, solved.rail_v, strict=True))


def survey(base_s: float, boot: int, reservoir_f: float, commissioning: bool = False) -> list[Line]:
    """The packs of one survey and one press."""
    random = np.random.default_rng(boot)
    states = rail(reservoir_f)
    loads = [(0.0, "idle"), (1.4, "test"), (2.2, "sound"), (3.0, "idle")]
    bursts = [
        {"n": f"rail.burst.{kind}", "t": start - 3.1, "vd": codes(sampled(states[kind], start, random))}
        for kind, start in BURSTS.items()
    ]
    cycle_at = np.arange(int(LASTING_S * HERTZ)) / HERTZ
    tops = np.array([states[[state for at, state in loads if at <= moment + 1e-9][-1]].max() for moment in cycle_at])
    tops[(cycle_at > PRESSED_S[0]) & (cycle_at < PRESSED_S[1])] += 0.7
    tops += random.normal(0.0, NOISE_V, len(tops))
    pulses = [(int(1e4 * moment), 70) for moment in np.arange(PRESSED_S[0], PRESSED_S[1], 1.0 / HERTZ)]
    packs: list[tuple[float, list[Line]]] = [
        (0.01, [{"n": "boot.cause", "vs": "power-on"}]),
        (3.1, [_n("rail.rate", RATE_HZ, "Hz"), _n("rail.lsb", LSB_V, "V"), _n("load.test", TEST_A, "A"), *bursts]),
        (5.0, [{"n": "front.edges", "t": PRESSED_S[0] - 5.0, "vd": edges(pulses)}]),
        (
            LASTING_S,
            [
                _n("rail.lsb", LSB_V, "V"),
                _n("rail.cycle", 1.0 / HERTZ, "s"),
                {"n": "rail.peaks", "t": -LASTING_S, "vd": codes(tops)},
                *({"n": "load.log", "t": at - LASTING_S, "vs": state} for at, state in loads),
            ],
        ),
    ]
    more = {"commissioning": True} if commissioning else {}
    return [
        {
            "at": base_s + up_s + 0.05,
            "topic": TOPIC,
            "pack": [_n("boot", boot), _n("seq", seq), _n("up", up_s, "s"), *records],
        }
        | more
        for seq, (up_s, records) in enumerate(packs)
    ]


def sampled(cycle: np.ndarray, start_s: float, random: np.random.Generator) -> np.ndarray:
    at_s = start_s + np.arange(int(BURST_S * RATE_HZ)) / RATE_HZ
    turns = np.mod(at_s * HERTZ, 1.0) * PHASES
    return np.interp(turns, np.arange(PHASES + 1), np.append(cycle, cycle[0])) + random.normal(0.0, NOISE_V, len(at_s))


def aged() -> list[Line]:
    """A sound installation, and eight months later with its reservoir at 55 %."""
    return [*survey(COMMISSIONED_S, 1, HEALTHY_F, True), *survey(NOW_S, 2, AGED_F)]


def text_of(lines: list[Line]) -> str:
    return "".join(json.dumps(line) + "\n" for line in lines)


def codes(volts: np.ndarray) -> str:
    return _base64(np.round(volts / LSB_V).astype("<i2").tobytes())


def edges(pulses: list[tuple[int, int]]) -> str:
    """(rise, width) in ticks of 100 µs, as LEB128 (the contract)."""
    raw, last = b"", pulses[0][0]
    for rise, width in pulses:
        raw += _leb128(rise - last) + _leb128(width)
        last = rise + width
    return _base64(raw)


def _leb128(value: int) -> bytes:
    out = b""
    while value > 0x7F:
        out, value = out + bytes([value & 0x7F | 0x80]), value >> 7
    return out + bytes([value])


def _base64(raw: bytes) -> str:
    return urlsafe_b64encode(raw).rstrip(b"=").decode()


def _n(name: str, value: float, unit: str | None = None) -> Line:
    return {"n": name, **({"u": unit} if unit else {}), "v": value}
