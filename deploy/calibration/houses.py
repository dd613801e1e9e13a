"""Draws healthy houses: as commissioned, and half a year later.

Ranges: transformers, wire, reservoirs and loads as bell wiring has them, spread of parts (common practice, no source). Refuses to
know faults, time and recordings.
"""

import copy
import math
from dataclasses import replace
from typing import Any

import numpy as np

from deploy.calibration.parts import OPEN_OHM, RESERVOIRS_UF, SCHOTTKY, SILICON, WIRES, Circuit, Diode, Draw, House


def log_uniform(draw: Draw, low: float, high: float) -> float:
    return float(math.exp(draw.uniform(math.log(low), math.log(high))))


def normal(draw: Draw, sd: float, limit: float = 2.5) -> float:
    """Around zero, cut off at `limit` standard deviations."""
    return float(np.clip(draw.normal(), -limit, limit) * sd)


def spread(draw: Draw, diode: Diode) -> Diode:
    return replace(
        diode,
        saturation_a=diode.saturation_a * log_uniform(draw, 0.5, 2.0),
        emission=diode.emission * (1 + normal(draw, 0.012)),
        series_ohm=diode.series_ohm * draw.uniform(0.8, 1.4),
    )


def transformer(draw: Draw, volts: float, va: float) -> tuple[float, float, float]:
    """Open-circuit volts, winding ohms, leakage X/R. Small ones are softer."""
    soft = draw.uniform(0.12, 0.26) + 0.12 * math.exp(-va / 9.0) * draw.uniform(0.4, 1.3)
    ohm = float(np.clip(soft * draw.uniform(0.75, 1.15) * volts**2 / va, 0.4, 20.0))
    return volts * (1.0 + soft), ohm, log_uniform(draw, 0.04, 0.4)


