"""The search for the cycle that closes: the rail at which conduction begins, and how long it takes.

Newton's, with the slope that memory of the reservoir gives, kept between rails known too low and too high. Coarse steps
first, then fine ones; rows that are done rest. Few rows close all their nodes at once instead (`boundary_value.py`).
Refuses to know what is read out of the cycle.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.supply.boundary_value import Equations, solved, solved_next_to
from service.supply.circuit import Circuit, rows_of
from service.supply.conduction import Cycle, joined, step_cycle
from service.supply.stepping import MARGIN, steps_of

Array = NDArray[np.float64]

_COARSE_STEPS, _FINE_STEPS = 12, 48
_COARSE_PASSES, _FINE_PASSES = 6, 25
_COARSE_V, _FINE_V, _SHARP_V, _CLOSED_V = 3e-2, 3e-7, 1e-8, 1e-3
_MOST = 0.95  # of the rows: the others find the way in fine steps
_FEW = 16  # rows whose equations are solved sooner than stepped
_WIDTH_TURNS, _WIDTH_NEAR = 2, 1e-2
_SLACK_V = 2e-3
_LOWEST_V = -2.0  # of the rail at begin: a reservoir's resistance can take it below zero


@dataclass(frozen=True, slots=True)
class Closed:
    """Cycles, whether each ends where it began, and the equations they solve where they were found so."""

    cycle: Cycle
    closes: NDArray[np.bool_]
    equations: Equations | None = None

    def rows(self, index: NDArray[np.intp]) -> "Closed":
        return Closed(rows_of(self.cycle, index), self.closes[index])


def sketch(circuit: Circuit, near: Cycle | None = None) -> Closed:
    """The cycle to some hundredths of a volt, in coarse steps: to choose among circuits, and to begin with."""
    search = _Search.begun(circuit, near, _COARSE_STEPS)
    for _ in range(_COARSE_PASSES):
        closes = search.turn(_COARSE_STEPS, _COARSE_V)
        if np.mean(closes) > _MOST:
            break
    return Closed(search.cycle, closes)


def close(circuit: Circuit, near: Closed | None = None) -> Closed:
    """The cycle that ends where it began. `near`: cycles of much the same circuits, row by row, to begin the search with.

    Few rows close all their nodes at once; many, and what will not close so, are stepped until they do.
    """
    near = sketch(circuit) if near is None else near
    if len(near.closes) > _FEW:
        return _closed_by_steps(circuit, near.cycle, _FINE_V)
    found = solved(circuit, near.cycle, steps_of(_FINE_STEPS), near.equations)
    return _rest_by_steps(found, found.closes, near, np.arange(len(near.closes)))


def close_next_to(circuit: Circuit, near: Closed, index: NDArray[np.intp]) -> Closed:
    """The same for circuits a ten-thousandth off, each next to the row of `near` that `index` names."""
    if near.equations is None:
        return close(circuit, near.rows(index))
    return _rest_by_steps(solved_next_to(near.equations, index, circuit), near.equations.closes[index], near, index)


def _rest_by_steps(found: Equations, closes: NDArray[np.bool_], near: Closed, index: NDArray[np.intp]) -> Closed:
    good, rest = np.flatnonzero(closes), np.flatnonzero(~closes)
    if not len(rest):
        return Closed(found.cycle, closes, found)
    stepped = _closed_by_steps(rows_of(found.circuit, rest), rows_of(near.cycle, index[rest]), _SHARP_V)
    order = np.argsort(np.concatenate([good, rest]))
    cycle = joined([rows_of(found.cycle, good), stepped.cycle])
    return Closed(rows_of(cycle, order), np.concatenate([closes[good], stepped.closes])[order])


def _closed_by_steps(circuit: Circuit, near: Cycle, tolerance_v: float) -> Closed:
    """Fine steps; rows that are done rest."""
    search = _Search.begun(circuit, near, _FINE_STEPS)
    rows = np.arange(len(near.next_rail_v))
    ready: list[tuple[NDArray[np.intp], Cycle, NDArray[np.bool_]]] = []
    for turn in range(_FINE_PASSES):
        closes = search.turn(_FINE_STEPS, tolerance_v)
        if np.all(closes) or turn == _FINE_PASSES - 1:
            ready.append((rows, search.cycle, np.abs(search.gap_v) < _CLOSED_V))
            break
        if 2 * np.count_nonzero(closes) > len(closes):
            done = np.ones(np.count_nonzero(closes), dtype=np.bool_)
            ready.append((rows[closes], rows_of(search.cycle, closes), done))
            search, rows = search.only(~closes), rows[~closes]
    order = np.argsort(np.concatenate([found[0] for found in ready]))
    cycle = joined([found[1] for found in ready])
    return Closed(rows_of(cycle, order), np.concatenate([found[2] for found in ready])[order])


class _Search:
    """Newton's search for the rail at begin and the width of conduction, for rows side by side."""

    def __init__(
        self, circuit: Circuit, crest_v: Array, rail_v: Array, width_rad: Array, begin_rad: Array | None
    ) -> None:
        self.circuit, self.crest_v, self.begin_rad = circuit, crest_v, begin_rad
        self.threshold_v = circuit.threshold_v()
        self.highest_v = np.maximum((1.0 - 1e-4) * crest_v - self.threshold_v, 0.0)
        self.rail_v, self.width_rad = np.clip(rail_v, _LOWEST_V, self.highest_v), width_rad
        self.low_v, self.high_v = np.full_like(crest_v, _LOWEST_V), self.highest_v
        self.turns = 0
        self.cycle: Cycle
        self.gap_v: Array
        self.before: tuple[Array, Array] | None = None

    @classmethod
    def begun(cls, circuit: Circuit, near: Cycle | None, steps: int) -> "_Search":
        """From cycles near by, row by row, or from a guess."""
        _, crest_v = circuit.mains.crest()
        if near is None:
            return cls(circuit, crest_v, *first_guess(circuit, crest_v), None)
        wider = np.clip(near.end_share, 0.5, 1.5) * (1.0 + MARGIN / steps)
        search = cls(
            circuit, crest_v, near.next_rail_v, near.conduction_s * circuit.radians_per_s * wider, near.begin_rad
        )
        search.threshold_v = circuit.threshold_v(circuit.growth_per_s(near.begin_rad, -near.net_a[0]))
        return search

    def turn(self, steps: int, tolerance_v: float) -> NDArray[np.bool_]:
        """One pass; which rows close. Those that do not are moved."""
        circuit, crest_v = self.circuit, self.crest_v
        self.begin_rad = circuit.mains.rises_through(self.rail_v + self.threshold_v, self.begin_rad)
        cycle = self.cycle = step_cycle(circuit, self.begin_rad, self.rail_v, self.width_rad, steps_of(steps))
        gap_v = self.gap_v = cycle.next_rail_v - self.rail_v
        wider = cycle.end_share * (1.0 + MARGIN / steps)
        self.threshold_v = circuit.threshold_v(circuit.growth_per_s(self.begin_rad, -cycle.net_a[0]))
        # The width only decides where the nodes lie: a cycle that closes is right with any that is near enough.
        off = wider - 1.0
        closes = (np.abs(gap_v) < tolerance_v) & (np.abs(off) < _WIDTH_NEAR * (2.5 if steps == _FINE_STEPS else 10.0))
        if self.turns >= _WIDTH_TURNS:  # come to rest, so that the search can end: smoothly at first
            last = np.abs(off) < 2.5 * _WIDTH_NEAR if self.turns >= 2 * _WIDTH_TURNS else np.zeros_like(closes)
            wider = 1.0 + np.where(last, 0.0, off * np.minimum((off / _WIDTH_NEAR) ** 2, 1.0))
        self.turns += 1
        rising = np.maximum(circuit.mains.slope(self.begin_rad), 0.02 * crest_v)
        falling = -cycle.discharge_slope[-1] / circuit.radians_per_s
        steepness = np.maximum((1.0 - cycle.memory) * (1.0 + falling / rising), 0.02)
        if self.before is not None:  # as it was found to be since the last pass, where that can be
            last_gap_v, moved_v = self.before
            found = (last_gap_v - gap_v) / np.where(np.abs(moved_v) < 1e-9, np.inf, moved_v)
            steepness = np.where((found > 0.3 * steepness) & (found < 6.0 * steepness), found, steepness)
        step_v = np.clip(gap_v / steepness, -0.2 * crest_v, 0.2 * crest_v)
        # The gap falls as the rail rises: a step beyond rails already found too low or too high goes half-way instead.
        sure = np.abs(off) < 5.0 * _WIDTH_NEAR
        self.low_v = np.where(sure & (gap_v > 0.0), np.minimum(self.rail_v, self.high_v), self.low_v)
        self.high_v = np.where(sure & (gap_v < 0.0), np.maximum(self.rail_v, self.low_v), self.high_v)
        narrow = self.high_v - self.low_v < _SLACK_V  # yet not closed: what was found before no longer holds
        self.low_v, self.high_v = self.low_v - 10.0 * _SLACK_V * narrow, self.high_v + 10.0 * _SLACK_V * narrow
        rail_v = self.rail_v + step_v
        beyond = (rail_v < self.low_v - _SLACK_V) | (rail_v > self.high_v + _SLACK_V)
        rail_v = np.where(beyond, 0.5 * (self.rail_v + np.where(step_v < 0.0, self.low_v, self.high_v)), rail_v)
        rail_v = np.clip(rail_v, _LOWEST_V, self.highest_v)
        self.before = (gap_v, rail_v - self.rail_v)
        self.rail_v = rail_v
        self.width_rad = np.clip(self.width_rad * wider, 0.02, 1.9 * np.pi)
        return np.asarray(closes, dtype=np.bool_)

    def only(self, rows: NDArray[np.bool_]) -> "_Search":
        """The same search for some rows."""
        assert self.begin_rad is not None
        rest = _Search(
            rows_of(self.circuit, rows),
            self.crest_v[rows],
            self.rail_v[rows],
            self.width_rad[rows],
            self.begin_rad[rows],
        )
        rest.threshold_v, rest.turns = self.threshold_v[rows], self.turns
        rest.low_v, rest.high_v = self.low_v[rows], self.high_v[rows]
        if self.before is not None:
            rest.before = (self.before[0][rows], self.before[1][rows])
        return rest


