"""The bell circuit, stepped in time: transformer, wire, button, second diode, reservoir, regulator.

Vectorised over N stretches side by side: a month of supply windows or of presses in one pass, a live chime with N = 1.
Whoever calls gives the source voltage, the contact and the demand step by step, and gets the rail. Knows no clock, no
mains that wander, no chime that reacts and no pulses (those do not depend on the rail: see `contacts`).
"""

from dataclasses import dataclass
from functools import cached_property
from math import inf, pi, sqrt
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]
Bools = NDArray[np.bool_]

STEP_S = 1.0 / 6000.0
"""A third of a sample at 2 kHz, 120 steps per cycle at 50 Hz."""

SUPERVISOR_STEPS = 6
"""The chime's supply supervisor looks every millisecond."""

BOOT_S = 0.25
"""From a sufficient rail to a running program."""

OFF_A = 0.3e-3
"""What a chime that does not run still draws: divider and regulator (common practice, no source)."""

THERMAL_V = 0.025852
"""kT/q at 300 K."""

BUTTON_SHORT_OHM = 0.05
GRID_V = 0.004
GRID_TOP_V = 120.0
CURRENT_TOP_A = 60.0


@dataclass(frozen=True, slots=True)
class Diode:
    """1N4007 by default: parameters as in the reference simulations that the tests check against."""

    saturation_a: float = 3.872e-9
    emission: float = 1.776
    series_ohm: float = 0.0166

    def drop_v(self, current_a: Floats) -> Floats:
        """Forward voltage [V] of a current >= 0 [A], any shape.

        >>> [round(float(Diode().drop_v(np.array(i))), 3) for i in (0.001, 0.01, 0.1)]
        [0.572, 0.678, 0.785]
        """
        junction: Floats = self.emission * THERMAL_V * np.log1p(current_a / self.saturation_a)
        return junction + self.series_ohm * current_a


@dataclass(frozen=True)
class Parts:
    """Everything soldered or screwed. SI units; voltages of the mains are rms, on the open secondary."""

    mains_hz: float = 50.0
    open_circuit_v: float = 14.4
    third: float = 0.02  # share of the fundamental; positive flattens the top
    fifth: float = -0.01  # negative flattens the top
    source_ohm: float = 5.6  # transformer and wire loop
    button_diode: Literal["fitted", "open", "reversed", "shorted"] = "fitted"
    contact_ohm: float = 0.05
    leak_ohm: float = inf  # across the button: damp, or a lamp
    diode: Diode = Diode()
    reservoir_f: float = 1000e-6
    esr_ohm: float = 0.12
    regulator: Literal["linear", "switching"] = "linear"
    regulator_v: float = 5.0
    dropout_v: float = 7.0  # rail below which the regulator drops out; a switching one locks out
    rated_rail_v: float = 18.0  # where the demand of a switching regulator is a current
    detector_ohm: float = 2200.0
    detector_on_a: float = 1.2e-3
    detector_drop_v: float = 1.8  # its diode and its LED
    detector_works: bool = True

    @property
    def fundamental_v(self) -> float:
        """Amplitude of the fundamental [V]."""
        return self.open_circuit_v * sqrt(2.0 / (1.0 + self.third**2 + self.fifth**2))

    @property
    def off_v(self) -> float:
        """Rail below which the chime stops [V]."""
        return self.dropout_v if self.regulator == "switching" else 0.65 * self.dropout_v

    @property
    def on_v(self) -> float:
        """Rail above which a stopped chime starts [V]."""
        return self.dropout_v + 0.8


@dataclass(slots=True)
class State:
    """What the circuit remembers from step to step, one value per stretch."""

    reservoir_v: Floats
    rail_v: Floats
    running: Bools
    risen_s: Floats  # how long the rail has been sufficient for a chime that does not run

    @classmethod
    def at(cls, reservoir_v: Floats, running: bool) -> "State":
        n = len(reservoir_v)
        return cls(reservoir_v.astype(float), reservoir_v.astype(float), np.full(n, running), np.zeros(n))


