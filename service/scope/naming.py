"""The name of what a channel shows, where in the circuit it can have been taken, and whether the button was pressed.

What is expected where is common practice, no source: a full sine before the button; a half-wave behind the button's diode, and the full
sine again while it is pressed; some ripple behind the rectifier; a flat regulated rail; a square wave at the detector, only while pressed.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from service.scope.capture import Floats
from service.scope.frequency import Wave
from service.scope.measuring import Measured, measured

Point = Literal["transformer", "terminal", "rectifier", "regulated", "detector"]
POINTS: tuple[Point, ...] = ("transformer", "terminal", "rectifier", "regulated", "detector")

Shape = Literal[
    "full sine",
    "half-wave, positive",
    "half-wave, negative",
    "uneven sine",
    "rectified with ripple",
    "flat",
    "square pulses",
    "none of these",
]
Pressed = Literal["at rest", "pressed"]

QUIET_SHARE = 0.2
"""A half-wave's other half reaches at most this share of it."""

EVEN_SHARE = 0.62
"""The halves of a full sine are at least this alike: what charges the reservoir pulls one of them down through the source resistance."""

RIPPLE_SHARE = 0.004
"""Of the mean: less ripple than this is flat."""

SQUARE_ON_LEVELS, SQUARE_RISE = 0.78, 0.07
"""Share of samples on two levels, and the longest edge as a share of the cycle; the flanks of a clipped half-wave take a tenth."""

NOISE_SHARE = 4.0
FEWEST_CYCLES = 2


@dataclass(frozen=True, slots=True)
class Named:
    """One stretch of a capture. `pressed` None: this point does not show it. `start_s`, `end_s` within the capture."""

    shape: Shape
    pressed: Pressed | None
    figures: Measured
    start_s: float
    end_s: float


def shape_of(one: Measured) -> Shape:
    """By what was measured alone, without knowing where."""
    wave, height = one.wave, one.peak_to_peak_v
    level = max(abs(one.peak_v), abs(one.lowest_v))
    if height <= 0.0 or level <= 0.0:
        return "flat"
    if wave is None or one.ripple_v < max(RIPPLE_SHARE * abs(one.mean_v), 1.0 * one.noise_v):
        return "flat" if one.noise_v < 0.1 * max(abs(one.mean_v), 1e-9) else "none of these"
    if _square(one, wave):
        return "square pulses"
    low, high = float(wave.cycle.min()), float(wave.cycle.max())
    if low > QUIET_SHARE * high > 0.0 or high < QUIET_SHARE * low < 0.0:
        return "rectified with ripple"
    up, down = max(high, 0.0), max(-low, 0.0)
    weaker, stronger = sorted((up, down))
    resting = float(np.mean(np.abs(wave.cycle) < 0.12 * stronger))
    if weaker < QUIET_SHARE * stronger and resting > 0.25:
        return "half-wave, positive" if up > down else "half-wave, negative"
    if weaker >= EVEN_SHARE * stronger and _sinusoidal(wave):
        return "full sine"
    return "uneven sine" if weaker >= QUIET_SHARE * stronger and _sinusoidal(wave) else "none of these"


def possible_points(shape: Shape) -> tuple[Point, ...]:
    """Where in the circuit such a picture is usual, likeliest first."""
    return {
        "full sine": ("transformer", "terminal"),
        "uneven sine": ("terminal",),
        "half-wave, positive": ("terminal",),
        "half-wave, negative": ("terminal",),
        "rectified with ripple": ("rectifier",),
        "flat": ("regulated", "detector"),
        "square pulses": ("detector",),
    }.get(shape, ())  # type: ignore[return-value]


def pressed_of(shape: Shape, one: Measured, point: Point | None) -> Pressed | None:
    """Whether the button was pressed; None where this point, or this picture, does not show it."""
    if point == "terminal":
        if shape in ("half-wave, positive", "half-wave, negative"):
            return "at rest"
        if shape == "full sine":
            return "pressed"
        return _by_halves(one) if shape == "uneven sine" else None
    if point == "detector":
        return {"square pulses": "pressed", "flat": "at rest"}.get(shape)  # type: ignore[return-value]
    return None


