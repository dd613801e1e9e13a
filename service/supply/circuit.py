"""The parts of one or many installations as a cycle needs them, and what follows from them at once.

Refuses to know time: how a cycle runs is stepped elsewhere.
"""

from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.supply.diodes import Diode
from service.supply.load import Load
from service.supply.mains import Mains

Array = NDArray[np.float64]

_SMALLEST_LOAD_A = 1e-5  # only for the level at which conduction is said to begin


@dataclass(frozen=True, slots=True)
class Path:
    """The diodes in series as one: ln of a product of currents is a sum. Exact for one diode or equal ones.

    Two different ones are off only where the current is near the larger saturation current: microamperes.
    """

    scaled_v: Array  # sum of N·Vt
    saturation_a: Array  # the smaller one: what flows backwards
    log_saturation: Array  # mean of ln Is, weighted by N·Vt
    series_ohm: Array

    @staticmethod
    def of(diodes: "list[Diode]", shape: tuple[int, ...]) -> "Path":
        scaled = [np.broadcast_to(np.asarray(d.emission) * d.thermal_v, shape).astype(np.float64) for d in diodes]
        saturation = [np.broadcast_to(np.asarray(d.saturation_a), shape).astype(np.float64) for d in diodes]
        series = [np.broadcast_to(np.asarray(d.series_ohm), shape).astype(np.float64) for d in diodes]
        total = sum(scaled[1:], scaled[0])
        logs = [v * np.log(a) for v, a in zip(scaled, saturation, strict=True)]
        smallest = saturation[0] if len(diodes) == 1 else np.minimum(saturation[0], saturation[1])
        return Path(total, smallest, sum(logs[1:], logs[0]) / total, sum(series[1:], series[0]))

    def drop_v(self, current_a: Array) -> Array:
        junction = self.scaled_v * (np.log(current_a + self.saturation_a) - self.log_saturation)
        return np.asarray(junction + self.series_ohm * current_a, dtype=np.float64)


@dataclass(frozen=True)
class Circuit:
    """Everything of one installation that a cycle needs; arrays (N,)."""

    mains: Mains
    radians_per_s: Array
    ohm: Array  # source, joints and wires
    henry: Array
    farad: Array
    esr_ohm: Array
    shift_v: Array
    path: Path
    load: Load

    @cached_property
    def begin_a(self) -> Array:
        """Current at which conduction is said to begin and end: a thousandth of what the load asks [A]."""
        asked = np.abs(self.load.regulated_a) + np.abs(self.load.extra_a)
        asked = asked + np.abs(self.load.siemens) * self.mains.rms_v
        return np.asarray(1e-3 * np.maximum(asked, _SMALLEST_LOAD_A), dtype=np.float64)

    def growth_per_s(self, begin_rad: Array, draw_a: Array) -> Array:
        """Rate at which the current grows, exponentially, as conduction begins: set by source, discharge and diodes [1/s]."""
        begin = self.begin_a
        closing_v_per_s = (
            self.radians_per_s * np.maximum(self.mains.slope(begin_rad), 0.0) + np.maximum(draw_a, 0.0) / self.farad
        )
        scaled_v = self.path.scaled_v + begin * (self.ohm + self.path.series_ohm + self.esr_ohm)
        rate = closing_v_per_s / scaled_v
        return np.asarray(closing_v_per_s / (scaled_v + begin * self.henry * rate), dtype=np.float64)

    def threshold_v(self, growth_per_s: Array | float = 0.0) -> Array:
        """Source voltage above the rail at which conduction begins [V]."""
        begin = self.begin_a
        drop_v = self.path.drop_v(begin) + self.shift_v + self.ohm * begin
        return np.asarray(drop_v + self.henry * begin * growth_per_s, dtype=np.float64)


def rows_of(whole: Any, rows: Any) -> Any:
    """The same circuit or cycle for some installations only: arrays are cut along their last axis."""
    if isinstance(whole, np.ndarray):
        return whole[..., rows]
    if is_dataclass(whole) and not isinstance(whole, type):
        return replace(whole, **{f.name: rows_of(getattr(whole, f.name), rows) for f in fields(whole)})
    return whole
