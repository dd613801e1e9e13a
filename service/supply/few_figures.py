"""From a few figures of the rail (highest, lowest, mean, fall) to the supply behind them, by the model and priors of `identification`.

For chimes that cannot send samples: what the figures cannot tell keeps the width of its prior. Knows no surveys and no findings.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from service.supply.diodes import SILICON
from service.supply.identification import FIRST_OHM, LARGEST_MOVE
from service.supply.rectifier import SteadyState, Supply, steady_state
from service.supply.unknowns import BROAD, DROP_SHIFT_V, KINDS, NAMES, Chime, Identified, Kind, Prior

Floats = NDArray[np.floating[Any]]
What = Literal["max", "min", "mean", "fall"]

LEVEL_SD = 0.003
"""Mains wander between the bursts of one survey, as a share, and what a reservoir has not yet made of a change of load."""

STEP = np.full(len(NAMES), 1e-3)
ROUNDS, SETTLED = 20, 0.03
FREEDOM = 4.0
"""Of Student's t: a figure that a radio has spoilt is an outlier."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of the rail under one load [V; fall: V/s, positive], with the standard deviation of its error."""

    kind: Kind
    what: What
    value: float
    sd: float


@dataclass(frozen=True, slots=True)
class Reach:
    """How far noise widens what lies between highest and lowest, at each end [V]: mean and standard deviation."""

    mean_v: float
    sd_v: float


def identify_figures(
    figures: Sequence[Figure], chime: Chime, mains_hz_error: float, reach: Reach, prior: Prior = BROAD
) -> Identified | None:
    """Fit the circuit to figures. None without any of the rail's height.

    Gauss-Newton with Levenberg's damping; besides `NAMES` each burst has its own level of the mains, and noise its reach.
    """
    kinds = [kind for kind in KINDS if any(f.kind == kind and f.what != "fall" for f in figures)]
    if not kinds:
        return None
    return _Few([f for f in figures if f.kind in kinds], kinds, chime, mains_hz_error, reach, prior).run()


