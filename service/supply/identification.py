"""From a survey's bursts to the supply behind them: one circuit model fitted to all samples at once.

Unknown are open-circuit voltage, source resistance, leakage inductance, the shape of the mains, reservoir and ESR, and the loads; each
has a broad prior from what such supplies are, so that what the samples cannot tell comes out as wide as it was. Knows no
commissioning record and no findings.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from service.supply import folding
from service.supply.burst import Burst
from service.supply.rectifier import PHASES, SteadyState, Supply, next_to, sketched, steady_state
from service.supply.unknowns import BROAD, KINDS, NAMES, Chime, Floats, Identified, Kind, Prior, supply_of

STEP = np.full(len(NAMES), 1e-4)
LARGEST_MOVE = np.array([0.15, 0.7, 0.4, 1.0, 1.0, 0.02, 0.02, 0.02, 0.5, 0.5])

IN_PROPORTION, LEAST_LEFT = [NAMES.index(name) for name in ("r", "esr", "l")], 0.55
"""The rail follows these themselves and not their logarithms: in the valley where resistance may lie in the source or in the
reservoir a step in proportion leads far, where one in logarithms soon leaves it."""

FIRST_OHM = np.geomspace(0.8, 40.0, 8)

TURNED = (np.arange(PHASES)[:, None] + np.arange(PHASES)) % PHASES
"""Row by row, the places of a cycle that is turned by one more."""

LEVEL_SD = 0.0025
"""Mains wander between the bursts of one survey, a second apart, as a share (flicker within 1 %)."""

DRIFT_SD_V_PER_S = 3.0
"""After a change of load a large reservoir is still on its way. While the rail climbs, the diodes carry the load and what climbs."""

LEARNING, WEIGHED = 0.05, 8
"""How the samples scatter is learned until a round betters the cost by less than this share, and what each weighs for so many
rounds more or less: learned for ever, they and the fit may swing each other."""

ROUNDS, SETTLED = 40, 0.5
"""The fit rests when a round betters its cost, twice the logarithm of a likelihood, by less than this."""


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


class _Fit:
    """Gauss-Newton with Levenberg's damping."""

    def __init__(
        self, runs: Mapping[Kind, folding.Run], chime: Chime, prior: Prior, hertz: float, error: float
    ) -> None:
        self.kinds: list[Kind] = list(runs)
        self.chime, self.prior, self.hertz, self.hertz_error = chime, prior, hertz, max(error, 1e-4)
        self.bursts = {kind: Burst.of(run) for kind, run in runs.items()}
        self.theta = prior.mean.copy()
        count = len(self.kinds)
        self.phase, self.level, self.drift = np.zeros(count), np.zeros(count), np.zeros(count)
        self.shift_hz = 0.0
        self.solved: SteadyState | None = None

    # the model

    def _supply(self, theta: Floats, kinds: Sequence[Kind]) -> Supply:
        """Rows of `theta` (n, parameters), one kind each."""
        drift = np.array([self.drift[self.kinds.index(kind)] * self._current(kind) for kind in kinds])
        return supply_of(theta, kinds, self.chime, self.hertz, np.exp(theta[:, 2]) * drift)

    def _current(self, kind: Kind) -> float:
        """What one ampere into the reservoir is in terms of `load_a`."""
        if self.chime.regulator == "linear":
            return 1.0
        return self.bursts[kind].middle_v / self.chime.rated_rail_v

    def _sampled(self, cycle: Floats, kind: Kind, phase: float) -> Floats:
        """A cycle (…, PHASES) at the moments of a burst's samples."""
        turns = np.mod(self.bursts[kind].at_s * (self.hertz + self.shift_hz) + phase / (2.0 * np.pi), 1.0) * PHASES
        left = turns.astype(int) % PHASES
        share = turns - np.floor(turns)
        result: Floats = cycle[..., left] * (1.0 - share) + cycle[..., (left + 1) % PHASES] * share
        return result

    # first values

    def begin(self) -> None:
        runs = {kind: folding.Run(self.bursts[kind].at_s, self.bursts[kind].volts) for kind in self.kinds}
        power = 2 if self.chime.regulator == "switching" else 1
        falls = {kind: folding.discharge(run, self.hertz, power) for kind, run in runs.items()}
        self._begin_loads({kind: fall for kind, fall in falls.items() if fall is not None})
        kind, count = self.kinds[0], len(self.kinds)
        top = float(np.percentile(self.bursts[kind].volts, 97))
        theta = np.tile(self.theta, (len(FIRST_OHM), 1))
        theta[:, 0], theta[:, 1] = np.log((top + 1.3) / np.sqrt(2.0)), np.log(FIRST_OHM)
        near: SteadyState | None = None
        for _ in range(2):
            rows = np.repeat(theta, count, axis=0)
            solved = near = sketched(self._supply(rows, self.kinds * len(theta)), near)
            highest, lowest = solved.rail_max_v.reshape(-1, count), solved.rail_min_v.reshape(-1, count)
            missing = top - highest[:, 0]
            theta[:, 0] = np.log(np.maximum(np.exp(theta[:, 0]) + missing / np.sqrt(2.0), 0.5 * top / np.sqrt(2.0)))
        cost = (((theta - self.prior.mean) / self.prior.sd)[:, :2] ** 2).sum(axis=1)
        for number, k in enumerate(self.kinds):
            for share, value in ((97, highest[:, number] + missing), (3, lowest[:, number] + missing)):
                cost += ((np.percentile(self.bursts[k].volts, share) - value) / (0.02 + 0.002 * top)) ** 2
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
                reach = 2.0 * float(self.prior.sd[index])  # a slope that noise has turned round is no load of nothing
                theta[index] = self.prior.mean[index] + np.clip(
                    np.log(max(load, 1e-5)) - self.prior.mean[index], -reach, reach
                )

    def _begin_phases(self, near: SteadyState) -> None:
        solved = self.solved = steady_state(self._supply(np.tile(self.theta, (len(self.kinds), 1)), self.kinds), near)
        for number, kind in enumerate(self.kinds):
            # all shifts at once: the folded burst, bin by bin, against the model's cycle turned by so many bins
            turns = np.mod(self.bursts[kind].at_s * self.hertz, 1.0)
            bins = np.floor(turns * PHASES).astype(int)
            counts = np.bincount(bins, minlength=PHASES).astype(float)
            sums = np.bincount(bins, self.bursts[kind].volts - self.bursts[kind].middle_v, minlength=PHASES)
            turned = (solved.rail_v[number] - solved.rail_v[number].mean())[TURNED]
            model, square = turned @ counts, (turned * turned) @ counts
            match = turned @ sums - model * sums.sum() / counts.sum()
            misfit = square - model * model / counts.sum() - 2.0 * match
            self.phase[number] = 2.0 * np.pi * float(np.argmin(misfit)) / PHASES
            top = float(np.argmax(solved.rail_v[number])) / PHASES
            self.bursts[kind].cut(self.hertz, self.phase[number], top)

    # the fit

    def run(self) -> Identified:
        damping, left, learning = 1e-3, self._residuals(), True
        for turn in range(ROUNDS):
            jacobians = self._jacobians()
            for kind, burst in self.bursts.items():
                if learning:
                    burst.learn(left[kind])
                if learning or turn < WEIGHED:
                    burst.weigh(left[kind], jacobians[kind][:, self._climb(kind)], self.hertz)
            matrix, vector = self._normal(left, jacobians)
            cost, before = self._cost(left), self._state()
            while True:
                step = np.linalg.solve(matrix + damping * np.diag(np.diag(matrix)), vector)
                self._move(step)
                tried = self._residuals()
                gain = cost - self._cost(tried)
                if gain >= 0.0:
                    left = tried
                    break
                self._restore(before)
                damping *= 8.0
                if float(step @ (2.0 * vector - matrix @ step)) < SETTLED:  # what the step should have gained
                    break
            if gain < SETTLED:
                break
            learning = learning and gain > LEARNING * cost
            damping = max(damping / 5.0, 1e-6)
        covariance = np.linalg.inv(matrix)[: len(NAMES), : len(NAMES)]
        return self._identified(covariance, left)

    def _residuals(self) -> dict[Kind, Floats]:
        """What the circuit as it stands leaves of each burst [V]."""
        theta = np.repeat(self.theta[None, :], len(self.kinds), axis=0)
        theta[:, 0] += self.level
        self.solved = steady_state(self._supply(theta, self.kinds), self.solved)
        return {
            kind: self.bursts[kind].volts
            - self._sampled(self.solved.rail_v[number], kind, self.phase[number])
            - self.drift[number] * self.bursts[kind].at_s
            for number, kind in enumerate(self.kinds)
        }

    def _jacobians(self) -> dict[Kind, Floats]:
        """Derivatives of each burst's model by all parameters, by differences to circuits next to the present one."""
        assert self.solved is not None
        count, size = len(self.kinds), len(NAMES)
        theta = self.theta + np.tile(np.diag(STEP), (count, 1))
        theta[:, 0] += np.repeat(self.level, size)
        kinds = [kind for kind in self.kinds for _ in range(size)]
        beside = next_to(self.solved, self._supply(theta, kinds), np.repeat(np.arange(count), size))
        slopes = (beside.rail_v.reshape(count, size, -1) - self.solved.rail_v[:, None]) / STEP[:, None]
        jacobians: dict[Kind, Floats] = {}
        for number, kind in enumerate(self.kinds):
            burst, phase = self.bursts[kind], self.phase[number]
            columns = np.zeros((len(burst.at_s), size + 1 + 3 * count))
            columns[:, :size] = self._sampled(slopes[number], kind, phase).T
            wave = self.solved.rail_v[number]
            by_phase = (self._sampled(wave, kind, phase + 0.02) - self._sampled(wave, kind, phase - 0.02)) / 0.04
            columns[:, size] = by_phase * 2.0 * np.pi * burst.at_s
            place = size + 1 + 3 * number
            load = 9 if kind == "sound" else 8
            by_current = columns[:, load] / np.exp(self.theta[load]) * np.exp(self.theta[2]) * self._current(kind)
            columns[:, place], columns[:, place + 1] = by_phase, columns[:, 0]
            columns[:, self._climb(kind)] = burst.at_s + by_current
            jacobians[kind] = columns
        return jacobians

    def _climb(self, kind: Kind) -> int:
        """The place among the parameters of what a burst's rail climbs."""
        return len(NAMES) + 3 + 3 * self.kinds.index(kind)

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
        """Under the weights of the round: so each round can only better the likelihood."""
        off, precision = self._penalties()
        return float(np.sum(precision * off * off)) + sum(
            self.bursts[kind].cost(left) for kind, left in residuals.items()
        )

    def _normal(self, residuals: Mapping[Kind, Floats], jacobians: Mapping[Kind, Floats]) -> tuple[Floats, Floats]:
        """The normal equations of what is left."""
        off, precision = self._penalties()
        matrix, vector = np.diag(precision), -precision * off
        for kind, burst in self.bursts.items():
            of_burst, by_burst = burst.normal(residuals[kind], jacobians[kind])
            matrix, vector = matrix + of_burst, vector + by_burst
        return matrix, vector

    def _move(self, step: Floats) -> None:
        size = len(NAMES)
        shrink = float(np.min(np.append(LARGEST_MOVE / np.maximum(np.abs(step[:size]), 1e-12), 1.0)))
        shrink = min(shrink, (1.0 - LEAST_LEFT) / max(-float(np.min(step[IN_PROPORTION])), 1e-12))
        step = step * shrink
        moved = step[:size].copy()
        moved[IN_PROPORTION] = np.log1p(moved[IN_PROPORTION])
        self.theta = self.theta + moved
        self.shift_hz += float(step[size])
        per_burst = step[size + 1 :].reshape(-1, 3)
        self.phase = self.phase + per_burst[:, 0]
        self.level = self.level + per_burst[:, 1]
        self.drift = self.drift + per_burst[:, 2]

    def _state(self) -> tuple[Any, ...]:
        return self.theta, self.shift_hz, self.phase, self.level, self.drift, self.solved

    def _restore(self, state: tuple[Any, ...]) -> None:
        self.theta, self.shift_hz, self.phase, self.level, self.drift, self.solved = state

    def _identified(self, covariance: Floats, left: Mapping[Kind, Floats]) -> Identified:
        solved, rows = self.solved, {kind: number for number, kind in enumerate(self.kinds)}
        assert solved is not None
        capacity = float(np.exp(self.theta[2]))
        charging = {kind: capacity * float(self.drift[number]) for number, kind in enumerate(self.kinds)}
        # a radio sends as often whatever else the chime does: ten cycles alone may have missed it
        packets = [
            self.bursts[kind].packet_fall_v_per_s(left[kind], self.hertz, self.phase[number])
            for number, kind in enumerate(self.kinds)
        ]
        return Identified(
            self.theta,
            covariance,
            self.hertz + self.shift_hz,
            self.hertz_error,
            {kind: burst.sigma for kind, burst in self.bursts.items()},
            {kind: float(solved.rail_max_v[row]) for kind, row in rows.items()},
            {kind: float(solved.rail_min_v[row]) for kind, row in rows.items()},
            {kind: max(float(solved.load_mean_a[row]) - charging[kind], 1e-5) for kind, row in rows.items()},
            replace(self.chime, mains_hz=self.hertz),
            {kind: solved.rail_v[row] for kind, row in rows.items()},
            {kind: float(self.drift[number]) for number, kind in enumerate(self.kinds)},
            dict.fromkeys(self.kinds, capacity * float(np.mean(packets))),
        )