def draw_house(draw: Draw, kind: str) -> tuple[House, Circuit]:
    """A healthy house as commissioned."""
    retrofit = kind == "retrofit"
    hz = float(draw.choice([50.0, 60.0], p=[0.62, 0.38]))
    volts = float(draw.choice([8.0, 10.0, 12.0, 16.0, 24.0], p=[0.2, 0.15, 0.15, 0.33, 0.17]))
    va = float(draw.choice([5.0, 8.0, 10.0, 15.0, 20.0, 30.0] if retrofit else [8.0, 10.0, 15.0, 30.0]))
    emf_v, ohm, ratio = transformer(draw, volts, va)
    wire = str(draw.choice(list(WIRES)))
    loop_m = float(round(draw.uniform(6, 75)))
    linear = not retrofit or bool(draw.random() < 0.5)
    rated_rail_v = math.sqrt(2.0) * 1.12 * volts - 1.5
    house = _chime(draw, kind, linear, rated_rail_v)
    house.nominal_hz, house.transformer_v, house.transformer_va = hz, volts, va
    house.wire, house.loop_m = wire, loop_m
    house.nominal_f = 1e-6 * float(draw.choice(RESERVOIRS_UF))
    idle_a = log_uniform(draw, 0.0018, 0.013) if retrofit else log_uniform(draw, 0.0026, 0.018)
    sound_a = log_uniform(draw, 0.03, 0.21) if retrofit else log_uniform(draw, 0.06, 0.23)
    while (
        sound_a / (hz * house.nominal_f) > 0.25 * rated_rail_v
    ):  # nobody builds in a reservoir that cannot carry the sound
        house.nominal_f, sound_a = house.nominal_f * 1.468, sound_a * 0.95
    house.nominal_f = min((c * 1e-6 for c in RESERVOIRS_UF), key=lambda c: abs(math.log(c / house.nominal_f)))
    schottky = retrofit and draw.random() < 0.35
    circuit = Circuit(
        mains_hz=hz + (draw.uniform(-0.15, 0.15) if retrofit else normal(draw, 0.05)),
        level=1.0 + normal(draw, 0.015 if not retrofit else 0.01),
        harmonics=_harmonics(draw, retrofit),
        wander=draw.uniform(0.001, 0.003),
        flicker_per_s=float(draw.uniform(0.1, 1.2)) if retrofit and draw.random() < 0.65 else 0.0,
        phase_steps_per_s=float(draw.uniform(0.05, 0.3)) if retrofit and draw.random() < 0.4 else 0.0,
        emf_v=emf_v,
        core_v=emf_v,
        transformer_ohm=ohm,
        ahead=float(draw.uniform(0.4, 0.6)) if retrofit else 0.0,
        leakage_h=ratio * ohm / (2 * math.pi * hz),
        magnetising_a=min(draw.uniform(0.05, 0.18) * va / volts, 0.25) if retrofit else 0.0,
        saturation=draw.uniform(0.3, 1.8) if retrofit else 0.0,
        wire_ohm=loop_m * WIRES[wire] * draw.uniform(0.9, 1.12),
        joint_ohm=log_uniform(draw, 0.05, 0.5),
        contact_ohm=log_uniform(draw, 0.02, 0.3),
        garden_contact_ohm=log_uniform(draw, 0.02, 0.3),
        parallel_ohm=OPEN_OHM,
        parallel_drop_v=0.0,
        button="normal",
        garden_stuck=False,
        board=spread(draw, (SCHOTTKY if schottky else SILICON)[draw.integers(2 if schottky else 3)]),
        button_diode=spread(draw, SILICON[draw.integers(3)]),
        board_c=float(np.clip(25 + normal(draw, 9), 0, 50)),
        button_c=float(np.clip(15 + normal(draw, 14), -12, 50)),
        reservoir_f=house.nominal_f * float(np.clip(1.0 + normal(draw, 0.09), 0.82, 1.2)),
        esr_ohm=log_uniform(draw, 0.025, 0.25) * (470e-6 / house.nominal_f) ** 0.4,
        idle=idle_a,
        sound=sound_a,
    )
    if not linear:
        circuit.idle = max(idle_a - house.quiescent_a, 0.0012) * rated_rail_v
        circuit.sound = (sound_a - house.quiescent_a) * rated_rail_v
    return house, circuit


def _harmonics(draw: Draw, retrofit: bool) -> tuple[tuple[int, float, float], ...]:
    """Flat-topped in four houses of five; sin(k wt + phase) with phase 0, pi, 0 for k = 3, 5, 7 cuts the top."""
    flat = draw.random() < 0.8
    shares = ((3, 0.037, 0.0), (5, 0.038, math.pi), (7, 0.015 if retrofit else 0.006, 0.0))
    return tuple(
        (k, top * float(draw.uniform(0.03, 1.0)), phase + normal(draw, 0.4) if flat else float(draw.uniform(-3.2, 3.2)))
        for k, top, phase in shares
    )