class Circuit:
    """`Parts` with what is solved once for them."""

    def __init__(self, parts: Parts) -> None:
        self.parts = parts
        tables = [self._series_path(closed) for closed in (False, True)]
        self._rows = len(tables[0]) - 1
        # current = base + slope x within a row; open contact first, closed contact after it
        slope = np.concatenate([np.diff(table) / GRID_V for table in tables])
        start = np.tile(np.arange(self._rows) * GRID_V, 2)
        self._slope = slope
        self._base = np.concatenate([table[:-1] for table in tables]) - slope * start

    def source_v(self, cycles: Floats) -> Floats:
        """Voltage of the source at level 1 [V], by mains cycles since a rising zero crossing, any shape."""
        sine = np.sin(2.0 * pi * cycles)
        square = sine * sine  # sin 3x = 3 s - 4 s^3, sin 5x = 16 s^5 - 20 s^3 + 5 s
        third, fifth = self.parts.third, self.parts.fifth
        polynomial = (1.0 + 3.0 * third + 5.0 * fifth) + square * (
            (-4.0 * third - 20.0 * fifth) + square * (16.0 * fifth)
        )
        result: Floats = self.parts.fundamental_v * sine * polynomial
        return result

    def step(self, state: State, source_v: Floats, closed: Bools | None, demand_a: Floats) -> Floats:
        """Advance by the rows of the arguments, one `STEP_S` each; the rail [V] after each step.

        Parameters
        ----------
        source_v : (steps, N), in the middle of each step [V].
        closed : (steps, N), the front contact; None: open throughout.
        demand_a : (steps, N) or (steps, 1), the load while the chime runs [A]; of a switching regulator at `rated_rail_v`.

        The reservoir follows C dv/dt = i(v) - load by the linearised midpoint rule: second order, stable for any step.
        """
        parts, steps = self.parts, len(source_v)
        rail = np.empty_like(source_v)
        to_row, top = 1.0 / GRID_V, self._rows - 1
        gain, half = STEP_S / parts.reservoir_f, 0.5 * STEP_S / parts.reservoir_f
        esr, switching = parts.esr_ohm, parts.regulator == "switching"
        reservoir, now, running_all = state.reservoir_v, state.rail_v, bool(state.running.all())
        for k in range(steps):
            if switching:
                load = demand_a[k] * parts.rated_rail_v / np.maximum(now, 1.0)
            else:
                load = demand_a[k] * np.minimum(now * (1.0 / parts.dropout_v), 1.0)
            if not running_all:
                load = np.where(state.running, load, OFF_A * np.minimum(now, 1.0))
            across = source_v[k] - reservoir + esr * load
            row = np.minimum(np.maximum(across * to_row, 0.0).astype(np.intp), top)
            if closed is not None:
                row = row + closed[k] * self._rows
            slope = self._slope[row]
            current = np.maximum(self._base[row] + slope * across, 0.0)
            now = reservoir + esr * (current - load)
            reservoir = reservoir + gain * (current - load) / (1.0 + half * slope)
            rail[k] = now
            if k % SUPERVISOR_STEPS == 0 and (not running_all or (now < parts.off_v).any()):
                self._supervise(state, now)
                running_all = bool(state.running.all())
        state.reservoir_v, state.rail_v = reservoir, now
        return rail

    def settled_v(self, level: Floats, demand_a: float) -> Floats:
        """Reservoir voltage [V] at a rising zero crossing of a supply at rest, for source levels (N,); 0 where none stands."""
        levels, reservoirs = self._resting(demand_a)
        result: Floats = np.interp(level, levels, reservoirs)
        return result

    @cached_property
    def stands(self) -> bool:
        """Whether the chime is supplied while nobody presses: five times an idle current passes the button at the crest."""
        across = self.parts.fundamental_v - self.parts.on_v
        row = min(max(int(across / GRID_V), 0), self._rows - 1)
        return bool(self._base[row] + self._slope[row] * across > 0.025)

    def _resting(self, demand_a: float) -> tuple[Floats, Floats]:
        if demand_a not in self._rests:
            levels = np.linspace(0.4, 1.6, 13)
            steps_per_cycle = round(1.0 / (self.parts.mains_hz * STEP_S))
            cycles = (np.arange(steps_per_cycle) + 0.5) / steps_per_cycle
            source = self.source_v(cycles)[:, None] * levels
            demand = np.full((steps_per_cycle, 1), demand_a)
            state = State.at(0.9 * self.parts.fundamental_v * levels, running=True)
            for _ in range(140):
                before = state.reservoir_v
                self.step(state, source, None, demand)
                if np.abs(state.reservoir_v - before).max() < 1e-4:
                    break
            self._rests[demand_a] = levels, np.where(state.running, state.reservoir_v, 0.0)
        return self._rests[demand_a]

    @cached_property
    def _rests(self) -> dict[float, tuple[Floats, Floats]]:
        return {}

    def _supervise(self, state: State, rail_v: Floats) -> None:
        state.risen_s = np.where(rail_v > self.parts.on_v, state.risen_s + SUPERVISOR_STEPS * STEP_S, 0.0)
        state.running = np.where(state.running, rail_v >= self.parts.off_v, state.risen_s >= BOOT_S)

    def _series_path(self, closed: bool) -> Floats:
        """Current [A] on the grid of voltages across source resistance, button, second diode and ESR together."""
        parts = self.parts
        conductance = 1.0 / parts.leak_ohm
        if closed:
            conductance += 1.0 / max(parts.contact_ohm, 1e-3)
        if parts.button_diode == "shorted":
            conductance += 1.0 / BUTTON_SHORT_OHM
        own = np.concatenate([[0.0], np.logspace(-12, 2, 3000)])
        button_v = np.concatenate([[0.0], np.logspace(-9, 2.1, 4000)])
        through = button_v * conductance
        if parts.button_diode == "fitted":
            through = through + np.interp(button_v, parts.diode.drop_v(own), own)
        keep = np.concatenate([[True], (np.diff(through) > 0.0) & (through[1:] < CURRENT_TOP_A)])
        through, button_v = through[keep], button_v[keep]
        across = button_v + parts.diode.drop_v(through) + through * (parts.source_ohm + parts.esr_ohm)
        grid = np.arange(0.0, GRID_TOP_V, GRID_V)
        result: Floats = np.interp(grid, across, through)
        return result
