"""The samples of one burst beside a model of them: which cycle each belongs to, how they scatter, and what they weigh.

Cycles have a level and a climb of their own, which radio packets and flicker give them; both are taken out of every sum, so that
what they are does not matter and how much they scatter does. Knows no circuit.
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.supply.folding import Run

Floats = NDArray[np.floating[Any]]

DISCHARGE = (0.10, 0.62, 0.14)
"""Of a cycle from its maximum: where the discharge begins and ends, and over how much of it a level is taken at either end."""

CLIMB_CYCLES = 3.0
"""A pulled-down cycle recovers over some cycles."""

PULLED_V, CLEAN_SHARE = 0.03, 85.0
"""Cycles that scatter by more than this [V] are pulled down by a radio that was not muted; the highest tell the level."""


@dataclass(frozen=True, slots=True)
class Cycles:
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


@dataclass(slots=True)
class Burst:
    """Samples (n,) at `at_s`, counted from their middle [s], [V]; their median and about how far they reach [V].

    What is learned of them while the fit goes on:

    `cycle` (n,) from 0, and where each begins, `first`; `sigma` a sample's scatter as it is weighed, `scatter` as it was seen;
    `wander` of the cycles' levels; `pulled` how far clean cycles lie above the middle one [V]; `weights` (n,) [1/V^2].
    """

    at_s: Floats
    volts: Floats
    lsb_v: float
    middle_v: float
    ripple_v: float
    cycle: NDArray[np.intp] = field(init=False)
    first: NDArray[np.intp] = field(init=False)
    weights: Floats = field(init=False)
    own: Cycles = field(init=False)
    top: float = 0.0  # where in the model's cycle the maximum lies, 0..1
    sigma: float = 0.02
    scatter: float = 0.02
    wander: float = 0.01
    pulled: float = 0.0

    @classmethod
    def of(cls, run: Run) -> "Burst":
        low, middle, high = np.percentile(run.volts, [2, 50, 98])
        return cls(run.at_s - float(run.at_s.mean()), run.volts, run.lsb_v, float(middle), float(high - low))

    def turns(self, hertz: float, phase_rad: float) -> Floats:
        """Cycles since a maximum of the rail (n,)."""
        result: Floats = self.at_s * hertz + phase_rad / (2.0 * np.pi) - self.top
        return result

    def cut(self, hertz: float, phase_rad: float, top: float) -> None:
        """Cut into cycles that begin at maxima of the rail."""
        self.top = top
        self.cycle = np.unique(np.floor(self.turns(hertz, phase_rad)), return_inverse=True)[1]
        self.first = np.flatnonzero(np.diff(self.cycle, prepend=-1))

    def learn(self, left_v: Floats) -> None:
        """From residuals, how samples scatter about their cycle, and cycles about the burst."""
        middles, within = self._split(left_v)
        spread = 1.4826 * float(np.median(np.abs(within)))
        self.scatter = max(spread, self.lsb_v / np.sqrt(12.0))
        quantised = np.hypot(3e-3, self.lsb_v)  # neighbours share a code: their errors are not independent
        self.sigma = float(np.hypot(max(spread, quantised), 0.003 * self.ripple_v))
        middle = float(np.median(middles))
        self.wander = 1.4826 * float(np.median(np.abs(middles - middle))) + 1e-3
        clean = float(np.percentile(middles, CLEAN_SHARE)) - middle
        self.pulled = clean if self.wander > PULLED_V + self.sigma else 0.0

    def weigh(self, left_v: Floats, climb: Floats, hertz: float) -> None:
        """Samples by Student's t with four degrees of freedom: radio packets are outliers. `climb` (n,): what 1 V/s does to them."""
        _, within = self._split(left_v)
        self.weights = 5.0 / (4.0 + (within / self.sigma) ** 2) / self.sigma**2
        self.own = self._effects(climb, hertz)

    def _split(self, left_v: Floats) -> tuple[Floats, Floats]:
        """The median of each cycle, and what lies about it."""
        middles = _medians(left_v, self.cycle, self.cycle[-1] + 1)
        return middles, left_v - middles[self.cycle]

    def cost(self, left_v: Floats) -> float:
        """Weighted sum of squares of residuals, less what the cycles have of their own."""
        left = left_v + self.pulled
        sums = self.own.sums(left[:, None])
        return float(np.sum(self.weights * left * left)) - float(self.own.out(sums, sums)[0, 0])

    def normal(self, left_v: Floats, jacobian: Floats) -> tuple[Floats, Floats]:
        """Of the same sum: matrix and vector of the normal equations, from derivatives of the model (n, unknowns)."""
        weighted = jacobian * self.weights[:, None]
        left = left_v + self.pulled
        sums = self.own.sums(jacobian)
        matrix: Floats = weighted.T @ jacobian - self.own.out(sums, sums)
        vector: Floats = weighted.T @ left - self.own.out(sums, self.own.sums(left[:, None]))[:, 0]
        return matrix, vector

    def _effects(self, climb: Floats, hertz: float) -> Cycles:
        """What the cycles have of their own, under the weights as they are."""
        first, weights = self.first, self.weights
        climb = climb - (np.add.reduceat(climb, first) / np.diff(first, append=len(self.cycle)))[self.cycle]
        level = np.add.reduceat(weights, first) + self.wander**-2.0
        both = np.add.reduceat(weights * climb, first)
        alone = np.add.reduceat(weights * climb * climb, first) + (self.wander * hertz / CLIMB_CYCLES) ** -2.0
        inverse = np.array([[alone, -both], [-both, level]]) / (level * alone - both * both)
        return Cycles(first, np.stack([weights, weights * climb]), inverse)

    def packet_fall_v_per_s(self, left_v: Floats, hertz: float, phase_rad: float) -> float:
        """Mean fall by packets that were sent while the burst was taken, by what they leave between two recharges [V/s]."""
        since = np.mod(self.turns(hertz, phase_rad), 1.0)
        first = (since > DISCHARGE[0]) & (since < DISCHARGE[0] + DISCHARGE[2])
        last = (since > DISCHARGE[1] - DISCHARGE[2]) & (since < DISCHARGE[1])
        before, after = (_medians(left_v[part], self.cycle[part], self.cycle[-1] + 1) for part in (first, last))
        falls = (before - after)[np.isfinite(before) & np.isfinite(after)]
        if not len(falls):
            return 0.0
        seen_s = len(falls) * (DISCHARGE[1] - DISCHARGE[0] - DISCHARGE[2]) / hertz
        return float(np.sum(falls[falls > 3.0 * self.scatter])) / seen_s


def _medians(values: Floats, group: NDArray[np.intp], count: int) -> Floats:
    """Median of the values of each group (count,); NaN where it has none."""
    ordered = np.append(values[np.lexsort((values, group))], np.nan)
    sizes = np.bincount(group, minlength=count)
    first = np.cumsum(sizes) - sizes
    middles = 0.5 * (ordered[first + np.maximum(sizes - 1, 0) // 2] + ordered[first + sizes // 2])
    result: Floats = np.where(sizes > 0, middles, np.nan)
    return result