def _chime(draw: Draw, kind: str, linear: bool, rated_rail_v: float) -> House:
    retrofit = kind == "retrofit"
    dropout_v = round(float(draw.uniform(4.6, 7.4)), 2)
    off_v = dropout_v - draw.uniform(0.8, 1.6) if linear else dropout_v
    on_v = off_v + draw.uniform(0.8, 1.3) if linear else dropout_v + draw.uniform(0.35, 1.2)
    resistor = retrofit and draw.random() < 0.5
    current_a = round(float(draw.uniform(0.027, 0.062)), 3)
    packet_a = log_uniform(draw, 0.08, 0.3) if retrofit else 0.0
    slow = retrofit and draw.random() < 0.5
    detector_ohm = float(draw.choice([1000.0, 1200.0, 1500.0, 1800.0, 2200.0]))
    most_a = 0.6 * (rated_rail_v - 0.5) / detector_ohm  # an installer sees to it that the detector answers
    detector = _slow_detector(draw) if slow else _fast_detector(draw, retrofit, most_a)
    choice = [46.2, 49.5, 50.0, 52.8, 61.0] if retrofit else [50.0, 50.0, 55.0, 66.0]
    return House(
        kind=kind, nominal_hz=0.0, transformer_v=0.0, transformer_va=0.0, wire="", loop_m=0.0, nominal_f=0.0,
        rated_rail_v=rated_rail_v, linear=linear, dropout_v=dropout_v, off_v=off_v, on_v=on_v,
        quiescent_a=0.0 if linear else log_uniform(draw, 0.0001, 0.0015),
        soft_s=0.0 if linear else draw.uniform(0.002, 0.008),
        boot_s=draw.uniform(0.12, 0.4),
        resumes=bool(draw.random() < 0.6),
        divider_ohm=float(draw.choice([91e3, 110e3, 130e3, 220e3, 330e3])),
        test_a=0.0 if resistor else current_a,
        test_ohm=_preferred(rated_rail_v / current_a) if resistor else 0.0,
        test_error=1.0 + normal(draw, 0.007 if resistor else 0.01),
        sound_share=float(draw.uniform(0.04, 0.3)) if draw.random() < 0.6 else 0.0,
        sound_hz=draw.uniform(90, 420) if retrofit else draw.uniform(300, 1200),
        radio=packet_a if linear else packet_a * 3.3 / draw.uniform(0.78, 0.93),
        radio_packet_s=log_uniform(draw, 0.0009, 0.008),
        beacon_s=float(draw.choice([0.1, 0.1024])),
        packets_per_s=log_uniform(draw, 0.2, 4.0),
        muted=bool(draw.random() < 0.75),
        detector_ohm=detector_ohm,
        detector_error=(1.0 + normal(draw, 0.01), 1.0 + normal(draw, 0.01)),
        detector_drop_v=1.72 + normal(draw, 0.04),
        garden=retrofit and bool(draw.random() < 0.35),
        garden_wire_ohm=draw.uniform(0.3, 3.0),
        bits=int(draw.choice([10, 12], p=[0.35, 0.65])),
        full_scale_v=float(draw.choice(choice)),
        rate_hz=float(draw.choice([1000.0, 2000.0, 4000.0], p=[0.42, 0.43, 0.15])),
        cycles=int(draw.choice([10, 20], p=[0.6, 0.4])),
        gain=1.0 + normal(draw, 0.006, 2.0),
        offset_v=normal(draw, 0.028),
        noise_v=log_uniform(draw, 0.0035, 0.03),
        curvature_lsb=(normal(draw, 0.5), normal(draw, 0.5)) if retrofit else (0.0, 0.0),
        jitter_s=log_uniform(draw, 1e-6, 3e-5) if retrofit else 0.0,
        lost=log_uniform(draw, 0.0005, 0.008) if retrofit and draw.random() < 0.4 else 0.0,
        clock=1.0 + normal(draw, 30e-6),
        bounces=int(draw.choice([0, 1, 1, 2])),
        drift=(normal(draw, 0.0012), normal(draw, 0.006)),
        **detector,
    )  # fmt: skip


def _fast_detector(draw: Draw, retrofit: bool, most_a: float) -> dict[str, Any]:
    on_a = log_uniform(draw, 0.001, min(0.0048, most_a))
    delays = (
        (draw.uniform(1e-6, 3e-6), draw.uniform(1e-6, 8e-6))
        if retrofit
        else (draw.uniform(3e-6, 2e-5), draw.uniform(2e-5, 1.2e-4))
    )
    low = draw.uniform(0.75, 0.95) if retrofit else 0.999
    return {
        "detector_gain": 1.0 / on_a, "detector_cap": 1e9, "detector_high": 1.0, "detector_low": low, "detector_on_s": 0.0,
        "detector_off_s": 0.0, "detector_delay_s": delays, "detector_on_a": on_a,
    }  # fmt: skip


