"""What the chime senses and how it answers at once: converter, reflex, cycle extremes, and the plan of its daily bursts.

Vectorised over N chimes side by side, as the circuit is. Knows no packs.
"""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from adapters.simulated.circuit import STEP_S, Bools, Floats
from adapters.simulated.installation import DOORS, Installation

Codes = NDArray[np.int16]

SAMPLE_STEPS = 3
SAMPLE_HZ = 2000.0
assert abs(SAMPLE_STEPS * STEP_S * SAMPLE_HZ - 1.0) < 1e-12

FULL_SCALE_V = 50.0
CODES = 4096
LSB_V = FULL_SCALE_V / CODES
NOISE_V = 5e-3
GAIN, OFFSET_V = 1.003, 8e-3
"""This converter's own errors; divider and reference of one per cent parts do no better (common practice, no source)."""

NO_VALUE = -32768

JOIN_S = 0.075
"""Pulses further apart belong to two presses."""

SOUND_AFTER_S, SOUND_FOR_S = 0.12, 2.5
"""The sound waits some cycles, so that the rise of the rail by the bridged diode can be seen before the sound pulls it down."""

LISTENS_FIRST_S = 1.0
"""A chime that has just been powered up finds its network before it sounds: the sound could cost it the rail again."""

RADIO_AFTER_S, RADIO_FOR_S = 0.03, 0.003
"""A press is told by radio at once."""

LOAD_LOG = ((0.0, "idle"), (0.36, "test"), (1.25, "idle"), (1.6, "sound"), (2.65, "idle"))
"""The daily examination: what loads the rail from which moment on [s]. The amplifier plays a tone above hearing."""

BURST_AT_S = {"idle": 0.10, "step": 0.30, "test": 1.0, "sound": 2.4}
BURST_CYCLES = 10
PLAN_S = 2.8


def convert(rail_v: Floats, rng: np.random.Generator) -> Codes:
    """Rail [V] to 12-bit codes of `LSB_V`, any shape."""
    seen = rail_v * GAIN + OFFSET_V + rng.normal(0.0, NOISE_V, np.shape(rail_v))
    return np.clip(np.rint(seen / LSB_V), 0, CODES - 1).astype(np.int16)


def extremes(codes: Codes, hertz: float) -> tuple[Codes, Codes]:
    """Highest and lowest code of each whole mains cycle, one after another."""
    bounds = np.rint(np.arange(int(len(codes) * hertz / SAMPLE_HZ) + 1) * SAMPLE_HZ / hertz).astype(int)
    if len(bounds) < 2:
        return codes[:0], codes[:0]
    whole = codes[: bounds[-1]]
    return np.maximum.reduceat(whole, bounds[:-1]), np.minimum.reduceat(whole, bounds[:-1])


def regulated_v(house: Installation, rail_v: Floats) -> Floats:
    """The regulated rail [V]: the set voltage, or what the rail leaves of it."""
    needed = house.parts.dropout_v - house.parts.regulator_v
    result: Floats = np.minimum(house.parts.regulator_v, np.maximum(rail_v - needed, 0.0))
    return result


@dataclass
class Reflex:
    """What N chimes do at once, without thinking: sound and transmit when a press begins, follow the plan of the bursts.

    Times are in any one scale [s]; -inf where it has never happened.
    """

    house: Installation
    count: int
    hush_until_s: float = -np.inf
    pulse_s: dict[str, Floats] = field(init=False)
    radio_s: Floats = field(init=False)
    sound_s: Floats = field(init=False)
    plan_s: Floats = field(init=False)
    up_s: Floats = field(init=False)

    def __post_init__(self) -> None:
        self.radio_s, self.sound_s, self.plan_s, self.up_s = (np.full(self.count, -np.inf) for _ in range(4))
        self.pulse_s = {door: np.full(self.count, -np.inf) for door in DOORS}

    def hear(self, door: str, first_s: Floats, last_s: Floats, running: Bools) -> None:
        """Ends of the first and last pulse since the last call, inf where none came."""
        heard = np.isfinite(first_s) & running
        begins = heard & (first_s - self.pulse_s[door] > JOIN_S)
        may_sound = (
            (first_s >= self.sound_s + SOUND_FOR_S)
            & (first_s >= self.hush_until_s)
            & (first_s > self.up_s + LISTENS_FIRST_S)
        )
        self.radio_s = np.where(begins, first_s + RADIO_AFTER_S, self.radio_s)
        self.sound_s = np.where(begins & may_sound, first_s + SOUND_AFTER_S, self.sound_s)
        self.pulse_s[door] = np.where(heard, last_s, self.pulse_s[door])

    def powered(self, at_s: float, before: Bools, running: Bools) -> None:
        """Which chimes ran before and which run now. One that stops forgets what it was doing."""
        self.up_s[running & ~before] = at_s
        for times in (self.radio_s, self.sound_s, self.plan_s):
            times[~running & (times + PLAN_S > at_s)] = -np.inf

    def demand_a(self, at_s: Floats) -> Floats:
        """Load [A] at moments (steps, 1), shape (steps, N)."""
        house = self.house
        demand = np.full((len(at_s), self.count), house.idle_a)
        sounding = (at_s >= self.sound_s) & (at_s < self.sound_s + SOUND_FOR_S)
        demand[sounding] = house.sound_a
        demand += house.radio_a * ((at_s >= self.radio_s) & (at_s < self.radio_s + RADIO_FOR_S))
        if np.isfinite(self.plan_s).any():
            into = at_s - self.plan_s
            for (start, load), (end, _) in pairwise(LOAD_LOG):
                wanted = {"idle": house.idle_a, "test": house.idle_a + house.test_a, "sound": house.sound_a}[load]
                demand = np.where((into >= start) & (into < end), wanted, demand)
        return demand
