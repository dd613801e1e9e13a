"""From a survey's bursts to the supply behind them: one circuit model fitted to all samples at once.

Unknown are open-circuit voltage, source resistance, leakage inductance, the shape of the mains, reservoir and ESR, and the loads; each
has a broad prior from what such supplies are, so that what the samples cannot tell comes out as wide as it was. Knows no
commissioning record and no findings.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from service.supply import folding
from service.supply.diodes import SILICON
from service.supply.rectifier import PHASES, SteadyState, Supply, steady_state

Floats = NDArray[np.floating[Any]]
Kind = Literal["idle", "test", "sound"]
KINDS: tuple[Kind, ...] = ("idle", "test", "sound")

NAMES = ("v", "r", "c", "esr", "l", "third_cos", "third_sin", "fifth_cos", "idle", "sound")
"""Logarithms of: open-circuit voltage [V rms], source resistance [ohm], reservoir [F], ESR [ohm], leakage inductance [H]; shares of
the third and fifth harmonic; logarithms of the idle and the sounding load [A]."""

SHAPE = slice(5, 8)
STEP = np.full(len(NAMES), 1e-3)
LARGEST_MOVE = np.array([0.15, 0.7, 0.4, 1.0, 1.0, 0.02, 0.02, 0.02, 0.5, 0.5])


@dataclass(frozen=True, slots=True)
class Chime:
    """What is known of the chime before it is measured. None: not said."""

    mains_hz: float
    regulator: Literal["linear", "switching"] = "linear"
    rated_rail_v: float = 1.0
    dropout_v: float = 0.0
    test_a: float | None = None
    test_ohm: float | None = None
    temperature_c: float = 30.0
    bridged: bool = False  # the diode across the button conducts both ways all the time


@dataclass(frozen=True, slots=True)
class Prior:
    """Mean and standard deviation of each of `NAMES`, independent."""

    mean: Floats
    sd: Floats

    def at(self, **changes: tuple[float, float]) -> "Prior":
        mean, sd = self.mean.copy(), self.sd.copy()
        for name, (value, spread) in changes.items():
            mean[NAMES.index(name)], sd[NAMES.index(name)] = value, spread
        return Prior(mean, sd)


BROAD = Prior(
    # Bell supplies as they are (common practice, no source): 8-24 V, some ohms, 100-2200 uF. Mains are flat-topped by the rectifiers
    # on them: third harmonic positive, fifth negative in the series of sines.
    np.array(
        [
            np.log(18.0),
            np.log(5.0),
            np.log(470e-6),
            np.log(0.12),
            np.log(2.5e-3),
            0.012,
            0.0,
            -0.008,
            np.log(6e-3),
            np.log(0.12),
        ]
    ),
    np.array([0.6, 1.1, 1.2, 1.0, 1.0, 0.016, 0.012, 0.012, 1.5, 1.2]),
)

FIRST_OHM = np.geomspace(0.8, 50.0, 11)

LEVEL_SD = 0.0025
"""Mains wander between the bursts of one survey, a second apart, as a share (flicker within 1 %)."""

DRIFT_SD_V_PER_S = 3.0
"""After a change of load a large reservoir is still on its way. While the rail climbs, the diodes carry the load and what climbs."""

DISCHARGE = (0.10, 0.62, 0.14)
"""Of a cycle from its maximum: where the discharge begins and ends, and over how much of it a level is taken at either end."""

CLIMB_CYCLES = 3.0
"""A pulled-down cycle recovers over some cycles."""

SETTLED = 0.2
"""The fit rests when a round betters its cost, twice the logarithm of a likelihood, by less than this."""

PULLED_V, CLEAN_SHARE = 0.03, 85.0
"""Cycles that scatter by more than this [V] are pulled down by a radio that was not muted; the highest tell the level."""


@dataclass(frozen=True, slots=True)
class Identified:
    """The fit: mean and covariance of `NAMES`; which bursts took part; the mains frequency with its standard error [Hz]."""

    mean: Floats
    covariance: Floats
    mains_hz: float
    mains_hz_error: float
    noise_v: Mapping[Kind, float]
    rail_max_v: Mapping[Kind, float]
    rail_min_v: Mapping[Kind, float]
    load_a: Mapping[Kind, float]
    chime: Chime
    folded: Mapping[Kind, Floats] = field(default_factory=dict)  # fitted rail over a cycle [V]
    drift_v_per_s: Mapping[Kind, float] = field(default_factory=dict)  # of the rail during the burst
    radio_a: Mapping[Kind, float] = field(
        default_factory=dict
    )  # mean of packets sent while sampling, beside load_a [A]

    def value(self, name: str) -> float:
        return float(np.exp(self.mean[NAMES.index(name)]))

    def sd(self, name: str) -> float:
        """Of the logarithm."""
        i = NAMES.index(name)
        return float(np.sqrt(self.covariance[i, i]))


def identify(runs: Mapping[Kind, folding.Run], chime: Chime, prior: Prior = BROAD) -> Identified | None:
    """Fit the circuit to the bursts. None where no burst has three cycles.

    Parameters
    ----------
    runs : samples per kind of load, moments on one scale [s]. Without "test" the reservoir keeps its prior.
    """
    kinds = [kind for kind in KINDS if kind in runs and len(runs[kind].at_s) > 30]
    if not kinds:
        return None
    strong = [runs[kind] for kind in kinds if kind != "idle"] or [runs[kinds[0]]]
    try:
        hertz, hertz_error = folding.mains_hz(strong, chime.mains_hz)
    except ValueError:
        return None
    fit = _Fit({kind: runs[kind] for kind in kinds}, chime, prior, hertz, hertz_error)
    fit.begin()
    return fit.run()


@dataclass(frozen=True, slots=True)
class _Cycles:
    """What each cycle of a burst has of its own, a level and a climb, to be taken out of sums over its samples.

    `first`: where cycles begin among the samples; `effects` (2, samples), weighted; `inverse` (2, 2, cycles) of their precision.
    """

    first: NDArray[np.intp]
    effects: Floats
    inverse: Floats

    def sums(self, columns: Floats) -> Floats:
        """(2, cycles, n) of the columns (samples, n)."""
        return np.stack([np.add.reduceat(effect[:, None] * columns, self.first, axis=0) for effect in self.effects])

    def out(self, left: Floats, right: Floats) -> Floats:
        """The part of left' W right that the cycles' own effects explain, from the sums of both."""
        solved = np.stack([row[0][:, None] * right[0] + row[1][:, None] * right[1] for row in self.inverse])
        result: Floats = left.reshape(-1, left.shape[2]).T @ solved.reshape(-1, right.shape[2])
        return result


class _Fit:
    """Gauss-Newton with Levenberg's damping; samples weighted by Student's t, since radio packets are outliers."""

    def __init__(
        self, runs: Mapping[Kind, folding.Run], chime: Chime, prior: Prior, hertz: float, error: float
    ) -> None:
        self.kinds: list[Kind] = list(runs)
        self.chime, self.prior, self.hertz, self.hertz_error = chime, prior, hertz, max(error, 1e-4)
        self.start = {kind: float(run.at_s.mean()) for kind, run in runs.items()}
        self.at = {kind: run.at_s - self.start[kind] for kind, run in runs.items()}
        self.volts = {kind: run.volts for kind, run in runs.items()}
        self.theta = prior.mean.copy()
        count = len(self.kinds)
        self.phase, self.level, self.drift = np.zeros(count), np.zeros(count), np.zeros(count)
        self.shift_hz = 0.0
        self.solved: SteadyState | None = None
        self.sigma = dict.fromkeys(self.kinds, 0.02)
        self.scatter = dict(self.sigma)
        self.wander = dict.fromkeys(self.kinds, 0.01)
        self.pulled = dict.fromkeys(self.kinds, 0.0)
        self.lsb = {kind: run.lsb_v for kind, run in runs.items()}
        self.cycle: dict[Kind, NDArray[np.intp]] = {}
        self.climb: dict[Kind, Floats] = {}
        self.top: dict[Kind, float] = {}

    # the model

    def _supply(self, theta: Floats, kinds: Sequence[Kind]) -> Supply:
        """Rows of `theta` (n, parameters), one kind each."""
        chime = self.chime
        climbing = np.exp(theta[:, 2]) * np.array(
            [self.drift[self.kinds.index(kind)] * self._current(kind) for kind in kinds]
        )
        test = np.array([kind == "test" for kind in kinds])
        sound = np.array([kind == "sound" for kind in kinds])
        third, fifth = np.hypot(theta[:, 5], theta[:, 6]), theta[:, 7]
        return Supply(
            mains_hz=self.hertz,
            open_circuit_v=np.exp(theta[:, 0]),
            source_ohm=np.exp(theta[:, 1]),
            reservoir_f=np.exp(theta[:, 2]),
            esr_ohm=np.exp(theta[:, 3]),
            leakage_h=np.exp(theta[:, 4]),
            third=third,
            third_phase=np.arctan2(theta[:, 6], theta[:, 5]),
            fifth=np.abs(fifth),
            fifth_phase=np.where(fifth < 0.0, np.pi, 0.0),
            load_a=np.maximum(np.exp(np.where(sound, theta[:, 9], theta[:, 8])) + climbing, 2e-5),
            test_a=np.where(test, chime.test_a or 0.0, 0.0),
            test_ohm=np.where(test, chime.test_ohm or np.inf, np.inf),
            regulator=chime.regulator,
            rated_rail_v=chime.rated_rail_v,
            dropout_v=chime.dropout_v,
            temperature_c=chime.temperature_c,
            button_diode=None if chime.bridged else SILICON,
        )

    def _current(self, kind: Kind) -> float:
        """What one ampere into the reservoir is in terms of `load_a`."""
        if self.chime.regulator == "linear":
            return 1.0
        return float(np.median(self.volts[kind])) / self.chime.rated_rail_v

    def _sampled(self, cycle: Floats, kind: Kind, phase: float) -> Floats:
        turns = np.mod(self.at[kind] * (self.hertz + self.shift_hz) + phase / (2.0 * np.pi), 1.0) * PHASES
        left = turns.astype(int) % PHASES
        share = turns - np.floor(turns)
        result: Floats = cycle[left] * (1.0 - share) + cycle[(left + 1) % PHASES] * share
        return result

    # first values

    def begin(self) -> None:
        runs = {kind: folding.Run(self.at[kind], self.volts[kind]) for kind in self.kinds}
        power = 2 if self.chime.regulator == "switching" else 1
        falls = {kind: folding.discharge(run, self.hertz, power) for kind, run in runs.items()}
        self._begin_loads({kind: fall for kind, fall in falls.items() if fall is not None})
        kind, count = self.kinds[0], len(self.kinds)
        top = float(np.percentile(self.volts[kind], 97))
        theta = np.tile(self.theta, (len(FIRST_OHM), 1))
        theta[:, 0], theta[:, 1] = np.log((top + 1.3) / np.sqrt(2.0)), np.log(FIRST_OHM)
        near: SteadyState | None = None
        for _ in range(2):
            rows = np.repeat(theta, count, axis=0)
            solved = near = steady_state(self._supply(rows, self.kinds * len(theta)), near)
            highest, lowest = solved.rail_max_v.reshape(-1, count), solved.rail_min_v.reshape(-1, count)
            missing = top - highest[:, 0]
            theta[:, 0] = np.log(np.maximum(np.exp(theta[:, 0]) + missing / np.sqrt(2.0), 0.5 * top / np.sqrt(2.0)))
        cost = (((theta - self.prior.mean) / self.prior.sd)[:, :2] ** 2).sum(axis=1)
        for number, k in enumerate(self.kinds):
            for share, value in ((97, highest[:, number] + missing), (3, lowest[:, number] + missing)):
                cost += ((np.percentile(self.volts[k], share) - value) / (0.02 + 0.002 * top)) ** 2
        best = int(np.argmin(cost))
        self.theta = theta[best]
        self._begin_phases(solved.rows(best * count + np.arange(count)))

    def _begin_loads(self, falls: Mapping[Kind, tuple[float, float]]) -> None:
        chime = self.chime
        theta = self.theta
        if "test" in falls:
            slope, middle = falls["test"]
            idle_slope, _ = falls.get("idle", (0.0, middle))
            test_a = chime.test_a or (middle / chime.test_ohm if chime.test_ohm else 0.0)
            change = idle_slope - slope
            if test_a > 0.0 and change > 0.0:
                by_power = chime.regulator == "switching"
                theta[2] = np.log(np.clip(test_a * (2.0 * middle if by_power else 1.0) / change, 2e-5, 2e-2))
        capacity = np.exp(theta[2])
        for index, kind in ((8, "idle"), (9, "sound")):
            if kind in falls:
                slope, middle = falls[kind]  # type: ignore[index]
                load = -slope * capacity
                if chime.regulator == "switching":
                    load = 0.5 * load / chime.rated_rail_v
                theta[index] = np.log(max(load, 1e-4))

    def _begin_phases(self, near: SteadyState) -> None:
        solved = steady_state(self._supply(np.tile(self.theta, (len(self.kinds), 1)), self.kinds), near)
        self.solved = solved.rows(np.repeat(np.arange(len(self.kinds)), len(NAMES) + 1))
        for number, kind in enumerate(self.kinds):
            # all shifts at once: the folded burst, bin by bin, against the model's cycle turned by so many bins
            turns = np.mod(self.at[kind] * self.hertz, 1.0)
            bins = np.floor(turns * PHASES).astype(int)
            counts = np.bincount(bins, minlength=PHASES).astype(float)
            sums = np.bincount(bins, self.volts[kind] - np.median(self.volts[kind]), minlength=PHASES)
            wave = solved.rail_v[number] - solved.rail_v[number].mean()
            turned = np.stack([np.roll(wave, -shift) for shift in range(PHASES)])
            model, square = turned @ counts, (turned * turned) @ counts
            match = turned @ sums - model * sums.sum() / counts.sum()
            misfit = square - model * model / counts.sum() - 2.0 * match
            self.phase[number] = 2.0 * np.pi * float(np.argmin(misfit)) / PHASES
            top = float(np.argmax(solved.rail_v[number])) / PHASES
            self.top[kind] = top
            self.cycle[kind] = np.unique(np.floor(self._turns(kind)), return_inverse=True)[1]

    # the fit

    def run(self, rounds: int = 12) -> Identified:
        damping, cost = 1e-3, np.inf
        best = self._state()
        matrix = vector = None
        for _ in range(rounds):
            residuals, jacobians, solved = self._linearised()
            new_cost = self._cost(residuals)
            if new_cost > cost * (1.0 + 1e-9):
                self._restore(best)
                damping *= 8.0
                if damping > 1e4:
                    break
                assert matrix is not None
                assert vector is not None
            else:
                done = cost - new_cost < SETTLED
                cost, best = new_cost, self._state()
                kept, left = solved, residuals
                self._weigh(residuals)
                matrix, vector = self._normal(residuals, jacobians)
                cost = self._cost(residuals)
                damping = max(damping / 5.0, 1e-6)
                if done:
                    break
            self._move(np.linalg.solve(matrix + damping * np.diag(np.diag(matrix)), vector))
        self._restore(best)
        assert matrix is not None
        covariance = np.linalg.inv(matrix)[: len(NAMES), : len(NAMES)]
        return self._identified(covariance, kept, left)

    def _linearised(self) -> tuple[dict[Kind, Floats], dict[Kind, Floats], Any]:
        """Residuals and their derivatives per burst, by all parameters."""
        count, size = len(self.kinds), len(NAMES)
        rows = np.repeat(self.theta[None, :], count * (size + 1), axis=0).reshape(count, size + 1, size)
        for i in range(size):
            rows[:, i + 1, i] += STEP[i]
        rows[:, :, 0] += self.level[:, None]
        kinds = [kind for kind in self.kinds for _ in range(size + 1)]
        solved = self.solved = steady_state(self._supply(rows.reshape(-1, size), kinds), self.solved)
        waves = solved.rail_v.reshape(count, size + 1, -1)
        residuals: dict[Kind, Floats] = {}
        jacobians: dict[Kind, Floats] = {}
        for number, kind in enumerate(self.kinds):
            base = self._sampled(waves[number, 0], kind, self.phase[number])
            columns = np.zeros((len(base), size + 1 + 3 * count))
            for i in range(size):
                columns[:, i] = (self._sampled(waves[number, i + 1], kind, self.phase[number]) - base) / STEP[i]
            ahead = self._sampled(waves[number, 0], kind, self.phase[number] + 0.02)
            behind = self._sampled(waves[number, 0], kind, self.phase[number] - 0.02)
            by_phase = (ahead - behind) / 0.04
            columns[:, size] = by_phase * 2.0 * np.pi * self.at[kind]
            place = size + 1 + 3 * number
            load = 9 if kind == "sound" else 8
            by_current = columns[:, load] / np.exp(self.theta[load]) * np.exp(self.theta[2]) * self._current(kind)
            columns[:, place], columns[:, place + 1] = by_phase, columns[:, 0]
            columns[:, place + 2] = self.at[kind] + by_current
            self.climb[kind] = columns[:, place + 2]
            residuals[kind] = self.volts[kind] - base - self.drift[number] * self.at[kind]
            jacobians[kind] = columns
        return residuals, jacobians, (solved, size + 1)

    def _weigh(self, residuals: Mapping[Kind, Floats]) -> None:
        """Scatter of single samples about their cycle, and of cycles about the burst."""
        for kind, left in residuals.items():
            middles = self._middles(left, kind)
            within = left - middles[self.cycle[kind]]
            spread = 1.4826 * float(np.median(np.abs(within)))
            ripple = float(np.ptp(np.percentile(self.volts[kind], [2, 98])))
            self.scatter[kind] = max(spread, self.lsb[kind] / np.sqrt(12.0))
            quantised = np.hypot(3e-3, self.lsb[kind])  # neighbours share a code: their errors are not independent
            self.sigma[kind] = float(np.hypot(max(spread, quantised), 0.003 * ripple))
            self.wander[kind] = 1.4826 * float(np.median(np.abs(middles - np.median(middles)))) + 1e-3
            clean = float(np.percentile(middles, CLEAN_SHARE) - np.median(middles))
            self.pulled[kind] = clean if self.wander[kind] > PULLED_V + self.sigma[kind] else 0.0

    def _middles(self, left: Floats, kind: Kind) -> Floats:
        """Median of each cycle."""
        bounds = np.flatnonzero(np.diff(self.cycle[kind], prepend=-1))
        ordered = left[np.lexsort((left, self.cycle[kind]))]
        ends = np.append(bounds[1:], len(left))
        result: Floats = 0.5 * (ordered[(bounds + ends - 1) // 2] + ordered[(bounds + ends) // 2])
        return result

    def _weights(self, left: Floats, kind: Kind) -> Floats:
        sigma = self.sigma[kind]
        within = left - self._middles(left, kind)[self.cycle[kind]]
        result: Floats = 5.0 / (4.0 + (within / sigma) ** 2) / sigma**2
        return result

    def _by_cycle(self, kind: Kind, weights: Floats, climb: Floats) -> _Cycles:
        """`climb`: what 1 V/s does to the samples."""
        cycle = self.cycle[kind]
        first = np.flatnonzero(np.diff(cycle, prepend=-1))
        climb = climb - (np.add.reduceat(climb, first) / np.diff(first, append=len(cycle)))[cycle]
        level = np.add.reduceat(weights, first) + self.wander[kind] ** -2.0
        both = np.add.reduceat(weights * climb, first)
        climbs = self.wander[kind] * self.hertz / CLIMB_CYCLES
        alone = np.add.reduceat(weights * climb * climb, first) + climbs**-2.0
        inverse = np.array([[alone, -both], [-both, level]]) / (level * alone - both * both)
        return _Cycles(first, np.stack([weights, weights * climb]), inverse)

    def _penalties(self) -> tuple[Floats, Floats]:
        """(value - mean, precision) of every parameter."""
        count = len(self.kinds)
        off = np.concatenate(
            [
                self.theta - self.prior.mean,
                [self.shift_hz],
                np.stack([np.zeros(count), self.level, self.drift], axis=1).ravel(),
            ]
        )
        precision = np.concatenate(
            [
                self.prior.sd**-2.0,
                [self.hertz_error**-2.0 / 9.0],
                np.tile([0.0, LEVEL_SD**-2.0, DRIFT_SD_V_PER_S**-2.0], count),
            ]
        )
        return off, precision

    def _cost(self, residuals: Mapping[Kind, Floats]) -> float:
        off, precision = self._penalties()
        total = float(np.sum(precision * off * off))
        for kind, left in residuals.items():
            weights = self._weights(left, kind)
            left = left + self.pulled[kind]
            own = self._by_cycle(kind, weights, self.climb[kind])
            sums = own.sums(left[:, None])
            total += float(np.sum(weights * left * left)) - float(own.out(sums, sums)[0, 0])
        return total

    def _normal(self, residuals: Mapping[Kind, Floats], jacobians: Mapping[Kind, Floats]) -> tuple[Floats, Floats]:
        off, precision = self._penalties()
        matrix, vector = np.diag(precision), -precision * off
        for kind, left in residuals.items():
            weights = self._weights(left, kind)
            weighted = jacobians[kind] * weights[:, None]
            left = left + self.pulled[kind]
            own = self._by_cycle(kind, weights, self.climb[kind])
            sums = own.sums(jacobians[kind])
            matrix = matrix + weighted.T @ jacobians[kind] - own.out(sums, sums)
            vector = vector + weighted.T @ left - own.out(sums, own.sums(left[:, None]))[:, 0]
        return matrix, vector

    def _move(self, step: Floats) -> None:
        size = len(NAMES)
        shrink = float(np.min(np.append(LARGEST_MOVE / np.maximum(np.abs(step[:size]), 1e-12), 1.0)))
        step = step * shrink
        self.theta = self.theta + step[:size]
        self.shift_hz += float(step[size])
        per_burst = step[size + 1 :].reshape(-1, 3)
        self.phase = self.phase + per_burst[:, 0]
        self.level = self.level + per_burst[:, 1]
        self.drift = self.drift + per_burst[:, 2]

    def _state(self) -> tuple[Any, ...]:
        return self.theta, self.shift_hz, self.phase, self.level, self.drift

    def _restore(self, state: tuple[Any, ...]) -> None:
        self.theta, self.shift_hz, self.phase, self.level, self.drift = state

    def _radio_a(self, left: Floats, kind: Kind) -> float:
        """Mean current of packets that were sent while the burst was taken, by the falls they leave between two recharges [A]."""
        cycle = self.cycle[kind]
        since = np.mod(self._turns(kind), 1.0)
        first = (since > DISCHARGE[0]) & (since < DISCHARGE[0] + DISCHARGE[2])
        last = (since > DISCHARGE[1] - DISCHARGE[2]) & (since < DISCHARGE[1])
        falls, limit = [], 4.0 * self.scatter[kind]
        for number in range(cycle[-1] + 1):
            inside = cycle == number
            before, after = left[inside & first], left[inside & last]
            if len(before) and len(after):
                falls.append(float(np.median(before) - np.median(after)))
        if not falls:
            return 0.0
        seen_s = len(falls) * (DISCHARGE[1] - DISCHARGE[0] - DISCHARGE[2]) / self.hertz
        return float(np.exp(self.theta[2])) * sum(fall for fall in falls if fall > limit) / seen_s

    def _turns(self, kind: Kind) -> Floats:
        """Cycles since a maximum of the rail."""
        number = self.kinds.index(kind)
        result: Floats = self.at[kind] * self.hertz + self.phase[number] / (2.0 * np.pi) - self.top[kind]
        return result

    def _identified(self, covariance: Floats, kept: Any, left: Mapping[Kind, Floats]) -> Identified:
        solved, stride = kept
        rows = {kind: number * stride for number, kind in enumerate(self.kinds)}
        charging = {kind: float(np.exp(self.theta[2]) * self.drift[number]) for number, kind in enumerate(self.kinds)}
        return Identified(
            self.theta,
            covariance,
            self.hertz + self.shift_hz,
            self.hertz_error,
            dict(self.sigma),
            {kind: float(solved.rail_max_v[row]) for kind, row in rows.items()},
            {kind: float(solved.rail_min_v[row]) for kind, row in rows.items()},
            {kind: max(float(solved.load_mean_a[row]) - charging[kind], 1e-5) for kind, row in rows.items()},
            replace(self.chime, mains_hz=self.hertz),
            {kind: solved.rail_v[row] for kind, row in rows.items()},
            {kind: float(self.drift[number]) for number, kind in enumerate(self.kinds)},
            {kind: self._radio_a(left[kind], kind) for kind in self.kinds},
        )