def first_guess(circuit: Circuit, crest_v: Array) -> tuple[Array, Array]:
    """Rail at begin and width of conduction, from a constant rail behind a resistance and the fall between."""
    threshold_v = circuit.threshold_v()
    ohm = circuit.ohm + circuit.path.series_ohm + 0.2 + 0.3 * circuit.henry * circuit.radians_per_s
    draw = np.maximum(circuit.load.current(np.maximum(crest_v - threshold_v, 0.0))[0], 1e-5)
    wanted = np.pi * ohm * draw / np.maximum(crest_v - threshold_v, 0.1)  # = sin φ − φ cos φ, some φ³/3
    half_rad = np.clip(np.cbrt(3.0 * wanted), 0.08, 1.4)
    for _ in range(3):
        miss = np.sin(half_rad) - half_rad * np.cos(half_rad) - wanted
        half_rad = np.clip(half_rad - miss / (half_rad * np.sin(half_rad)), 0.08, 1.5)
    fall_v = np.minimum(draw * 2.0 * np.pi / circuit.radians_per_s / circuit.farad, 0.8 * crest_v)
    drop_v = circuit.path.drop_v(draw * np.pi / half_rad) + circuit.shift_v  # at the mean current while they conduct
    rail_v = crest_v * np.cos(half_rad) - drop_v - 0.5 * fall_v
    lead_rad = np.arccos(np.clip((rail_v + threshold_v) / crest_v, -0.2, 0.99))
    return rail_v, lead_rad + half_rad


def headroom(circuit: Circuit) -> Array:
    """By the first guess, the lowest rail above what the load needs, as a share of the crest: who is likely to drop out."""
    _, crest_v = circuit.mains.crest()
    rail_v, _ = first_guess(circuit, crest_v)
    return np.asarray((rail_v - circuit.load.full_v) / crest_v, dtype=np.float64)
