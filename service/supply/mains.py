"""The open-circuit voltage of a bell transformer over one cycle: a fundamental with its third and fifth.

Refuses to know anything that draws current.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_RISE = np.linspace(0.0, 0.75 * np.pi, 49)[:, np.newaxis]  # phases at which a rising edge is looked for
_SURE_RAD = 1e-8  # the next step would be its square
_TURN = np.linspace(0.0, np.pi, 61)[:, np.newaxis]  # and a crest

_FACTORS = np.array(
    # sin 3x = sin x (3 − 4 q), cos 3x = cos x (1 − 4 q), sin 5x = sin x (5 − 20 q + 16 q²), cos 5x = cos x (1 − 12 q + 16 q²)
    # with q = sin² x: two angles instead of six
    [
        *([1, 3, 0, 5, 0], [0, -4, 0, -20, 0], [0, 0, 0, 16, 0]),
        *([0, 0, 1, 0, 1], [0, 0, -4, 0, -12], [0, 0, 0, 0, 16]),
        *([1, 3, 0, 5, 0], [0, -12, 0, -60, 0], [0, 0, 0, 80, 0]),
        *([0, 0, 9, 0, 25], [0, 0, -12, 0, -100], [0, 0, 0, 0, 80]),
    ],
    dtype=np.float64,
)


@dataclass(frozen=True)
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

    @cached_property
    def amplitude_v(self) -> Array:
        """Amplitude of the fundamental [V]."""
        return np.asarray(self.rms_v * np.sqrt(2.0 / (1.0 + self.third**2 + self.fifth**2)), dtype=np.float64)

    @cached_property
    def is_sine(self) -> bool:
        return not (np.any(self.third != 0.0) or np.any(self.fifth != 0.0))

    @cached_property
    def _polynomials(self) -> Array:
        """(4, 3, N) factors of sin² x: beside sin x and cos x in the voltage, beside cos x and −sin x in its slope."""
        third, third_lag = self.third * np.cos(self.third_phase), self.third * np.sin(self.third_phase)
        fifth, fifth_lag = self.fifth * np.cos(self.fifth_phase), self.fifth * np.sin(self.fifth_phase)
        parts = np.array([np.ones_like(third), third, third_lag, fifth, fifth_lag])
        return np.asarray(self.amplitude_v * (_FACTORS @ parts), dtype=np.float64).reshape(4, 3, -1)

    def voltage(self, phase_rad: Array) -> Array:
        """Voltage [V] at phases (…, N)."""
        sine = np.sin(phase_rad)
        if self.is_sine:
            return np.asarray(self.amplitude_v * sine, dtype=np.float64)
        with_sine, with_cosine = self._polynomials[:2]
        square = sine * sine
        return np.asarray(
            sine * _polynomial(with_sine, square) + np.cos(phase_rad) * _polynomial(with_cosine, square),
            dtype=np.float64,
        )

    def slope(self, phase_rad: Array) -> Array:
        """Slope [V/rad] at phases (…, N)."""
        cosine = np.cos(phase_rad)
        if self.is_sine:
            return np.asarray(self.amplitude_v * cosine, dtype=np.float64)
        sine = np.sin(phase_rad)
        with_cosine, with_sine = self._polynomials[2:]
        square = sine * sine
        return np.asarray(
            cosine * _polynomial(with_cosine, square) - sine * _polynomial(with_sine, square), dtype=np.float64
        )

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
            move = np.clip((level_v - self.voltage(phase)) / slope, -0.1, 0.1)
            phase = phase + move
            if np.abs(move).max() < _SURE_RAD:
                break
        return np.asarray(np.clip(phase, -0.5, 0.75 * np.pi), dtype=np.float64)


def _polynomial(factors: Array, x: Array) -> Array:
    return np.asarray(factors[0] + x * (factors[1] + x * factors[2]), dtype=np.float64)
