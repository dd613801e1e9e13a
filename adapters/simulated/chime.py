"""The firmware of the simulated chime: what it has sensed, as packs of the chime contract.

It has a clock of its own, which starts at power-up and drifts; moments given to it are true times, and leave it as seconds
before its pack by its own clock. It is told of things in order of time. Knows no network and no circuit.
"""

from collections.abc import Sequence
from math import pi, sin
from typing import NamedTuple

import numpy as np

from adapters.simulated import packing, senses
from adapters.simulated.circuit import Floats
from adapters.simulated.installation import DOORS, Installation
from adapters.simulated.packing import Record
from adapters.simulated.senses import LSB_V, SAMPLE_HZ, Codes
from adapters.simulated.untold import Held, Untold

WEATHER_WINDOWS = 10
"""Temperature and radio power go with every tenth window."""

HASTE_S = 1e-3
"""From the end of a pulse to its pack."""

BEFORE_S, AFTER_S, LONGEST_SERIES_S = 0.3, 0.5, 12.0
"""The peaks and troughs around a press."""

CHANGE_V = 0.25
"""A change of the cycle maximum worth telling: half a diode drop, far above noise."""


class Sent(NamedTuple):
    """A pack, and when it was put together [POSIX s]."""

    at_s: float
    payload: bytes


class Life(NamedTuple):
    """A power-up that goes on in another process: its number and cause, when it began, the number of its next pack, and when its last
    one was put together [POSIX s]."""

    boot: int
    cause: str
    boot_s: float
    seq: int
    last_s: float


