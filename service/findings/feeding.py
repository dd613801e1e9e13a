"""Whether the standing supply is there: between presses a chime without it lives on its reservoir, and the rail falls freely.

Tells a button diode that is open or reversed from one that conducts. Knows no doors beyond their pulses.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.findings.testimony import Evidence, Powered, idle_by_log

Floats = NDArray[np.floating[Any]]

SPAN_CYCLES = 5
"""Falls are measured over some cycles: single maxima are noisy."""

FALLS_SHARE = 0.45
"""Of the free fall by the idle load: more than this, and nothing recharges the reservoir."""

UNKNOWN_FALL_SHARE_PER_S = 0.15
"""Where the free fall is not known: share of the rail per second, slower than any chime's (2 mA on 2200 uF at 24 V: 4 %/s; common
practice, no source)."""

SINKS_BELOW = 0.8
"""Mains that wander, or a rail that finds its level again, sink less than this."""

LEAST_FALL_S = 0.3
PRESSED_S = 0.25
"""A chime that is fed by a press sees its pulses from the moment it is up; as well as a power-up is dated within a pack [s]."""

SNATCH_S = 20.0
MOSTLY_OFF = 0.5
FALLING_SHARE = 0.3
"""Of the time that the rail was seen: a load that has just ended lets it fall for less."""


def only_while_pulsed(evidence: Evidence, mains_hz: float) -> bool:
    """Whether all that was heard of the chime are some seconds about pulses, too short for a survey: pulsed for most of them, or come up
    each time while the button was pressed and gone when the reservoir was empty."""
    up_s = sum(up.last_heard_s - up.start_s for up in evidence.powered)
    if evidence.surveys or not 0.0 < up_s < SNATCH_S:
        return False
    every = np.concatenate([pairs[:, 0] for pairs in evidence.pulses.values()] or [np.empty(0)])
    if len(every) > MOSTLY_OFF * up_s * mains_hz:
        return True
    starts = np.array([up.start_s for up in evidence.powered])[:, np.newaxis]
    return bool(np.all(np.any((every > starts - PRESSED_S) & (every < starts + PRESSED_S), axis=1)))


def only_in_snatches(evidence: Evidence) -> bool:
    """Whether the chime, of late, has come up again and again for moments and was off for most of the time between.

    That is how a chime lives whose button has to be pressed for it to be fed. Mains that come and go do so for longer, and a
    chime whose supply gives way under its own sound is back at once.
    """
    late: list[Powered] = []
    for up in reversed(evidence.powered):
        if up.last_heard_s - up.start_s > SNATCH_S or any(
            up.start_s <= s.at_s <= up.last_heard_s for s in evidence.surveys
        ):
            break
        late.append(up)
    if len(late) < 2:
        return False
    span_s = late[0].last_heard_s - late[-1].start_s
    return sum(up.last_heard_s - up.start_s for up in late) < MOSTLY_OFF * span_s


@dataclass(frozen=True, slots=True)
class Feeding:
    """Durations [s], of cycles whose rail was seen: falling freely, and fed, each with and without pulses beside them."""

    falling_pulsed_s: float
    falling_still_s: float
    fed_pulsed_s: float
    fed_still_s: float
    since_s: float | None  # first free fall
    sinks_to: float = 1.0  # lowest maximum in a free fall, as a share of the usual highest

    @property
    def lost(self) -> bool:
        """Without a press nothing feeds the chime."""
        falling = self.falling_pulsed_s + self.falling_still_s
        return (
            falling >= max(LEAST_FALL_S, FALLING_SHARE * (falling + self.fed_pulsed_s))
            and self.fed_still_s < 0.2 * falling
            and self.sinks_to < SINKS_BELOW
        )

    @property
    def pulses_while_falling(self) -> float:
        """Share of the free fall during which the detector pulsed."""
        falling = self.falling_pulsed_s + self.falling_still_s
        return self.falling_pulsed_s / falling if falling > 0.0 else 0.0


def feeding(evidence: Evidence, cycle_s: float, fall_v_per_s: float | None) -> Feeding:
    """How the rail was fed. `fall_v_per_s`: free fall under the idle load, from an earlier survey."""
    at, maxima = evidence.cycle_at_s, evidence.maxima_v
    if len(at) <= SPAN_CYCLES:
        return Feeding(0.0, 0.0, 0.0, 0.0, None)
    span_s = at[SPAN_CYCLES:] - at[:-SPAN_CYCLES]
    fall = (maxima[:-SPAN_CYCLES] - maxima[SPAN_CYCLES:]) / np.maximum(span_s, cycle_s)
    whole = np.isfinite(fall) & (span_s < 1.5 * SPAN_CYCLES * cycle_s)
    limit = FALLS_SHARE * fall_v_per_s if fall_v_per_s else UNKNOWN_FALL_SHARE_PER_S * np.nanmedian(maxima)
    middle = at[:-SPAN_CYCLES] + 0.5 * span_s
    whole &= idle_by_log(evidence, middle)
    falling = whole & (fall > limit)
    fed = whole & ~falling
    pulsed = _pulsed(evidence.pulses, middle, cycle_s)
    first = at[:-SPAN_CYCLES][falling]

    def lasting(mask: NDArray[np.bool_]) -> float:
        return float(np.count_nonzero(mask)) * cycle_s

    return Feeding(
        lasting(falling & pulsed),
        lasting(falling & ~pulsed),
        lasting(fed & pulsed),
        lasting(fed & ~pulsed),
        float(first[0]) if len(first) else None,
        float(np.min(maxima[SPAN_CYCLES:][falling]) / np.nanpercentile(maxima, 95)) if len(first) else 1.0,
    )


def _pulsed(pulses: Mapping[str, Floats], at_s: Floats, cycle_s: float) -> NDArray[np.bool_]:
    """Moments with a pulse no more than a cycle and a half away."""
    found = np.zeros(len(at_s), bool)
    for pairs in pulses.values():
        if len(pairs):
            place = np.searchsorted(pairs[:, 0], at_s)
            before = np.where(place > 0, at_s - pairs[np.maximum(place - 1, 0), 1], np.inf)
            after = np.where(place < len(pairs), pairs[np.minimum(place, len(pairs) - 1), 0] - at_s, np.inf)
            found |= np.minimum(before, after) < 1.5 * cycle_s
    return found
