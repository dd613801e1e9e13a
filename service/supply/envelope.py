"""What the rail will do, from the fit-out sheet alone: at low, nominal and high mains, at rest, tested, sounding and pressed.

Every figure comes as the typical transformer gives it, with the range from a stiff to a soft one. Knows what was built in and nothing
that was measured; whether it is good is for the rules to say.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from service.supply.assumptions import TYPICAL, Basis
from service.supply.detector import Detector, shortest_sure_press_s
from service.supply.fitout import FitOut
from service.supply.rectifier import SteadyState, Supply, steady_state
from service.supply.transients import hold_up_s

Mains = Literal["low", "nominal", "high"]
State = Literal["idle", "test", "sounding", "pressed"]

LEVELS: dict[Mains, float] = {"low": 0.9, "nominal": 1.0, "high": 1.1}
"""Supply voltages keep within 10 % of nominal for 95 % of a week (EN 50160, from memory)."""

SMALLEST_TRIED_A, LARGEST_TRIED_A = 1e-4, 5.0
ALWAYS_LOST_V = 0.5
"""A silicon diode loses at least this (1N4007: 0.57 V at 1 mA; ngspice 39.3, measured)."""

TRIED, NARROWINGS = 12, 3
"""Loads tried at a time, and how often: 5 A / 0.1 mA to the power 1 / 13^3 is half a per cent."""


@dataclass(frozen=True, slots=True)
class Span:
    """A figure with the typical transformer, and the least and most of the stiff, the typical and the soft one."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Condition:
    """The rail in one state, at one level and frequency of the mains.

    `headroom_v`: lowest rail over drop-out; None where drop-out is not known. `secondary_a`: rms. `reverse_v`: across both diodes in
    series, or across the board's alone while pressed. `carried`: the typical transformer keeps the regulator in regulation.
    """

    mains: Mains
    mains_hz: float
    state: State
    rail_max_v: Span
    rail_min_v: Span
    rail_mean_v: Span
    ripple_v: Span
    headroom_v: Span | None
    load_a: Span
    secondary_a: Span
    peak_a: Span
    reverse_v: Span
    carried: bool


@dataclass(frozen=True, slots=True)
class Envelope:
    """All conditions, and what else follows. None: the sheet does not allow it.

    `largest_load_a` : current that the standing supply carries at low mains, at the worse frequency.
    `largest_load_nominal_a` : the same at nominal mains.
    `hold_up_s` : by state, from loss of mains to drop-out, at nominal mains, beginning at the lowest rail.
    `shortest_sure_press_s` : value at nominal mains, low and high over all mains and transformers.
    """

    conditions: tuple[Condition, ...]
    largest_load_a: Span | None
    largest_load_nominal_a: Span | None
    hold_up_s: dict[State, Span]
    shortest_sure_press_s: Span | None

    def at(self, state: State, mains: Mains) -> tuple[Condition, ...]:
        """One per frequency; empty where the sheet does not allow the state."""
        return tuple(one for one in self.conditions if one.state == state and one.mains == mains)

    def states(self) -> tuple[State, ...]:
        return tuple(dict.fromkeys(one.state for one in self.conditions))


def envelope_of(sheet: FitOut, basis: Basis) -> Envelope:
    """Everything that the sheet allows. Without a reservoir, or without any diode across a button, there is no rail to tell of."""
    sure = _sure_press(sheet, basis)
    if sheet.reservoir_f is None or not basis.standing:
        return Envelope((), None, None, {}, sure)
    conditions, hold_up = list[Condition](), dict[State, Span]()
    for state in _states(sheet, basis):
        levels = [(mains, hz) for mains in LEVELS for hz in basis.mains_hz]
        supply = supply_of(sheet, basis, state, levels)
        conditions += _conditions(steady_state(supply), basis, state, levels)
        if state in ("idle", "sounding") and basis.dropout_v is not None:
            nominal = supply_of(sheet, basis, state, [("nominal", basis.mains_hz[0])])
            hold_up[state] = span(hold_up_s(nominal, steady_state(nominal)))
    at_low, at_nominal = _largest_loads(sheet, basis)
    return Envelope(tuple(conditions), at_low, at_nominal, hold_up, sure)


def supply_of(
    sheet: FitOut, basis: Basis, state: State, levels: Sequence[tuple[Mains, float]], reservoir_f: float | None = None
) -> Supply:
    """The circuit in one state for each (mains, frequency) and each of the three transformers: rows of 3 x len(levels)."""
    reservoir = reservoir_f or sheet.reservoir_f
    if reservoir is None:
        raise ValueError("a supply without a reservoir has no steady rail")
    testing = state == "test"
    supply = Supply(
        mains_hz=np.repeat([hz for _, hz in levels], 3),
        open_circuit_v=np.concatenate([LEVELS[mains] * basis.open_circuit_v for mains, _ in levels]),
        source_ohm=np.tile(basis.source_ohm, len(levels)),
        reservoir_f=reservoir,
        load_a=0.0,
        regulator=basis.regulator,
        rated_rail_v=basis.rated_rail_v,
        dropout_v=basis.dropout_v or 0.0,
        test_ohm=(sheet.test_ohm or np.inf) if testing else np.inf,
    )
    asked = basis.loads_a["sounding" if state == "sounding" else "idle"]
    most, power_most = _most_a(supply), _most_w(supply) / basis.rated_rail_v
    supply = replace(
        supply,
        load_a=asked if basis.regulator == "linear" else np.minimum(asked, power_most),
        test_a=np.minimum(sheet.test_a or 0.0, most) if testing else 0.0,
    )
    return supply.pressed() if state == "pressed" else supply