class Firmware:
    """One power-up. Methods answer the packs that become due, in order; call `tick` before telling it of anything later."""

    def __init__(
        self,
        house: Installation,
        boot: int,
        cause: str,
        boot_s: float,
        *,
        drift: float = 23e-6,
        seed: int = 1,
        cbor: bool = False,
    ) -> None:
        self.house, self.boot, self.cause, self.boot_s = house, boot, cause, boot_s
        self.seq, self.dropped = 0, 0
        self._last_s, self._windows = boot_s, 0
        self._drift, self._cbor = drift, cbor
        self._rng = np.random.default_rng([seed, boot])
        self._doors = {door: Untold() for door in DOORS}
        self._samples: list[Codes] = []
        self._samples_s = 0.0

    def go_on(self, life: Life) -> None:
        """It is the one that has told so much already."""
        self.seq, self._last_s = life.seq, life.last_s

    def life_after(self, seq: int, up_s: float) -> Life:
        """How it goes on where a pack was the last that was sent."""
        last_s = self.boot_s + up_s / (1.0 + self._drift)
        return Life(self.boot, self.cause, self.boot_s, seq + 1, last_s)

    # ── presses ─────────────────────────────────────────────────────────────────────────────────────────────────────

    def hear(self, door: str, rise_s: float, fall_s: float) -> list[Sent]:
        """A whole pulse. The first of a press is told at once."""
        result = self.tick(rise_s)
        if self._doors[door].hear(rise_s, fall_s):
            result.append(self._tell(door, fall_s + HASTE_S))
        return result

    def hold(self, door: str, pulses: Held, at_s: float) -> Sent:
        """Pulses that have come without end over the last minute, told at once as a summary."""
        at_s = self._after(at_s)
        self._doors[door] = Untold(last_s=pulses.last_s, told_s=at_s)
        return self._pack(at_s, pulses.records(door, self._ago(pulses.first_s, at_s)))

    def tick(self, now_s: float) -> list[Sent]:
        """What has become due by now: the rest of presses that are over."""
        over = [(untold.over_s, door) for door, untold in self._doors.items() if untold.over_s <= now_s]
        return [self._tell(door, over_s) for over_s, door in sorted(over)]

    @property
    def next_due_s(self) -> float:
        """When `tick` will have something, if no pulse comes; inf: nothing waits."""
        return min(untold.over_s for untold in self._doors.values())

    def _tell(self, door: str, at_s: float) -> Sent:
        at_s = self._after(at_s)
        pulses, as_summary = self._doors[door].take(at_s)
        ago = self._ago(pulses[0][0], at_s)
        if as_summary:
            return self._pack(at_s, Held.of(pulses).records(door, ago))
        return self._pack(at_s, [packing.data(f"{door}.edges", packing.edges(pulses), ago)])

    # ── the supply ──────────────────────────────────────────────────────────────────────────────────────────────────

    def hello(self, at_s: float) -> Sent:
        """The first pack of a power-up."""
        return self._pack(at_s, [packing.text("load.log", "idle"), *self._weather(at_s)])

    def window(self, at_s: float, mean_v: float, min_v: float, max_v: float) -> Sent:
        """The rail since the last one, as converted."""
        regulated = senses.regulated_v(self.house, np.array([mean_v, min_v])) + self._rng.normal(0.0, 1e-3, 2)
        records = [
            packing.value("rail.mean", "V", round(mean_v, 3)),
            packing.value("rail.min", "V", round(min_v, 3)),
            packing.value("rail.max", "V", round(max_v, 3)),
            packing.value("rail.window", "s", self.house.window_s),
            packing.value("reg.mean", "V", round(float(regulated[0]), 3)),
            packing.value("reg.min", "V", round(float(regulated.min()), 3)),
        ]
        self._windows += 1
        return self._pack(at_s, records + (self._weather(at_s) if self._windows % WEATHER_WINDOWS == 1 else []))

    def begin(self, at_s: float) -> None:
        """Forget the samples kept so far; the next one is of this moment."""
        self._samples, self._samples_s = [], at_s

    def sample(self, rail_v: Floats) -> None:
        """The rail at 2 kHz."""
        self._samples.append(senses.convert(rail_v, self._rng))

    def sound(self, at_s: float, started_s: float | None = None) -> Sent:
        """It starts to sound; or, with `started_s`, has stopped."""
        if started_s is None:
            return self._pack(at_s, [packing.flag("sound", True)])
        rail = self._between(started_s, at_s)[1] * LSB_V
        records = [packing.flag("sound", False)]
        if len(rail):
            regulated = senses.regulated_v(self.house, rail)
            records += [
                packing.value("rail.low", "V", round(float(rail.min()), 3)),
                packing.value("reg.mean", "V", round(float(regulated.mean()), 3)),
                packing.value("reg.min", "V", round(float(regulated.min()), 3)),
            ]
        return self._pack(at_s, records)

    def review(
        self, at_s: float, hertz: float, loads: Sequence[tuple[float, float]], pulses_s: Sequence[float] = ()
    ) -> list[Sent]:
        """Look back over the samples kept: tell the cycles around presses, or around a change that nothing explains.

        `loads` are the stretches in which the chime loaded the rail itself.
        """
        at_s = self._after(at_s)
        start_s, codes = (
            self._between(min(pulses_s) - BEFORE_S, max(pulses_s) + AFTER_S)
            if len(pulses_s)
            else (self._samples_s, self._all())
        )
        peaks, troughs = senses.extremes(codes[: int(LONGEST_SERIES_S * SAMPLE_HZ)], hertz)
        if len(peaks) < 3:
            return []
        records: list[Record] = []
        if not len(pulses_s):
            times = start_s + np.arange(len(peaks)) / hertz
            rise = peaks * LSB_V - float(np.median(peaks[:10])) * LSB_V
            for a, b in [*loads, (self.boot_s, self.boot_s + 1.0)]:
                quiet = (times < a) | (times > b + 0.5)
                rise, times = rise[quiet], times[quiet]
            if not len(rise):
                return []
            changed = np.flatnonzero(np.abs(rise) > CHANGE_V)
            if not len(changed):
                return []
            if rise[changed[0]] > 0.0:
                ago = self._ago(float(times[changed[0]]), at_s)
                span = float(times[changed[-1]] - times[changed[0]]) + 1.0 / hertz
                records += [
                    packing.value("rail.rise", "V", round(float(rise.max()), 3), ago),
                    packing.value("rail.rise.span", "s", round(span, 4), ago),
                ]
        ago = self._ago(start_s, at_s)
        return [
            self._pack(
                at_s,
                [
                    *records,
                    packing.value("rail.cycle", "s", round(1.0 / hertz, 7)),
                    packing.value("rail.lsb", "V", LSB_V),
                    packing.data("rail.peaks", peaks.astype("<i2").tobytes(), ago),
                    packing.data("rail.troughs", troughs.astype("<i2").tobytes(), ago),
                ],
            )
        ]

    def bursts(self, at_s: float, plan_s: float, kinds: Sequence[str] = tuple(senses.BURST_AT_S)) -> list[Sent]:
        """The examination that began at `plan_s`, as raw samples; the radio was silent meanwhile."""
        at_s = self._after(at_s)
        length = senses.BURST_CYCLES / self.house.parts.mains_hz
        records = [
            packing.value("rail.rate", "Hz", SAMPLE_HZ),
            packing.value("rail.lsb", "V", LSB_V),
            packing.value("load.test", "A", self.house.test_a),
            packing.flag("radio", False, self._ago(plan_s, at_s)),
            packing.flag("radio", True, self._ago(at_s, at_s)),
            *(packing.text("load.log", load, self._ago(plan_s + start, at_s)) for start, load in senses.LOAD_LOG),
        ]
        taken = 0
        for kind in kinds:
            begins_s = plan_s + senses.BURST_AT_S[kind]
            start_s, codes = self._between(begins_s, begins_s + length)
            if len(codes):  # none, where the sound before it cost the chime its rail
                taken += 1
                ago = self._ago(start_s, at_s)
                records.append(packing.data(f"rail.burst.{kind}", codes.astype("<i2").tobytes(), ago))
        if not taken or plan_s < self.boot_s:
            return []
        return [self._pack(at_s, records)]

    # ── packs ───────────────────────────────────────────────────────────────────────────────────────────────────────

    def _pack(self, at_s: float, records: list[Record]) -> Sent:
        at_s = self._after(at_s)
        own = [
            packing.value("boot", "count", self.boot),
            packing.text("boot.cause", self.cause),
            packing.value("seq", "count", self.seq),
            packing.value("up", "s", round((at_s - self.boot_s) * (1.0 + self._drift), 4)),
        ]
        if self.dropped:
            own.append(packing.value("dropped", "count", self.dropped))
        self.seq += 1
        return Sent(at_s, packing.encode(own + records, self._cbor))

    def _after(self, at_s: float) -> float:
        """Packs are put together one after another."""
        self._last_s = max(at_s, self._last_s)
        return self._last_s

    def _ago(self, moment_s: float, at_s: float) -> float | None:
        ago = round((moment_s - at_s) * (1.0 + self._drift), 4)
        return ago if ago < 0.0 else None

    def _all(self) -> Codes:
        return np.concatenate(self._samples) if self._samples else np.zeros(0, np.int16)

    def _between(self, start_s: float, end_s: float) -> tuple[float, Codes]:
        """Samples kept from one moment to another, and when the first of them was taken."""
        first = max(round((start_s - self._samples_s) * SAMPLE_HZ), 0)
        last = max(round((end_s - self._samples_s) * SAMPLE_HZ), first)
        return self._samples_s + first / SAMPLE_HZ, self._all()[first:last]

    def _weather(self, at_s: float) -> list[Record]:
        warmth = 18.5 + 1.8 * sin(2.0 * pi * (at_s / 86400.0 - 0.4)) + 1.5 * sin(2.0 * pi * at_s / 800_000.0)
        return [
            packing.value("temp", "Cel", round(warmth + float(self._rng.normal(0.0, 0.05)), 2)),
            packing.value("link", "dBW", round(-93.0 + float(self._rng.normal(0.0, 1.5)), 1)),
        ]
