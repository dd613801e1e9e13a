"""The words for what happens to the mains: kinds of event, classes of duration, limits, and what equipment must tolerate.

Refuses to know how an event was seen.
"""

from dataclasses import dataclass
from typing import Literal

from service.model import LoadState

Kind = Literal["dip", "swell", "interruption", "undervoltage", "overvoltage"]
"""IEC 61000-4-30 says dip where IEEE 1159 says sag; beyond a minute it is under- or overvoltage."""

DurationClass = Literal["instantaneous", "momentary", "temporary", "long"]

Seen = Literal["maxima", "window", "power-up"]
"""From which kind of record: every cycle's maximum; the extremes of a stretch; the chime's start after a loss of power."""

INSTANTANEOUS_CYCLES, MOMENTARY_S, TEMPORARY_S = 30.0, 3.0, 60.0
"""IEEE 1159-2009, from a secondary page: 29 cycles are instantaneous, 31 momentary, 4 s temporary, 61 s over one minute."""

ITIC_LOW = ((0.02, 0.0), (0.5, 0.7), (10.0, 0.8))
"""(up to this duration [s], this residual and more is tolerated): ITIC curve of 2000, from a secondary page; then 0.9."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Shares of the reference, as IEC 61000-4-30 wants them set; 90 %, 110 % and 2 % are usual (a note of EN 50160, from
    a secondary page).

    `interruption_share`: sources say 1, 5 or 10 %; 10 % is IEEE 1159's, whose classes are used here.
    `pause_share`: recharging that pauses is told as a possible dip only when the rail has sunk by this much: flicker of
    1 % up and down, as ordinary mains have it, must give nothing.
    `reference_s`: length of the stretches whose median is the sliding reference; one minute as the standard's filter.
    `settle_cycles`: after the chime's own load or radio changed, so many cycles say nothing about the steady level.
    `settle_s`: the longest time in which the rail finds its new level.
    """

    dip_share: float = 0.90
    swell_share: float = 1.10
    hysteresis_share: float = 0.02
    interruption_share: float = 0.10
    pause_share: float = 0.02
    reference_s: float = 60.0
    settle_cycles: int = 15
    settle_s: float = 4.0


@dataclass(frozen=True, slots=True)
class MainsEvent:
    """One event of the mains. Times are POSIX [s]; voltages are shares of the reference, at the source.

    `residual` is the remaining voltage of a dip or the highest of a swell, with bounds; None where nothing tells it.
    `start_low_s`..`start_high_s` bound the start. `ended`: False where the record breaks off before it was over.
    `proven`: False where the bounds leave room for there having been no event by the limits.
    `also_possible`: what the record cannot exclude: another kind, or "own load", "loss in the wiring".
    `seen_cycles`: cycles of the record that lie in the event; 0 where it was not seen but inferred.
    """

    kind: Kind
    duration_class: DurationClass
    start_s: float
    duration_s: float
    residual: float | None
    residual_low: float | None
    residual_high: float | None
    seen: Seen
    seen_cycles: int
    start_low_s: float
    start_high_s: float
    load: LoadState | None = None
    ended: bool = True
    proven: bool = True
    also_possible: tuple[str, ...] = ()
    reason: str = ""


def duration_class(kind: Kind, duration_s: float, mains_hz: float) -> DurationClass:
    """Class of IEEE 1159. Interruptions know no instantaneous class there (from memory).

    >>> [duration_class("dip", s, 60.0) for s in (29 / 60, 31 / 60, 4.0, 61.0)]
    ['instantaneous', 'momentary', 'temporary', 'long']
    """
    if duration_s > TEMPORARY_S:
        return "long"
    if duration_s > MOMENTARY_S:
        return "temporary"
    if kind != "interruption" and duration_s * mains_hz <= INSTANTANEOUS_CYCLES:
        return "instantaneous"
    return "momentary"


def kind_of(residual: float, duration_s: float, limits: Limits) -> Kind:
    """Dip, swell or interruption by depth; under- or overvoltage beyond one minute.

    >>> kind_of(0.7, 0.1, Limits()), kind_of(0.7, 61.0, Limits()), kind_of(0.05, 61.0, Limits())
    ('dip', 'undervoltage', 'interruption')
    """
    if residual < limits.interruption_share:
        return "interruption"
    if residual > 1.0:
        return "overvoltage" if duration_s > TEMPORARY_S else "swell"
    return "undervoltage" if duration_s > TEMPORARY_S else "dip"


def tolerated(residual: float, duration_s: float) -> bool:
    """Whether equipment made for the ITIC curve goes on working through a dip of this residual [share] and duration [s].

    >>> tolerated(0.0, 0.019), tolerated(0.0, 0.021), tolerated(0.7, 0.49), tolerated(0.7, 0.51)
    (True, False, True, False)
    """
    needed = next((share for longest_s, share in ITIC_LOW if duration_s <= longest_s), 0.9)
    return residual >= needed
