"""The open-circuit voltage of a bell transformer over one cycle: a fundamental with its third and fifth.

Refuses to know anything that draws current.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_RISE = np.linspace(0.0, 0.75 * np.pi, 49)[:, np.newaxis]  # phases at which a rising edge is looked for
_TURN = np.linspace(0.0, np.pi, 61)[:, np.newaxis]  # and a crest


@dataclass(frozen=True, slots=True)
class Mains:
    """sin x + h3 sin(3x + p3) + h5 sin(5x + p5), scaled to the rms of the whole; arrays of one shape (N,).

    Phases x are radians after the rising zero crossing of the fundamental.

    Examples
    --------
    By hand: 10 V rms with a third of 0.1: amplitude 10·√2/√1.01 = 14.0720 V; at the crest 14.0720·(1 − 0.1) = 12.665 V.

    >>> one = np.ones(1)
    >>> flat = Mains(10.0 * one, 0.1 * one, 0.0 * one, 0.0 * one, 0.0 * one)
    >>> round(float(flat.voltage(np.array([np.pi / 2]))[0]), 3)
    12.665
    """

    rms_v: Array
    third: Array
    third_phase: Array
    fifth: Array
    fifth_phase: Array

    @property
    def amplitude_v(self) -> Array:
        """Amplitude of the fundamental [V]."""
        return np.asarray(self.rms_v * np.sqrt(2.0 / (1.0 + self.third**2 + self.fifth**2)), dtype=np.float64)

    @property
    def is_sine(self) -> bool:
        return not (np.any(self.third != 0.0) or np.any(self.fifth != 0.0))

    def voltage(self, phase_rad: Array) -> Array:
        """Voltage [V] at phases (…, N)."""
        shape = np.sin(phase_rad)
        if np.any(self.third != 0.0):
            shape = shape + self.third * np.sin(3.0 * phase_rad + self.third_phase)
        if np.any(self.fifth != 0.0):
            shape = shape + self.fifth * np.sin(5.0 * phase_rad + self.fifth_phase)
        return np.asarray(self.amplitude_v * shape, dtype=np.float64)

    def slope(self, phase_rad: Array) -> Array:
        """Slope [V/rad] at phases (…, N)."""
        shape = np.cos(phase_rad)
        if np.any(self.third != 0.0):
            shape = shape + 3.0 * self.third * np.cos(3.0 * phase_rad + self.third_phase)
        if np.any(self.fifth != 0.0):
            shape = shape + 5.0 * self.fifth * np.cos(5.0 * phase_rad + self.fifth_phase)
        return np.asarray(self.amplitude_v * shape, dtype=np.float64)

    def crest(self) -> tuple[Array, Array]:
        """Phase [rad] and voltage [V] of the highest point, each (N,)."""
        if self.is_sine:
            return np.full_like(self.rms_v, 0.5 * np.pi), self.amplitude_v
        coarse = self.voltage(_TURN)
        at = np.clip(np.argmax(coarse, axis=0), 1, len(_TURN) - 2)
        step = np.pi / (len(_TURN) - 1)
        left, mid, right = (np.take_along_axis(coarse, at[np.newaxis] + k, axis=0)[0] for k in (-1, 0, 1))
        bend = left - 2.0 * mid + right
        phase = at * step + step * 0.5 * (left - right) / np.where(bend < 0.0, bend, -1.0)
        return phase, self.voltage(phase)

    def rises_through(self, level_v: Array, phases: "Array | None" = None) -> Array:
        """First phase in the positive half-cycle at which the voltage rises through a level below the crest [rad].

        A level that is never met gives the phase at which the voltage comes nearest to it from below.
        """
        amplitude = self.amplitude_v
        if self.is_sine:
            return np.asarray(np.arcsin(np.clip(level_v / amplitude, -1.0, 1.0)), dtype=np.float64)
        if phases is None:
            below = np.maximum.accumulate(self.voltage(_RISE), axis=0) < level_v
            first = np.clip(np.sum(below, axis=0), 1, len(_RISE) - 1)
            phases = (first - 0.5) * _RISE[1, 0]
        phase = phases
        for _ in range(4):
            slope = np.maximum(self.slope(phase), 0.05 * amplitude)
            phase = phase + np.clip((level_v - self.voltage(phase)) / slope, -0.1, 0.1)
        return np.asarray(np.clip(phase, -0.5, 0.75 * np.pi), dtype=np.float64)