class _Few:
    """Unknowns: `NAMES`, a level for each burst, the reach of noise."""

    def __init__(
        self, figures: Sequence[Figure], kinds: list[Kind], chime: Chime, hertz_error: float, reach: Reach, prior: Prior
    ) -> None:
        self.figures, self.kinds, self.chime, self.hertz_error = figures, kinds, chime, hertz_error
        self.values = np.array([f.value for f in figures])
        self.sds = np.array([f.sd for f in figures])
        count = len(kinds)
        self.mean = np.concatenate([prior.mean, np.zeros(count), [reach.mean_v]])
        self.sd = np.concatenate([prior.sd, np.full(count, LEVEL_SD), [reach.sd_v]])
        self.steps = np.concatenate([STEP, np.full(count, 1e-4), [1e-4]])
        self.largest = np.concatenate([LARGEST_MOVE, np.full(count, 0.02), [0.05]])

    def _solved(self, rows: Floats) -> SteadyState:
        """Rows of unknowns (n, unknowns), each under every load: n times kinds supplies."""
        size, count, chime = len(NAMES), len(self.kinds), self.chime
        theta = np.repeat(rows[:, :size], count, axis=0)
        level = rows[:, size : size + count].ravel()
        test, sound = (np.tile([kind == name for kind in self.kinds], len(rows)) for name in ("test", "sound"))
        fifth = theta[:, 7]
        return steady_state(
            Supply(
                mains_hz=chime.mains_hz,
                open_circuit_v=np.exp(theta[:, 0] + level),
                source_ohm=np.exp(theta[:, 1]),
                reservoir_f=np.exp(theta[:, 2]),
                esr_ohm=np.exp(theta[:, 3]),
                leakage_h=np.exp(theta[:, 4]),
                third=np.hypot(theta[:, 5], theta[:, 6]),
                third_phase=np.arctan2(theta[:, 6], theta[:, 5]),
                fifth=np.abs(fifth),
                fifth_phase=np.where(fifth < 0.0, np.pi, 0.0),
                load_a=np.exp(np.where(sound, theta[:, 9], theta[:, 8])),
                test_a=np.where(test, chime.test_a or 0.0, 0.0),
                test_ohm=np.where(test, chime.test_ohm or np.inf, np.inf),
                regulator=chime.regulator,
                rated_rail_v=chime.rated_rail_v,
                dropout_v=chime.dropout_v,
                temperature_c=chime.temperature_c,
                drop_shift_v=DROP_SHIFT_V,
                button_diode=None if chime.bridged else SILICON,
            )
        )

    def _told(self, rows: Floats) -> Floats:
        """What each row would have told (n, figures). While no diode conducts, the load alone empties the reservoir."""
        solved, count = self._solved(rows), len(self.kinds)
        reach, farad = rows[:, -1], np.exp(rows[:, 2])

        def of(values: Floats, figure: Figure) -> Floats:
            result: Floats = values.reshape(-1, count)[:, self.kinds.index(figure.kind)]
            return result

        columns: list[Floats] = []
        for f in self.figures:
            if f.what == "max":
                columns.append(of(solved.rail_max_v, f) + reach)
            elif f.what == "min":
                columns.append(of(solved.rail_min_v, f) - reach)
            elif f.what == "mean":
                columns.append(of(solved.rail_mean_v, f))
            else:
                columns.append(of(solved.load_mean_a, f) / farad)
        return np.stack(columns, axis=1)

    def _cost(self, rows: Floats, told: Floats) -> Floats:
        off = (self.values - told) / self.sds
        prior = ((rows - self.mean) / self.sd) ** 2
        result: Floats = (FREEDOM + 1.0) * np.log1p(off**2 / FREEDOM).sum(axis=1) + prior.sum(axis=1)
        return result

    # first values

    def _first(self) -> Floats:
        """The best of some source resistances, with the reservoir and the loads by the falls where they are told."""
        start = self.mean.copy()
        self._begin_loads(start)
        rows = np.tile(start, (len(FIRST_OHM), 1))
        rows[:, 1] = np.log(FIRST_OHM)
        height = next(f for f in self.figures if f.what != "fall")
        place = list(self.figures).index(height)
        rows[:, 0] = np.log((height.value + 1.5) / np.sqrt(2.0))
        for _ in range(2):
            missing = height.value - self._told(rows)[:, place]
            rows[:, 0] = np.log(np.maximum(np.exp(rows[:, 0]) + missing / np.sqrt(2.0), 0.4 * height.value))
        best: Floats = rows[int(np.argmin(self._cost(rows, self._told(rows))))]
        return best

    def _begin_loads(self, start: Floats) -> None:
        falls = {f.kind: f.value for f in self.figures if f.what == "fall"}
        means = {f.kind: f.value for f in self.figures if f.what != "fall"}
        chime = self.chime
        if {"idle", "test"} <= falls.keys():
            test_a = chime.test_a or (means["test"] / chime.test_ohm if chime.test_ohm else 0.0)
            idle = falls["idle"] * (means["idle"] / means["test"] if chime.regulator == "switching" else 1.0)
            if test_a > 0.0 and falls["test"] > idle:
                start[2] = np.log(np.clip(test_a / (falls["test"] - idle), 2e-5, 2e-2))
        for index, kind in ((8, "idle"), (9, "sound")):
            if falls.get(kind, 0.0) > 0.0:  # type: ignore[call-overload]
                load = falls[kind] * np.exp(start[2])  # type: ignore[index]
                if chime.regulator == "switching":
                    load *= means[kind] / chime.rated_rail_v  # type: ignore[index]
                start[index] = np.log(max(load, 1e-4))

    # the fit

    def run(self) -> Identified:
        row, damping = self._first(), 1e-2
        cost, matrix, vector = self._linearised(row)
        for _ in range(ROUNDS):
            step = np.linalg.solve(matrix + damping * np.diag(np.diag(matrix)), vector)
            step *= float(np.min(np.append(self.largest / np.maximum(np.abs(step), 1e-12), 1.0)))
            new_cost, new_matrix, new_vector = self._linearised(row + step)
            if new_cost > cost:
                damping *= 6.0
                if damping > 1e5:
                    break
                continue
            done = cost - new_cost < SETTLED
            row, cost, damping = row + step, new_cost, max(damping / 5.0, 1e-7)
            matrix, vector = new_matrix, new_vector
            if done:
                break
        return self._identified(row, np.linalg.inv(matrix)[: len(NAMES), : len(NAMES)])

    def _linearised(self, row: Floats) -> tuple[float, Floats, Floats]:
        """Cost, matrix and vector of the normal equations at a row."""
        told = self._told(np.vstack([row, row + np.diag(self.steps)]))
        slopes = (told[1:] - told[0]).T / self.steps  # (figures, unknowns)
        left = self.values - told[0]
        weights = (FREEDOM + 1.0) / (FREEDOM + (left / self.sds) ** 2) / self.sds**2
        matrix = np.diag(self.sd**-2.0) + (slopes.T * weights) @ slopes
        vector = (slopes.T * weights) @ left - (row - self.mean) / self.sd**2
        return float(self._cost(row[None, :], told[:1])[0]), matrix, vector

    def _identified(self, row: Floats, covariance: Floats) -> Identified:
        solved, size = self._solved(row[None, :]), len(NAMES)
        number = {kind: place for place, kind in enumerate(self.kinds)}
        return Identified(
            row[:size],
            covariance,
            self.chime.mains_hz,
            self.hertz_error,
            dict.fromkeys(self.kinds, float(row[-1])),
            {kind: float(solved.rail_max_v[n]) for kind, n in number.items()},
            {kind: float(solved.rail_min_v[n]) for kind, n in number.items()},
            {kind: float(solved.load_mean_a[n]) for kind, n in number.items()},
            replace(self.chime),
            {kind: solved.rail_v[n] for kind, n in number.items()},
            {kind: self._radio_a(kind, row, float(solved.ripple_v[n])) for kind, n in number.items()},
        )

    def _radio_a(self, kind: Kind, row: Floats, ripple_v: float) -> float:
        """Mean current of packets sent meanwhile [A]: each pulls down one cycle, by its charge, while falls and fit pass it over."""
        told = {f.what: f for f in self.figures if f.kind == kind}
        if not {"max", "min", "fall"} <= told.keys():
            return 0.0
        more_v = told["max"].value - told["min"].value - 2.0 * float(row[-1]) - ripple_v
        sure_v = 3.0 * float(np.hypot(np.hypot(told["max"].sd, told["min"].sd), self.sd[-1]))
        return more_v * float(np.exp(row[2])) * self.chime.mains_hz if more_v > sure_v else 0.0
