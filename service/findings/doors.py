"""What the pulses of one door show, beside the rail: presses, drop-outs, bounce, pulses that stand, and how wide they are.

Counts and medians only; what they mean is the judge's. All moments in seconds on the line of time of the evidence.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.findings.cycles import FEWEST_QUIET, HELD_S, IdleCycles
from service.findings.testimony import Evidence, Held
from service.presses.pulses import JOIN_S

Floats = NDArray[np.floating[Any]]

LONG_PRESS_S = 0.09
"""The rail shows the bridged diode on nearly every press that is longer (99 % above 60 ms in simulation)."""

EDGE_S = 0.03
"""Bounce spoils the pulses at the begin and the end of a press; drop-outs are looked for between."""

SHORT_GAP_SHARE = 0.25
"""A gap shorter than a quarter of a cycle lies inside one half-cycle: the contact bounced."""

UPPER = 75.0

STANDS_S = 120.0
"""No finger leans on a button for two minutes [s]."""

STANDS_SHARE = 0.6
"""Pulses in more of the cycles than this while the chime was up, in a short stretch: they stand."""


@dataclass(frozen=True, slots=True)
class LongPress:
    """A press long enough to show on the rail under the idle load. `rise_v`: how far the maxima rose above their level."""

    start_s: float
    end_s: float
    rise_v: float
    cycles: int  # that it was seen in


@dataclass(frozen=True, slots=True)
class DoorSigns:
    """Signs of one door in a stretch."""

    presses: int
    held_s: float  # all presses together
    long_presses: tuple[LongPress, ...]
    drop_outs: int  # missing pulses inside presses
    pressed_with_drop_outs: int
    short_gaps: int  # inside one half-cycle
    width_s: float | None  # of a full pulse: upper quartile of the pulses inside presses
    standing_share: float  # of the cycles while the chime was up, with a pulse that belongs to a run that stands
    standing_from_s: float | None
    standing_width_s: float | None  # median
    standing_widest_s: float | None  # of those within it that were made by a press, if there was one
    lone_pulses: int  # single pulses, far from any other, that are no short press of full width


def door_signs(door: str, evidence: Evidence, cycles: IdleCycles, mains_hz: float) -> DoorSigns:
    """Signs in the pulses of one door, and in what was told of it in numbers."""
    seen = _in_pulses(evidence.pulses.get(door, np.empty((0, 2))), evidence, cycles, mains_hz)
    return _with_numbers(seen, evidence.held.get(door, ()), evidence, mains_hz)


def _with_numbers(seen: DoorSigns, held: Sequence[Held], evidence: Evidence, mains_hz: float) -> DoorSigns:
    """Stretches told in numbers beside the pulses; those that follow one another at once are one."""
    chains: list[list[Held]] = []
    for stretch in held:
        if chains and stretch.start_s - chains[-1][-1].end_s < JOIN_S + 1.0 / mains_hz:
            chains[-1].append(stretch)
        else:
            chains.append([stretch])
    standing = [chain for chain in chains if chain[-1].end_s - chain[0].start_s > STANDS_S]
    short = [chain[0] for chain in chains if len(chain) == 1 and chain not in standing]
    period = 1.0 / mains_hz
    gaps = [
        h
        for h in short
        if h.longest_gap_s is not None and h.longest_gap_s > period - (h.width_s or 0.3 * period) + 2e-3
    ]
    seen = replace(
        seen,
        presses=seen.presses + len(short),
        held_s=seen.held_s + sum(h.end_s - h.start_s for h in short),
        drop_outs=seen.drop_outs + len(gaps),
        pressed_with_drop_outs=seen.pressed_with_drop_outs + len(gaps),
    )
    if not standing:
        return seen
    up_s = max(sum(p.last_heard_s - p.start_s for p in evidence.powered), period)
    widths = [h.width_s for chain in standing for h in chain if h.width_s is not None]
    lasting = sum(chain[-1].end_s - chain[0].start_s for chain in standing)
    return replace(
        seen,
        standing_share=min(seen.standing_share + lasting / up_s, 1.0),
        standing_from_s=min(standing[0][0].start_s, seen.standing_from_s or standing[0][0].start_s),
        standing_width_s=float(np.median(widths)) if widths else seen.standing_width_s,
        standing_widest_s=max(widths) if widths else seen.standing_widest_s,
    )


def _in_pulses(pulses: Floats, evidence: Evidence, cycles: IdleCycles, mains_hz: float) -> DoorSigns:
    """(n, 2) rise and fall [s] in order."""
    cycle_s = 1.0 / mains_hz
    up_s = max(sum(p.last_heard_s - p.start_s for p in evidence.powered), cycle_s)
    runs = runs_of(pulses)
    standing = [run for run in runs if _span(run) > STANDS_S or len(run) > STANDS_SHARE * up_s * mains_hz]
    if not standing and sum(len(run) for run in runs) > STANDS_SHARE * up_s * mains_hz:
        standing = [run for run in runs if len(run) > 25]  # lost pulses break a standing run
    presses = [run for run in runs if not any(run is other for other in standing)]
    inside = np.concatenate([run[1:-1] for run in presses if len(run) > 3] or [np.empty((0, 2))])
    widths = inside[:, 1] - inside[:, 0]
    width = float(np.percentile(widths, 75)) if len(widths) >= 4 else None
    missing = [_missing(run, cycle_s, width) for run in presses]
    stood = np.concatenate(standing) if standing else np.empty((0, 2))
    return DoorSigns(
        presses=len(presses),
        held_s=float(sum(_span(run) for run in presses)),
        long_presses=tuple(_long_presses(presses, cycles)),
        drop_outs=sum(missing),
        pressed_with_drop_outs=sum(count > 0 for count in missing),
        short_gaps=sum(_short_gaps(run, cycle_s) for run in presses),
        width_s=width,
        standing_share=len(stood) / (up_s * mains_hz),
        standing_from_s=float(stood[0, 0]) if len(stood) else None,
        standing_width_s=float(np.median(stood[:, 1] - stood[:, 0])) if len(stood) else None,
        standing_widest_s=float(np.percentile(stood[:, 1] - stood[:, 0], 99)) if len(stood) else None,
        lone_pulses=sum(len(run) == 1 and (width is None or run[0, 1] - run[0, 0] < 0.9 * width) for run in presses),
    )


def runs_of(pulses: Floats) -> list[Floats]:
    """Pulses less than `JOIN_S` apart together."""
    if len(pulses) == 0:
        return []
    breaks = np.flatnonzero(pulses[1:, 0] - pulses[:-1, 1] >= JOIN_S) + 1
    return np.split(pulses, breaks)


def _span(run: Floats) -> float:
    return float(run[-1, 1] - run[0, 0])


def _missing(run: Floats, cycle_s: float, width_s: float | None) -> int:
    """Pulses that are missing, or cut short by an open contact, inside a press."""
    start, end = run[0, 0] + EDGE_S, run[-1, 1] - EDGE_S
    count = 0
    for (_, fall), (rise, _) in pairwise(run):
        gap = rise - fall
        longest = cycle_s - (width_s if width_s is not None else 0.3 * cycle_s) + 2e-3
        count += bool(gap > longest and fall > start and rise < end)
    return count


def _short_gaps(run: Floats, cycle_s: float) -> int:
    return int(np.count_nonzero(run[1:, 0] - run[:-1, 1] < SHORT_GAP_SHARE * cycle_s))


def _long_presses(presses: list[Floats], cycles: IdleCycles) -> list[LongPress]:
    """Rises as the upper quartile of a press's maxima above that of quiet ones: a radio pulls maxima down, never up."""
    pressed = np.zeros(len(cycles.at_s), bool)
    for run in presses:
        pressed |= (cycles.at_s > run[0, 0] - 2.0 * cycles.cycle_s) & (cycles.at_s < run[-1, 1] + HELD_S)
    quiet = cycles.idle & ~pressed
    if np.count_nonzero(quiet) < FEWEST_QUIET:
        quiet = cycles.idle
    above = cycles.maxima_v - cycles.level_v
    usual = float(np.percentile(above[quiet], UPPER)) if quiet.any() else 0.0
    found = []
    for run in presses:
        start, end = float(run[0, 0]), float(run[-1, 1])
        if end - start < LONG_PRESS_S:
            continue
        inside = (cycles.at_s > start + 1.5 * cycles.cycle_s) & (cycles.at_s + cycles.cycle_s < end + cycles.cycle_s)
        inside &= cycles.idle
        if np.count_nonzero(inside) < 3:
            continue
        found.append(LongPress(start, end, float(np.percentile(above[inside], UPPER)) - usual, int(inside.sum())))
    return found