def _slow_detector(draw: Draw) -> dict[str, Any]:
    """A transistor coupler into a pull-up and a Schmitt input: share of the supply pulled away against two thresholds."""
    gain = draw.uniform(0.5, 2.0) * float(draw.choice([4700.0, 10000.0, 22000.0])) / 3.3
    high, low = draw.uniform(0.6, 0.72), draw.uniform(0.28, 0.4)
    return {
        "detector_gain": gain, "detector_cap": 1.0, "detector_high": high, "detector_low": low,
        "detector_on_s": draw.uniform(1e-5, 6e-5), "detector_off_s": draw.uniform(5e-5, 2.6e-4),
        "detector_delay_s": (0.0, 0.0), "detector_on_a": high / gain,
    }  # fmt: skip


def _preferred(ohm: float) -> float:
    """The nearest value of the E12 series (IEC 60063, from memory)."""
    steps = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
    decade = 10.0 ** math.floor(math.log10(ohm))
    return min((s * decade * d for s in steps for d in (1.0, 10.0)), key=lambda value: abs(math.log(value / ohm)))


def half_a_year_later(draw: Draw, house: House, then: Circuit) -> Circuit:
    """The same circuit, healthy, at another temperature, mains level and load, a little older."""
    now = copy.copy(then)
    retrofit = house.kind == "retrofit"
    now.level = then.level * (draw.uniform(0.96, 1.04) if retrofit else 1.0 + normal(draw, 0.015))
    now.mains_hz = house.nominal_hz + (draw.uniform(-0.15, 0.15) if retrofit else then.mains_hz - house.nominal_hz)
    now.idle *= draw.uniform(0.95, 1.05) if retrofit else 1 + normal(draw, 0.02)
    now.sound *= draw.uniform(0.97, 1.03) if retrofit else 1.0
    now.board_c = float(np.clip(then.board_c + normal(draw, 10), 0, 52))
    now.button_c = float(np.clip(then.button_c + normal(draw, 17), -15, 52))
    if retrofit:
        now.harmonics = tuple((k, share * float(draw.uniform(0.7, 1.3)), phase) for k, share, phase in then.harmonics)
        now.joint_ohm *= draw.uniform(0.8, 1.5)
        now.wire_ohm *= 1.0 + 0.0039 * normal(draw, 8)
        now.reservoir_f *= (1.0 + 0.0008 * (now.board_c - then.board_c)) * (1.0 - abs(normal(draw, 0.004)))
        now.esr_ohm *= math.exp(-(now.board_c - then.board_c) / 35.0)
    return now


def draw_sheet(draw: Draw, house: House, then: Circuit) -> None:
    """What the installer wrote down: rounded, some of it estimated, now and then left out."""
    rated = house.rated_rail_v
    idle_a = then.idle if house.linear else house.quiescent_a + then.idle / rated
    sound_a = then.sound if house.linear else house.quiescent_a + then.sound / rated
    if not house.muted:
        mean = house.radio * house.radio_packet_s / house.beacon_s * (1.0 if house.linear else 1.0 / rated)
        idle_a, sound_a = idle_a + mean, sound_a + mean
    house.sheet = {
        "mains_hz": house.nominal_hz,
        "transformer_v": house.transformer_v,
        "transformer_va": house.transformer_va,
        "wire_loop_m": round(house.loop_m * draw.uniform(0.9, 1.1)),
        "wire": house.wire,
        "reservoir_f": house.nominal_f,
        "idle_a": round(idle_a * (1 + normal(draw, 0.06, 1.8)), 4),
        "sound_a": round(sound_a * (1 + normal(draw, 0.05, 1.8)), 4),
        "dropout_v": house.dropout_v,
        "detector_ohm": house.detector_ohm,
        "doors": {door: {"diode": door == "front"} for door in house.doors},
    }
    house.sheet |= {"test_ohm": house.test_ohm} if house.test_ohm else {"test_a": house.test_a}
    if house.kind == "retrofit":
        house.sheet |= {"regulator": "linear" if house.linear else "switching", "rail_rated_v": round(rated, 1)}
