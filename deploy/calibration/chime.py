"""The chime as a measuring instrument: what its converter, its clock and its detector inputs make of what happened.

Refuses to know truth and packs.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from deploy.calibration.circuit import KEPT, STEP_S, Run
from deploy.calibration.parts import Draw, House
from deploy.calibration.timetable import Timetable

Codes = NDArray[np.int16]
LOST = -32768
TRACE_HZ = 1000.0  # at which it watches the rail for cycle maxima and minima
SHORTEST_S = 0.0002  # of a pulse that is told


@dataclass(slots=True)
class Told:
    """One survey by the chime's own clock [s]."""

    powered: list[tuple[float, float]]
    bursts: dict[str, tuple[float, Codes]] = field(default_factory=dict)
    edges: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    log: list[tuple[float, str]] = field(default_factory=list)
    trace: Codes = field(default_factory=lambda: np.zeros(0, np.int16))


class Converter:
    """Volts to codes, at moments that are not quite the ones meant."""

    def __init__(self, draw: Draw, house: House, later: bool, rail: NDArray[np.float32]) -> None:
        self._draw, self._house, self._rail = draw, house, rail
        self._gain = house.gain * (1.0 + (house.drift[0] if later else 0.0))
        self._offset = house.offset_v + (house.drift[1] if later else 0.0)
        self.lsb_v = house.full_scale_v / 2**house.bits

    def sample(self, moments_s: NDArray[np.float64]) -> Codes:
        """At moments of the chime's clock."""
        house, draw = self._house, self._draw
        n = len(moments_s)
        at = (
            moments_s / house.clock + draw.normal(0.0, house.jitter_s, n) if house.jitter_s else moments_s / house.clock
        )
        grid = np.clip(at / (STEP_S * KEPT), 0, len(self._rail) - 1.001)
        left = grid.astype(int)
        part = grid - left
        volts = self._rail[left] * (1.0 - part) + self._rail[left + 1] * part
        volts = volts * self._gain + self._offset + draw.normal(0.0, house.noise_v, n)
        share = volts / house.full_scale_v
        bow, s = house.curvature_lsb
        code = volts / self.lsb_v + bow * np.sin(np.pi * share) + s * np.sin(2.0 * np.pi * share)
        codes: Codes = np.clip(np.rint(code), 0, 2**house.bits - 1).astype(np.int16)
        if house.lost:
            codes[draw.random(n) < house.lost] = LOST
        return codes


def tell(draw: Draw, house: House, table: Timetable, run: Run, column: int, later: bool) -> Told:
    """What this chime has to tell of its column of a run."""
    clock = house.clock
    told = Told([(on * clock, off * clock) for on, off in alive(house, run, column, table.end_s)])
    converter = Converter(draw, house, later, run.rail[:, column])
    for name, (start, end) in table.bursts.items():
        holder = next((span for span in told.powered if span[0] <= start * clock <= span[1]), None)
        if holder is None:
            continue
        moments = start * clock + np.arange(int((end - start) * house.rate_hz)) / house.rate_hz
        codes = converter.sample(moments)
        codes[moments > holder[1]] = LOST
        told.bursts[name] = (start * clock, codes)
    told.trace = converter.sample(np.arange(int(table.end_s * clock * TRACE_HZ)) / TRACE_HZ)
    told.edges = {door: _pulses(house, run, column, door, told.powered) for door in house.doors}
    told.log = _log(house, table, told.powered, run, column)
    return told


def alive(house: House, run: Run, column: int, end_s: float) -> list[tuple[float, float]]:
    """Spans in which the chime runs its program: supplied, and past its boot delay."""
    spans, since = [], None
    for at, on in run.power[column]:
        if at > end_s:
            break
        if on:
            since = at + house.boot_s if at > 0 else 0.0
        elif since is not None:
            if at > since:
                spans.append((since, at))
            since = None
    if since is not None and since < end_s:
        spans.append((since, end_s))
    return spans


def _pulses(
    house: House, run: Run, column: int, door: str, powered: list[tuple[float, float]]
) -> list[tuple[float, float]]:
    """Rise and fall of what the program sees. A line that is made already when it starts is told from then on."""
    made, broken = house.detector_delay_s
    pulses, since = [], None
    for at, on in run.edges[door][column]:
        if on:
            since = (at + made) * house.clock
        elif since is not None:
            pulses.append((since, (at + broken) * house.clock))
            since = None
    seen = []
    for start, end in powered:
        cut = ((max(rise, start), min(fall, end)) for rise, fall in pulses if fall > start and rise < end)
        seen += [(rise, fall) for rise, fall in cut if fall - rise >= SHORTEST_S]
    return seen


def _log(
    house: House, table: Timetable, powered: list[tuple[float, float]], run: Run, column: int
) -> list[tuple[float, str]]:
    restarts = [at * house.clock for at in run.restarts[column]]
    schedule = [(at * house.clock, load) for at, load in table.log]
    log: list[tuple[float, str]] = []
    for start, end in powered:
        at, load = [entry for entry in schedule if entry[0] <= start][-1]
        forgot = any(at <= restart <= start for restart in restarts)
        log.append((start, "idle" if forgot else load))
        log += [entry for entry in schedule if start < entry[0] < end]
    return log


def cycles(house: House, told: Told, start_s: float, end_s: float) -> tuple[Codes, Codes]:
    """Highest and lowest code of each rated cycle in a span."""
    cycle_s = 1.0 / house.nominal_hz
    count = int((end_s - start_s + 1e-9) / cycle_s)
    first = np.ceil((start_s + cycle_s * np.arange(count + 1)) * TRACE_HZ - 1e-6).astype(int)
    highest, lowest = np.full(count, LOST, np.int16), np.full(count, LOST, np.int16)
    for k in range(count):
        inside = told.trace[first[k] : first[k + 1]]
        inside = inside[inside >= 0]
        if inside.size:
            highest[k], lowest[k] = inside.max(), inside.min()
    return highest, lowest
