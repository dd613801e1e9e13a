"""Tern Cottage, an invented house: its parts, its chime's loads, its doors, and how they may be off.

One frozen value that the faults change and everything else reads. Computes nothing.
"""

from dataclasses import dataclass, field

from adapters.simulated.circuit import Parts
from adapters.simulated.contacts import Contact

SITE, CHIME = "tern-cottage", "hall"
TIME_ZONE = "Europe/London"

DOORS = ("front", "garden")
REAR_DOORS = frozenset({"garden"})
"""A rear button has no diode and a terminal of its own: pulses, no supply."""


@dataclass(frozen=True, slots=True)
class MainsEvents:
    """Dips (level < 1) or swells that happen now and then."""

    level: float
    shortest_cycles: int
    longest_cycles: int
    every_s: float = 2 * 3600.0


@dataclass(frozen=True)
class Installation:
    """Loads in ampere; of a switching regulator at `parts.rated_rail_v`."""

    parts: Parts = field(default_factory=Parts)
    idle_a: float = 8e-3
    sound_a: float = 0.120
    test_a: float = 30e-3
    radio_a: float = 60e-3
    front: Contact = field(default_factory=Contact)
    garden: Contact = field(default_factory=Contact)
    mains_level: float = 1.0
    events: MainsEvents | None = None
    window_s: float = 60.0  # how often the chime tells of its rail at rest

    def contact(self, door: str) -> Contact:
        return self.garden if door in REAR_DOORS else self.front


FIT_OUT: dict[str, object] = {
    "mains_hz": 50,
    "transformer_v": 12,
    "transformer_va": 8,
    "wire_loop_m": 40,
    "wire": "0.5 mm2",
    "reservoir_f": 1000e-6,
    "reservoir_rated_v": 35,
    "idle_a": 8e-3,
    "sound_a": 0.120,
    "test_a": 30e-3,
    "regulator": "linear",
    "regulator_v": 5.0,
    "dropout_v": 7.0,
    "detector_ohm": 2200,
    "detector_on_a": 1.2e-3,
    "doors": {"front": {"diode": True}, "garden": {"diode": False}},
}
"""The fit-out sheet of the healthy cottage."""
