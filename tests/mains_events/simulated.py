"""A plain simulated half-wave rectifier, and the same mains voltage measured by an outside program. Not a test.

Diodes are 0.65 V and a resistance; the reservoir is stepped at 10 kHz: enough to compare, and unlike the service's own solver.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from daqopen.channelbuffer import AcqBuffer
from numpy.typing import NDArray
from pqopen.eventdetector import EventController, EventDetectorLevelHigh, EventDetectorLevelLow
from pqopen.powersystem import PowerSystem

Floats = NDArray[np.floating[Any]]
RATE_HZ = 10_000.0


@dataclass(frozen=True)
class House:
    mains_hz: float = 50.0
    open_circuit_v: float = 16.0  # rms
    source_ohm: float = 3.0
    reservoir_f: float = 470e-6
    idle_a: float = 0.02
    diodes_v: float = 1.3


def envelope(seconds: float, changes: list[tuple[float, float, float]]) -> Floats:
    """Amplitude in share of nominal: 1 but for (start, end, level)."""
    at_s = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    level = np.ones(len(at_s))
    for start_s, end_s, share in changes:
        level[(at_s >= start_s) & (at_s < end_s)] = share
    return level


def rail(house: House, level: Floats, load_a: Floats | None = None, pressed: NDArray[np.bool_] | None = None) -> Floats:
    """Rail at RATE_HZ, from a settled start. A press takes one of the two diodes out of the way."""
    source = (
        level
        * house.open_circuit_v
        * np.sqrt(2.0)
        * np.sin(2.0 * np.pi * house.mains_hz * np.arange(len(level)) / RATE_HZ)
    )
    load = np.full(len(level), house.idle_a) if load_a is None else load_a
    diodes = np.full(len(level), house.diodes_v)
    if pressed is not None:
        diodes[pressed] /= 2.0
    out = np.empty(len(level))
    volts = house.open_circuit_v * np.sqrt(2.0) - house.diodes_v - 4.0 * house.idle_a * house.source_ohm
    step = 1.0 / RATE_HZ / house.reservoir_f
    gain = 1.0 / (house.source_ohm + step)
    for n, (peak, current) in enumerate(zip((source - diodes).tolist(), load.tolist(), strict=True)):
        charging = (peak - volts) * gain  # implicit in the reservoir, so that small ones stay stable
        volts += step * ((charging if charging > 0.0 else 0.0) - current)
        volts = volts if volts > 0.0 else 0.0
        out[n] = volts
    return out


def maxima(house: House, volts: Floats, adc_v: float = 0.0) -> Floats:
    """Maximum of each mains cycle, rounded to `adc_v` where given."""
    per_cycle = RATE_HZ / house.mains_hz
    edges = np.round(np.arange(0, len(volts) + 1, per_cycle)).astype(int)
    edges = edges[edges < len(volts)]
    found = np.maximum.reduceat(volts, edges)
    return np.round(found / adc_v) * adc_v if adc_v else found


@dataclass(frozen=True)
class OutsideEvent:
    start_s: float
    duration_s: float
    residual: float


def outside_events(house: House, level: Floats) -> list[OutsideEvent]:
    """What pqopen-lib 0.10.5 finds in a 230 V mains of the same envelope: Urms(1/2), limits 90 % and 110 %, hysteresis 2 %."""
    seconds = len(level) / RATE_HZ
    time, voltage = AcqBuffer(len(level) + 1000, dtype=np.int64), AcqBuffer(len(level) + 1000, dtype=np.float64)
    system = PowerSystem(voltage, RATE_HZ, nominal_frequency=house.mains_hz, nper=10 if house.mains_hz < 55.0 else 12)
    system.add_phase(u_channel=voltage)
    controller = EventController(time, RATE_HZ)
    wave = level * 230.0 * np.sqrt(2.0) * np.sin(2.0 * np.pi * house.mains_hz * np.arange(len(level)) / RATE_HZ)
    stamps = (np.arange(len(level)) / RATE_HZ * 1e6).astype(np.int64)
    time.put_data(stamps)
    voltage.put_data(wave)
    system.process()
    rms = system.output_channels["U1_hp_rms"]
    controller.add_event_detector(EventDetectorLevelLow(limit=207.0, threshold=4.6, observed_channel=rms))
    controller.add_event_detector(EventDetectorLevelHigh(limit=253.0, threshold=4.6, observed_channel=rms))
    found = controller.process()
    return [
        OutsideEvent(event.start_ts, (event.stop_ts or seconds) - event.start_ts, event.extrem_value / 230.0)
        for event in sorted(found, key=lambda event: event.start_ts)
    ]