def span(values: NDArray[np.floating[Any]]) -> Span:
    """Of the three transformers."""
    return Span(float(values[TYPICAL]), float(np.min(values)), float(np.max(values)))


def detector_of(sheet: FitOut, basis: Basis) -> Detector | None:
    """The detector behind each of the three transformers; None where the sheet does not describe it."""
    if sheet.detector_ohm is None or sheet.detector_on_a is None:
        return None
    return Detector(sheet.detector_ohm, sheet.detector_on_a, basis.source_ohm)


def _states(sheet: FitOut, basis: Basis) -> tuple[State, ...]:
    tested: tuple[State, ...] = ("test",) if sheet.test_a is not None or sheet.test_ohm is not None else ()
    sounding: tuple[State, ...] = ("sounding",) if "sounding" in basis.loads_a else ()
    return ("idle", *tested, *sounding, "pressed")


def _conditions(
    steady: SteadyState, basis: Basis, state: State, levels: Sequence[tuple[Mains, float]]
) -> list[Condition]:
    found = []
    for number, (mains, hz) in enumerate(levels):
        rows = slice(3 * number, 3 * number + 3)
        lowest = steady.rail_min_v[rows]
        found.append(
            Condition(
                mains=mains,
                mains_hz=hz,
                state=state,
                rail_max_v=span(steady.rail_max_v[rows]),
                rail_min_v=span(lowest),
                rail_mean_v=span(steady.rail_mean_v[rows]),
                ripple_v=span(steady.ripple_v[rows]),
                headroom_v=None if basis.dropout_v is None else span(lowest - basis.dropout_v),
                load_a=span(steady.load_mean_a[rows]),
                secondary_a=span(steady.rms_a[rows]),
                peak_a=span(steady.peak_a[rows]),
                reverse_v=span(steady.reverse_v[rows]),
                carried=bool(steady.carried[rows][TYPICAL]),
            )
        )
    return found


def _largest_loads(sheet: FitOut, basis: Basis) -> tuple[Span | None, Span | None]:
    """At low and at nominal mains, each at the worse frequency, by narrowing: every load below the largest is carried."""
    if basis.dropout_v is None:
        return None, None
    mains: tuple[Mains, ...] = ("low", "nominal")
    levels = [(level, hz) for level in mains for hz in basis.mains_hz]
    count = 3 * len(levels)
    supply = supply_of(sheet, basis, "idle", levels)
    beyond = _most_a(supply) if basis.regulator == "linear" else _most_w(supply) / basis.rated_rail_v
    carried, too_much = np.zeros(count), np.minimum(beyond, LARGEST_TRIED_A)
    many = replace(
        supply,
        mains_hz=np.tile(supply.mains_hz, TRIED),
        open_circuit_v=np.tile(supply.open_circuit_v, TRIED),
        source_ohm=np.tile(supply.source_ohm, TRIED),
    )
    for _ in range(NARROWINGS):
        start = np.maximum(carried, SMALLEST_TRIED_A)
        steps = (np.arange(1, TRIED + 1) / (TRIED + 1))[:, np.newaxis]
        tried = start * (too_much / start) ** steps
        fits = steady_state(replace(many, load_a=tried.ravel())).carried.reshape(TRIED, count)
        carried = np.max(np.where(fits, tried, carried), axis=0)
        too_much = np.min(np.where(fits, too_much, tried), axis=0)
    least = np.min(carried.reshape(len(mains), len(basis.mains_hz), 3), axis=1)
    return span(least[0]), span(least[1])


def _most_a(supply: Supply) -> NDArray[np.float64]:
    """A constant current that no rail carries [A]: for half a cycle the reservoir alone feeds it, and the source gives no more than
    its half-wave mean into nothing."""
    crest, ohm = np.sqrt(2.0) * np.asarray(supply.open_circuit_v), np.asarray(supply.source_ohm)
    usable = np.maximum(crest - ALWAYS_LOST_V - np.asarray(supply.dropout_v), 0.0)
    most = np.minimum(
        2.0 * np.asarray(supply.reservoir_f) * usable * np.asarray(supply.mains_hz), crest / (np.pi * ohm)
    )
    return np.asarray(np.maximum(most, 2.0 * SMALLEST_TRIED_A), dtype=np.float64)


def _most_w(supply: Supply) -> NDArray[np.float64]:
    """A constant power that no rail carries [W]: half a cycle of it empties the reservoir, or it is more than a half-wave source gives.

    Behind a resistance that is 0.181 V_peak^2 / (pi R), at a rail of 0.39 of the crest. A regulator asked for more locks out, so it is
    calculated with this.
    """
    crest, ohm = np.sqrt(2.0) * np.asarray(supply.open_circuit_v), np.asarray(supply.source_ohm)
    full, empty = np.maximum(crest - ALWAYS_LOST_V, 0.0), np.asarray(supply.dropout_v)
    stored = np.asarray(supply.reservoir_f) * np.maximum(full**2 - empty**2, 0.0) * np.asarray(supply.mains_hz)
    least = SMALLEST_TRIED_A * np.asarray(supply.rated_rail_v)
    return np.asarray(np.maximum(np.minimum(stored, 0.181 * crest**2 / (np.pi * ohm)), 2.0 * least), dtype=np.float64)


def _sure_press(sheet: FitOut, basis: Basis) -> Span | None:
    detector = detector_of(sheet, basis)
    if detector is None:
        return None
    every = [
        shortest_sure_press_s(detector, level * basis.peak_v, hz) for level in LEVELS.values() for hz in basis.mains_hz
    ]
    nominal = max(float(shortest_sure_press_s(detector, basis.peak_v, hz)[TYPICAL]) for hz in basis.mains_hz)
    return Span(nominal, float(np.min(every)), float(np.max(every)))