def stretches(volts: Floats, step_s: float, scaled: bool, point: Point | None) -> list[Named]:
    """The capture in parts, each at rest or pressed: one where it stays so throughout, or where the point does not show it."""
    whole = measured(volts, step_s, scaled)
    if whole.wave is not None and point in ("terminal", "detector"):
        parts = _parts(volts, step_s, whole.wave, point)
        if len(parts) > 1:
            return [_named(volts[a:b], step_s, scaled, point, a * step_s) for a, b in parts]
    return [_named(volts, step_s, scaled, point, 0.0, whole)]


def _named(
    volts: Floats, step_s: float, scaled: bool, point: Point | None, start_s: float, whole: Measured | None = None
) -> Named:
    figures = whole or measured(volts, step_s, scaled)
    shape = shape_of(figures)
    return Named(shape, pressed_of(shape, figures, point), figures, start_s, start_s + step_s * len(volts))


def _parts(volts: Floats, step_s: float, wave: Wave, point: Point) -> list[tuple[int, int]]:
    """Runs of like cycles, as first and last sample. A cycle in which it changes belongs to neither."""
    length = 1.0 / (wave.hz * step_s)
    first = wave.origin_s / step_s
    count = int((len(volts) - first) / length)
    cycles = [volts[int(first + n * length) : int(first + (n + 1) * length)] for n in range(count)]
    height = float(np.ptp(volts))
    if point == "detector":
        alike = [float(np.ptp(one)) > 0.5 * height for one in cycles]
    else:
        alike = [min(max(one.max(), 0.0), max(-one.min(), 0.0)) > 0.5 * height * 0.4 for one in cycles]
    found: list[tuple[int, int]] = []
    begin = 0
    for n in range(1, count + 1):
        if n == count or alike[n] != alike[begin]:
            found.append((begin, n))
            begin = n
    if len(found) < 2:
        return []
    # the cycle on either side of a change is partly one and partly the other
    trimmed = [(a + (a > 0), b - (b < count)) for a, b in found]
    return [(int(first + a * length), int(first + b * length)) for a, b in trimmed if b - a >= FEWEST_CYCLES]


def _square(one: Measured, wave: Wave) -> bool:
    edges = [time for time in (one.rise_s, one.fall_s) if time is not None]
    return one.on_levels > SQUARE_ON_LEVELS and bool(edges) and max(edges) < SQUARE_RISE / wave.hz


def _sinusoidal(wave: Wave) -> bool:
    """The fundamental is most of it."""
    level = wave.cycle - wave.cycle.mean()
    turns = np.arange(len(level)) / len(level)
    share = 2.0 * (np.mean(level * np.sin(2 * np.pi * turns)) ** 2 + np.mean(level * np.cos(2 * np.pi * turns)) ** 2)
    return bool(share > 0.8 * np.mean(level * level))


def _by_halves(one: Measured) -> Pressed | None:
    """The half that charges the reservoir is flattened by it. Where that one is the weaker, the button is pressed and the other half is
    whole; where the other is the weaker, it comes through something across the button, a lamp or a leak."""
    if one.wave is None:
        return None
    up, down = np.maximum(one.wave.cycle, 0.0), np.maximum(-one.wave.cycle, 0.0)
    weaker, stronger = sorted((up, down), key=lambda half: float(half.max()))
    return "pressed" if _fullness(weaker) > _fullness(stronger) else "at rest"


def _fullness(half: Floats) -> float:
    """Mean over peak of a half-cycle: 0.64 for a sine, more where it is flattened."""
    on = half > 0.05 * half.max()
    return float(half[on].mean() / half.max()) if on.any() else 0.0
