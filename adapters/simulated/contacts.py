"""Button contacts, and the pulses that the chime's detectors see through them.

A detector sees the half-cycle that the standing supply does not use, so its pulses depend on the source voltage and on what
lies across the button, never on the rail: they are found in closed form, to the tick. Knows no reservoir, packs or callers.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np

from adapters.simulated.circuit import Circuit, Floats, Parts

Span = tuple[float, float]

FINE_S = 1.0 / 6000.0
DIODE_V = 0.65
TURN_ON_S, TURN_OFF_S = 20e-6, 60e-6
"""Delays of a fast optocoupler, on and off (order of magnitude from data sheets; slower ones reach 0.3 ms off)."""

SHORTEST_PULSE_S = 0.2e-3
"""Shorter pulses need not be sent, says the contract."""

TICK_S = 1e-4


@dataclass(frozen=True, slots=True)
class Contact:
    """How a button makes and breaks. Bounce in seconds (shortest, longest) and openings; drop-outs while it is held."""

    make_bounce_s: Span = (0.3e-3, 3e-3)
    break_bounce_s: Span = (0.3e-3, 2e-3)
    bounce_openings: int = 1
    drop_outs: tuple[int, int] = (0, 0)
    drop_out_s: Span = (0.0, 0.0)
    stuck: bool = False


def closures(start_s: float, hold_s: float, contact: Contact, rng: np.random.Generator) -> list[Span]:
    """Closed stretches of one press, in order; the first begins at `start_s`, the last ends `hold_s` later."""
    end = inf if contact.stuck else start_s + hold_s
    opened: list[Span] = []
    for low, high, at_end in ((*contact.make_bounce_s, False), (*contact.break_bounce_s, True)):
        whole = min(rng.uniform(low, high), 0.25 * hold_s)
        marks = np.sort(rng.uniform(0.0, whole, 2 * contact.bounce_openings))
        if at_end and contact.stuck:
            continue
        begin = end - whole if at_end else start_s
        opened += [(begin + float(a), begin + float(b)) for a, b in zip(marks[::2], marks[1::2], strict=True)]
    count = int(rng.integers(contact.drop_outs[0], contact.drop_outs[1] + 1))
    if hold_s > 0.05 and count:
        places = start_s + hold_s * (0.15 + 0.7 * (np.arange(count) + rng.uniform(0.0, 0.5, count)) / count)
        opened += [(float(at), float(at + rng.uniform(*contact.drop_out_s))) for at in places]
    result, since = [], start_s
    for a, b in sorted(opened):
        if a > since:
            result.append((since, a))
        since = max(since, b)
    return [*result, (since, end)] if since < end else result


def merged(spans: Iterable[Span]) -> list[Span]:
    """Spans in order, those that touch joined."""
    result: list[Span] = []
    for a, b in sorted(spans):
        if result and a <= result[-1][1]:
            result[-1] = (result[-1][0], max(b, result[-1][1]))
        else:
            result.append((a, b))
    return result


def path_ohm(parts: Parts, closed: bool, rear: bool) -> tuple[float, float]:
    """(resistance [ohm], extra drop [V]) that the returning half-cycle meets in the button; inf where it cannot return."""
    if rear:
        return (parts.contact_ohm if closed else inf), 0.0
    conductance = (1.0 / max(parts.contact_ohm, 1e-3) if closed else 0.0) + 1.0 / parts.leak_ohm
    if parts.button_diode == "shorted":
        conductance += 20.0
    if parts.button_diode == "reversed" and conductance < 0.02:
        return 0.0, DIODE_V
    return (1.0 / conductance if conductance else inf), 0.0


def threshold_v(parts: Parts, closed: bool, rear: bool = False) -> float:
    """Source voltage below zero at which the detector turns on [V]; inf where it never does."""
    ohm, drop = path_ohm(parts, closed, rear)
    if not parts.detector_works and not rear:
        return inf
    return parts.detector_on_a * (parts.detector_ohm + parts.source_ohm + ohm) + parts.detector_drop_v + drop


def pulses(
    circuit: Circuit,
    start_s: float,
    end_s: float,
    cycles_at_start: float,
    hertz: float,
    level: Floats | float,
    closed: Sequence[Span],
    rear: bool = False,
) -> list[Span]:
    """Detector pulses (rise, fall) [s] between two moments, in order, in ticks; those cut by `end_s` end there.

    `level` is one number, or one per `FINE_S` from `start_s` on. `closed` are the closed stretches of the contact.
    """
    open_v, closed_v = threshold_v(circuit.parts, False, rear), threshold_v(circuit.parts, True, rear)
    if end_s <= start_s or (open_v == inf and (closed_v == inf or not closed)):
        return []
    count = int(np.ceil((end_s - start_s) / FINE_S)) + 1
    grid = start_s + np.arange(count) * FINE_S
    factor = level if isinstance(level, float) else np.resize(level, count)
    returning = -circuit.source_v(cycles_at_start + (grid - start_s) * hertz) * factor
    inside = [(max(a, start_s), min(b, end_s)) for a, b in merged(closed) if a < end_s and b > start_s]
    found: list[Span] = []
    if closed_v < inf:
        windows = _above(grid, returning, closed_v)
        found += [(max(a, c), min(b, d)) for c, d in inside for a, b in _overlapping(windows, c, d)]
    if open_v < inf:
        edges = [start_s, *(edge for span in inside for edge in span), end_s]
        windows = _above(grid, returning, open_v)
        outside = zip(edges[::2], edges[1::2], strict=True)
        found += [(max(a, c), min(b, d)) for c, d in outside for a, b in _overlapping(windows, c, d)]
    # a contact that opens for less than the optocoupler's delay leaves no edge
    delayed = [(a + TURN_ON_S, b + TURN_OFF_S) for a, b in found if b > a]
    whole = [(_tick(a), _tick(min(b, end_s))) for a, b in merged(delayed) if a < end_s]
    return [(a, b) for a, b in whole if b - a >= SHORTEST_PULSE_S - 1e-9]


def _above(grid: Floats, values: Floats, limit: float) -> tuple[Floats, Floats]:
    """Where the curve lies above the limit: starts and ends, interpolated between the points."""
    above = values > limit
    change = np.flatnonzero(above[1:] != above[:-1])
    span = values[change + 1] - values[change]
    moments = grid[change] + (limit - values[change]) / span * FINE_S
    if above[0]:
        moments = np.concatenate([grid[:1], moments])
    if above[-1]:
        moments = np.concatenate([moments, grid[-1:]])
    return moments[::2], moments[1::2]


def _overlapping(windows: tuple[Floats, Floats], start_s: float, end_s: float) -> list[Span]:
    starts, ends = windows
    first, last = int(np.searchsorted(ends, start_s, "right")), int(np.searchsorted(starts, end_s, "left"))
    return list(zip(starts[first:last].tolist(), ends[first:last].tolist(), strict=True))


def _tick(moment_s: float) -> float:
    return round(moment_s / TICK_S) * TICK_S
