"""A capture: what one instrument sampled at a constant rate. Knows no file and no circuit."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.errors import SettingError

Floats = NDArray[np.floating[Any]]

FEWEST = 32
"""Samples without which nothing is told of a waveform (chosen)."""


class NoWaveform(SettingError):  # noqa: N818 - our errors are named by what is wrong
    """A file that holds no waveform; the sentence says what to do about it."""


@dataclass(frozen=True, slots=True)
class Trace:
    """One channel. `volts` without gaps; `lost`: samples that the file did not give, as when the trace left the screen.

    `scaled`: whether the figures are volts. A sound file that nobody told the full scale of has shares of it.
    """

    name: str
    volts: Floats
    lost: int = 0
    scaled: bool = True


@dataclass(frozen=True, slots=True)
class Capture:
    """Channels sampled together. `step_s`: from sample to sample [s]; `start_s`: of the first, before the trigger negative [s].

    `said`: sentences about how the file was read that a person should know.
    """

    traces: tuple[Trace, ...]
    step_s: float
    start_s: float = 0.0
    said: tuple[str, ...] = ()

    @property
    def length_s(self) -> float:
        return self.step_s * len(self.traces[0].volts)

    def trace(self, wanted: str | None) -> Trace:
        """By name or by number from 1; the first where none is wanted. Raises SettingError."""
        if not wanted:
            return self.traces[0]
        for number, trace in enumerate(self.traces, start=1):
            if wanted in (trace.name, str(number)):
                return trace
        names = ", ".join(trace.name for trace in self.traces)
        raise SettingError(f"The file has no channel {wanted[:40]!r}; it has {names}.")


def without_gaps(values: Floats) -> tuple[Floats, int]:
    """Samples with what is missing drawn straight through, and how many were missing. Raises NoWaveform where most is."""
    good = np.isfinite(values)
    lost = int(values.size - np.count_nonzero(good))
    if values.size - lost < FEWEST:
        raise NoWaveform(f"Only {values.size - lost} samples could be read; a waveform needs at least {FEWEST}.")
    if lost > 0.2 * values.size:
        raise NoWaveform(
            f"{lost} of {values.size} samples are no numbers, as when the trace leaves the screen; "
            "set the instrument to more volts per division and record again."
        )
    if not lost:
        return values, 0
    places = np.arange(values.size)
    return np.interp(places, places[good], values[good]), lost
