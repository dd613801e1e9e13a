"""The live detectors: which whole pulses have come since the last look, from the contacts and the mains alone.

A pulse that may not be over yet waits for the next look. Knows no rail and no firmware.
"""

from collections.abc import Callable
from math import inf

from adapters.simulated.circuit import Circuit
from adapters.simulated.contacts import Span, pulses, threshold_v
from adapters.simulated.installation import DOORS, REAR_DOORS

RAGGED_S = 0.3e-3
"""A pulse that ends this close to now may go on."""

AGAIN_S = 0.5e-3
"""Such a pulse is looked for again from this long before its rise."""

LONGEST_LOOK_S = 60.0
"""What lies further back (the machine slept) is not heard any more."""

SWELL = 1.4
"""The highest level at which a detector may see something through an open button."""

MainsAt = Callable[[float], tuple[float, float, float]]
"""Moment to (level, cycles, hertz)."""


class Ears:
    """One detector per door. `closed` are the closed stretches of the contacts, which others add to."""

    def __init__(self, circuit: Circuit, mains_at: MainsAt, start_s: float) -> None:
        self.closed: dict[str, list[Span]] = {door: [] for door in DOORS}
        self._circuit, self._mains_at = circuit, mains_at
        self._heard_s = dict.fromkeys(DOORS, start_s)
        self._last_fall_s = dict.fromkeys(DOORS, -inf)
        parts = circuit.parts
        self.may_pulse_at_rest = threshold_v(parts, closed=False) < parts.fundamental_v * SWELL

    def hear(self, now_s: float, mains_on: bool) -> list[tuple[float, float, str]]:
        """(fall, rise, door) of the pulses that ended since the last call, in order."""
        for door in DOORS:
            self._heard_s[door] = max(self._heard_s[door], now_s - LONGEST_LOOK_S)
        origin_s = min(self._heard_s.values())
        level, cycles, hertz = self._mains_at(origin_s)
        found: list[tuple[float, float, str]] = []
        for door in DOORS:
            start_s, rear = self._heard_s[door], door in REAR_DOORS
            spans = self.closed[door] = [span for span in self.closed[door] if span[1] > start_s - 1.0]
            self._heard_s[door] = now_s
            if not mains_on or not (spans or (self.may_pulse_at_rest and not rear)):
                continue
            seen = pulses(
                self._circuit, start_s, now_s, cycles + (start_s - origin_s) * hertz, hertz, level, spans, rear
            )
            if seen and seen[-1][1] > now_s - RAGGED_S:
                self._heard_s[door] = seen.pop()[0] - AGAIN_S
            new = [(fall, rise, door) for rise, fall in seen if rise > self._last_fall_s[door]]
            self._last_fall_s[door] = max([self._last_fall_s[door], *(fall for fall, _, _ in new)])
            found += new
        return sorted(found)
