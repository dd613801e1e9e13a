"""A series of cycle maxima with its band: everything that is asked of single cycles while events are told apart.

Refuses to know which event it is.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from service.supply import mains_classes, mains_steady
from service.supply.mains_classes import Limits, MainsEvent
from service.supply.mains_steady import STATES, Band, Bools, CycleMaxima, Doings, Floats

KNEE_V = 1.0
"""Two diodes that only just conduct: 0.572 V each at 1 mA for a 1N4007 (ngspice), a Schottky one less (common practice)."""

USUAL_DROP_V, GREATEST_DROP_SHARE = 1.4, 0.12
"""Where the drop is not told: two silicon diodes, and the source resistance on top (common practice, no source)."""

RESIDUAL_ERROR = 0.01
"""Share by which a residual may be wrong although the rail stood still: half a per cent of flicker on both voltages."""

NEAR_PRESS_CYCLES = 2.5


@dataclass(frozen=True, slots=True)
class Look:
    """`series` usable and not empty; `press_starts_s`, `press_ends_s` sorted."""

    series: CycleMaxima
    band: Band
    doings: Doings
    limits: Limits
    press_starts_s: Floats
    press_ends_s: Floats

    @classmethod
    def at(cls, series: CycleMaxima, doings: Doings, limits: Limits) -> "Look":
        return cls(
            series,
            mains_steady.band(series, doings, limits),
            doings,
            limits,
            np.sort([start_s for start_s, _ in doings.presses]),
            np.sort([end_s for _, end_s in doings.presses]),
        )

    def drop_v(self, state: int) -> tuple[float, float, float]:
        """(usual, lowest, highest) volts between source peak and rail maximum under this load.

        Where it is not told: two diodes, and by how much the rail lies lower than idle, which is the source's own drop.
        """
        told = self.doings.drop_v.get(STATES[state])
        if told is not None:
            return told, min(told, KNEE_V), told
        level = self.band.usual_v.get(state, 0.0)
        sunk = max(self.band.usual_v.get(0, level) - level, 0.0)
        return USUAL_DROP_V + sunk, KNEE_V + sunk, USUAL_DROP_V + sunk + GREATEST_DROP_SHARE * level

    def drop_at(self, cycle: int) -> tuple[float, float, float]:
        return self.drop_v(int(self.band.state[cycle]))

    def _drops(self) -> Floats:
        return np.array([self.drop_v(state)[0] for state in range(len(STATES))])[self.band.state]

    def below(self, share: float) -> Bools:
        """Cycles whose source voltage is below this share of what the lower edge of the band needs."""
        drops = self._drops()
        return np.asarray(self.series.maxima_v + drops < share * (self.band.low_v + drops))

    def above(self, share: float) -> Bools:
        """Cycles whose source voltage is above this share of what the upper edge of the band needs."""
        drops = self._drops()
        return np.asarray(self.series.maxima_v + drops > share * (self.band.high_v + drops))

    def spans(self, begins: Bools, lasts: Bools) -> Iterator[tuple[int, int]]:
        """First and last cycle of each unbroken run of `lasts` that has a cycle of `begins`; it starts with the latter."""
        lasts = lasts | begins
        before = np.concatenate(([False], lasts[:-1]))
        firsts = np.flatnonzero(lasts & (~before | self.band.broken))
        after = np.concatenate((lasts[1:], [False]))
        broken_after = np.concatenate((self.band.broken[1:], [True]))
        ends = np.flatnonzero(lasts & (~after | broken_after))
        for first, last in zip(firsts.tolist(), ends.tolist(), strict=True):
            inside = np.flatnonzero(begins[first : last + 1])
            if len(inside):
                yield first + int(inside[0]), last

    def fall_v(self, cycle: int) -> float | None:
        """Volts lost in a cycle without recharging, for the load of this cycle; None where it is not known."""
        told = self.doings.fall_v_per_s.get(STATES[int(self.band.state[cycle])])
        return None if told is None else abs(told) * self.series.cycle_s

    def goes_on_after(self, last: int) -> bool:
        """Whether the record goes on after this cycle."""
        return last + 1 < len(self.series.at_s) and not bool(self.band.broken[last + 1])

    def at_a_press(self, cycle: int) -> bool:
        """Whether a press begins here: the mains knows nothing of the button, so what comes with a press is the wiring's."""
        apart = np.abs(self.press_starts_s - self.series.at_s[cycle])
        return bool((apart <= NEAR_PRESS_CYCLES * self.series.cycle_s).any())

    def comes_back_with_a_press(self, end: int, last: int) -> bool:
        """Whether a low rail is that of a chime which is supplied only while somebody presses: it comes back with a press,
        or sinks from the end of a press until the chime dies."""
        if self.goes_on_after(last):
            return self.at_a_press(end + 1)
        at_s, maxima = self.series.at_s, self.series.maxima_v
        released = int(np.searchsorted(self.press_ends_s, at_s[end]))
        if not released:
            return False
        sinking = -np.diff(maxima[np.searchsorted(at_s, self.press_ends_s[released - 1]) : end + 1])
        return len(sinking) > 3 and bool(np.mean(sinking >= -self.band.noise_v) > 0.9)

    def event(
        self, start: int, end: int, last: int, residual: tuple[float, float, float], *, own_load: bool = False
    ) -> MainsEvent:
        """From the first to the last cycle of the event; `last`: of the run in which it was found. `residual`: value and bounds.
        `own_load`: its course shows a load that nobody told of."""
        at_s, cycle_s, limits = self.series.at_s, self.series.cycle_s, self.limits
        ended = self.goes_on_after(last)
        duration_s = float(at_s[end] - at_s[start]) + cycle_s
        value, low, high = float(residual[0]), max(float(residual[1]), 0.0), float(residual[2])
        kind = mains_classes.kind_of(value, duration_s, limits)
        dipped = value < 1.0
        possible: list[str] = []
        if dipped and kind != "interruption" and low < limits.interruption_share:
            possible.append("interruption")
        own_load = own_load or (dipped and not self.doings.loads_told)
        if own_load:
            possible.append("own load")
        if dipped and not ended:
            possible.append("loss in the wiring")
        beyond = high < limits.dip_share + RESIDUAL_ERROR if dipped else low > limits.swell_share - RESIDUAL_ERROR
        return MainsEvent(
            kind=kind,
            duration_class=mains_classes.duration_class(kind, duration_s, 1.0 / cycle_s),
            start_s=float(at_s[start]),
            duration_s=duration_s,
            residual=value,
            residual_low=min(low, value),
            residual_high=max(high, value),
            seen="maxima",
            seen_cycles=end - start + 1,
            start_low_s=float(at_s[start]) - cycle_s,
            start_high_s=float(at_s[start]) + cycle_s,
            load=STATES[int(self.band.state[start])],
            ended=ended,
            proven=beyond and not own_load and (ended or not dipped),
            also_possible=tuple(possible),
        )
