"""The mains behind the bell transformer: a level and a frequency that wander, as closed forms of time.

Closed forms, so that the past (thousands of moments at once) and the live house read the same mains. Knows no circuit.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from adapters.simulated.circuit import Floats

REFERENCE_S = 1_700_000_000.0
"""Cycles are counted from here, so that a float still tells a microsecond of phase."""

LEVEL_WANDER = ((86400.0, 0.008), (26300.0, 0.004), (6840.0, 0.004), (1380.0, 0.003), (247.0, 0.002), (47.0, 0.0015))
"""(period [s], share of the level). Together within the ±4 % between visits that the reference installations show."""

HERTZ_WANDER = ((3700.0, 0.012), (611.0, 0.010), (89.0, 0.008))
"""(period [s], amplitude [Hz]). A 50 Hz grid keeps 49.5-50.5 Hz for 99.5 % of a year (EN 50160)."""


@dataclass(frozen=True)
class Mains:
    """`level` is a factor on the nominal voltage."""

    nominal_hz: float = 50.0
    seed: int = 1
    steady_level: float = 1.0

    def level(self, at_s: Floats) -> Floats:
        """Share of the nominal voltage, any shape."""
        total = np.ones_like(at_s)
        for (period, share), phase in zip(LEVEL_WANDER, self._phases(0, len(LEVEL_WANDER)), strict=True):
            total += share * np.sin(2.0 * pi * (at_s - REFERENCE_S) / period + phase)
        return total * self.steady_level

    def hertz(self, at_s: Floats) -> Floats:
        """Frequency [Hz], any shape."""
        total = np.full_like(at_s, self.nominal_hz)
        for (period, amplitude), phase in zip(HERTZ_WANDER, self._phases(1, len(HERTZ_WANDER)), strict=True):
            total += amplitude * np.cos(2.0 * pi * (at_s - REFERENCE_S) / period + phase)
        return total

    def cycles(self, at_s: Floats) -> Floats:
        """Cycles since `REFERENCE_S`, the integral of `hertz`; a whole number is a rising zero crossing."""
        since = at_s - REFERENCE_S
        total = since * self.nominal_hz
        for (period, amplitude), phase in zip(HERTZ_WANDER, self._phases(1, len(HERTZ_WANDER)), strict=True):
            total += amplitude * period / (2.0 * pi) * np.sin(2.0 * pi * since / period + phase)
        return total

    def crossing_before(self, at_s: Floats) -> Floats:
        """The last rising zero crossing at or before each moment [POSIX s]."""
        return at_s - np.mod(self.cycles(at_s), 1.0) / self.hertz(at_s)

    def _phases(self, stream: int, count: int) -> list[float]:
        return list(np.random.default_rng([self.seed, stream]).uniform(0.0, 2.0 * pi, count))
