"""The half-wave supply of a chime in steady state: transformer, wires, one or two diodes, reservoir, regulator.

`steady_state` finds the cycle that closes, for any number of installations side by side. Refuses to know what was measured
and what is good: identification and rules build on it.
"""

from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.supply.circuit import Circuit, Path, rows_of
from service.supply.closing import close, headroom
from service.supply.conduction import Cycle, joined
from service.supply.diodes import SILICON, Diode
from service.supply.load import Load, Regulator
from service.supply.mains import Mains
from service.supply.waveform import (
    angle_above,
    extremes,
    mean_current,
    mean_rail,
    peak_current,
    peak_of,
    rail_between,
    rms_current,
)

Array = NDArray[np.float64]
Numeric = float | Array

PHASES = 128
_BEHIND_RAD = np.linspace(np.pi, 2.0 * np.pi, 41)  # where the diodes block most
_BLOCK = 512  # installations at a time: their nodes stay in the processor's cache


@dataclass(frozen=True, slots=True)
class Supply:
    """One or many installations; each number a float or an array, all broadcast to one shape (N,).

    Parameters
    ----------
    mains_hz : mains frequency [Hz].
    open_circuit_v : rms of the secondary's open-circuit voltage, harmonics included [V].
    source_ohm : transformer, wires, joints and contact together [Ω].
    reservoir_f : reservoir capacitor [F].
    load_a : current through the regulator [A]; a switching one draws it at `rated_rail_v`.
    esr_ohm : the reservoir's series resistance [Ω].
    leakage_h : leakage inductance, seen from the secondary [H].
    third, third_phase, fifth, fifth_phase : sin x + h3 sin(3x + p3) + h5 sin(5x + p5), shares of the fundamental; [rad].
    board_diode : the diode on the chime's board.
    button_diode : the diode across the button; None: the button is pressed and bridges it.
    temperature_c : of both diodes [°C].
    drop_shift_v : further forward drop, for the spread of parts [V].
    regulator : "linear" (constant current) or "switching" (constant power); see `load.Load` for what they do below drop-out.
    rated_rail_v : rail at which `load_a` and `radio_a` hold for a switching regulator [V].
    dropout_v : rail below which the regulator drops out, or locks out [V].
    test_a, test_ohm : a test load, as a current [A] or as a resistor across the rail [Ω].
    radio_a, radio_s, radio_every_s : bursts of a radio; their mean is added to the load.
    """

    mains_hz: Numeric
    open_circuit_v: Numeric
    source_ohm: Numeric
    reservoir_f: Numeric
    load_a: Numeric
    esr_ohm: Numeric = 0.05
    leakage_h: Numeric = 0.0
    third: Numeric = 0.0
    third_phase: Numeric = 0.0
    fifth: Numeric = 0.0
    fifth_phase: Numeric = 0.0
    board_diode: Diode = SILICON
    button_diode: Diode | None = SILICON
    temperature_c: Numeric = 25.0
    drop_shift_v: Numeric = 0.0
    regulator: Regulator = "linear"
    rated_rail_v: Numeric = 12.0
    dropout_v: Numeric = 0.0
    test_a: Numeric = 0.0
    test_ohm: Numeric = np.inf
    radio_a: Numeric = 0.0
    radio_s: Numeric = 0.0
    radio_every_s: Numeric = 1.0

    def pressed(self) -> "Supply":
        """The same with the button pressed."""
        return replace(self, button_diode=None)


@dataclass(frozen=True, slots=True)
class SteadyState:
    """The closed cycle of N installations; arrays (N,) unless said.

    Attributes
    ----------
    rail_max_v, rail_min_v, rail_mean_v, ripple_v : of the rail over a cycle [V]; ripple peak to peak.
    conduction_rad : angle over which the secondary's current is above a hundredth of its peak [rad].
    peak_a, rms_a : secondary current [A].
    reverse_v : highest reverse voltage over the diodes in series: both together, or the board's alone when pressed [V].
    load_mean_a : mean current drawn from the rail, test load included [A].
    carried : the regulator stays in regulation throughout: the rail never falls below `dropout_v`, and a cycle closes.
    phase_rad : (PHASES,) phases after the rising zero crossing of the fundamental [rad].
    rail_v : (N, PHASES) the rail at those phases [V]. Its corner is sharper than they are: for others ask `rail_at`.
    closed : the cycle closes to better than 1 mV. Where it does not (a supply that hiccups) the rest is a bounded sketch.
    """

    rail_max_v: Array
    rail_min_v: Array
    rail_mean_v: Array
    ripple_v: Array
    conduction_rad: Array
    peak_a: Array
    rms_a: Array
    reverse_v: Array
    load_mean_a: Array
    carried: NDArray[np.bool_]
    phase_rad: Array
    closed: NDArray[np.bool_]
    _cycle: Cycle
    _circuit: Circuit
    _read: dict[str, Array] = field(default_factory=dict)

    @property
    def rail_v(self) -> Array:
        """(N, PHASES) the rail at `phase_rad` [V]: read out when it is first asked for."""
        if "rail_v" not in self._read:
            self._read["rail_v"] = self.rail_at(self.phase_rad)
        return self._read["rail_v"]

    def rows(self, index: NDArray[np.intp]) -> "SteadyState":
        """These rows, as often and in the order they are named."""
        own: dict[str, Any] = {
            f.name: getattr(self, f.name)[index] for f in fields(self) if f.name not in ("phase_rad", *_INNER)
        }
        return SteadyState(
            **own, phase_rad=self.phase_rad, _cycle=rows_of(self._cycle, index), _circuit=rows_of(self._circuit, index)
        )

    def rail_at(self, phase_rad: ArrayLike) -> Array:
        """The rail at any phases [V]: (P,) the same for all, or (N, P) for each; any real number of turns. Gives (N, P)."""
        phases = np.asarray(phase_rad, dtype=np.float64)
        rail_v = rail_between(self._circuit, self._cycle, np.broadcast_to(phases, (len(self.closed), phases.shape[-1])))
        return _within(rail_v, self.rail_min_v, self.rail_max_v)


_INNER = ("_cycle", "_circuit", "_read")
_ARRAYS = [f.name for f in fields(Supply) if f.name not in ("board_diode", "button_diode", "regulator")]
_POSITIVE = {"mains_hz", "open_circuit_v", "reservoir_f", "rated_rail_v", "test_ohm", "radio_every_s"}
_NOT_NEGATIVE = {"source_ohm", "load_a", "esr_ohm", "leakage_h", "dropout_v", "test_a", "radio_a", "radio_s"}


def steady_state(supply: Supply, near: SteadyState | None = None) -> SteadyState:
    """The steady state of one or many supplies.

    `near`: the state of much the same supplies, row by row (fits and what-ifs ask again and again); it only saves time. It is
    not looked at above 512 rows.

    Raises
    ------
    ValueError : a number that is not finite or is negative where none can be, or shapes that do not broadcast.

    Examples
    --------
    16 V rms, 60 Hz, 470 µF, 20 mA, 1 Ω, one 1N4007 at 27 °C: ngspice 39.3 gave 21.263 V mean and 0.655 V peak to peak.

    >>> state = steady_state(Supply(60.0, 16.0, 1.0, 470e-6, 0.020, esr_ohm=0.0, button_diode=None, temperature_c=27.0))
    >>> round(float(state.rail_mean_v[0]), 3), round(float(state.ripple_v[0]), 3)
    (21.264, 0.655)
    """
    circuit = circuit_of(supply)
    count = circuit.farad.shape[0]
    if count == 1:  # twice: numpy's in-place arithmetic is slow on arrays of one
        twice = np.zeros(2, dtype=np.intp)
        found, closed = close(rows_of(circuit, twice), None if near is None else rows_of(near._cycle, twice))
        return _measure(circuit, rows_of(found, twice[:1]), closed[:1])
    if count <= _BLOCK:
        return _measure(circuit, *close(circuit, near._cycle if near is not None else None))
    # Side by side with one that drops out all must be stepped with a load that follows the rail: keep those together.
    order = np.argsort(-headroom(circuit), kind="stable")
    parts = []
    for start in range(0, count, _BLOCK):
        part = rows_of(circuit, order[start : start + _BLOCK])
        parts.append(_measure(part, *close(part)))
    return _joined(parts, circuit, np.argsort(order))


def circuit_of(supply: Supply) -> Circuit:
    """The supply as rows (N,), checked."""
    diodes = [supply.board_diode] if supply.button_diode is None else [supply.board_diode, supply.button_diode]
    diodes = [diode.at(supply.temperature_c) for diode in diodes]
    given: dict[str, Any] = {name: np.asarray(getattr(supply, name), dtype=np.float64) for name in _ARRAYS}
    for name, value in given.items():
        lowest, highest = float(value.min()), float(value.max())
        if not (-np.inf < lowest and (highest < np.inf or (name == "test_ohm" and highest == np.inf))):
            raise ValueError(f"{name}: {value} is not finite")
        if (name in _POSITIVE and lowest <= 0.0) or (name in _NOT_NEGATIVE and lowest < 0.0):
            raise ValueError(f"{name}: {value} must {'be above zero' if name in _POSITIVE else 'not be negative'}")
    shapes = [value.shape for value in given.values()]
    shapes += [np.shape(getattr(diode, f.name)) for diode in diodes for f in fields(Diode)]
    shape = np.broadcast_shapes((1,), *shapes)
    if len(shape) != 1:
        raise ValueError(f"numbers of a supply must broadcast to (N,), not to {shape}")
    rows = {name: np.ascontiguousarray(np.broadcast_to(value, shape)) for name, value in given.items()}
    radio_a = rows["radio_a"] * np.minimum(rows["radio_s"] / rows["radio_every_s"], 1.0)
    load = Load(
        rows["load_a"] + radio_a,
        supply.regulator,
        rows["rated_rail_v"],
        rows["dropout_v"],
        rows["test_a"],
        1.0 / rows["test_ohm"],
    )
    mains = Mains(rows["open_circuit_v"], rows["third"], rows["third_phase"], rows["fifth"], rows["fifth_phase"])
    return Circuit(
        mains,
        2.0 * np.pi * rows["mains_hz"],
        rows["source_ohm"],
        rows["leakage_h"],
        rows["reservoir_f"],
        rows["esr_ohm"],
        rows["drop_shift_v"],
        Path.of(diodes, shape),
        load,
    )


def _measure(circuit: Circuit, cycle: Cycle, closed: NDArray[np.bool_]) -> SteadyState:
    highest, lowest = extremes(circuit, cycle)
    lowest, highest = np.maximum(lowest, 0.0), np.maximum(highest, 0.0)
    behind_rad = np.broadcast_to(_BEHIND_RAD, (len(closed), len(_BEHIND_RAD)))
    behind_v = _within(rail_between(circuit, cycle, behind_rad), lowest, highest)
    behind_v -= circuit.mains.voltage(behind_rad.T).T
    return SteadyState(
        highest,
        lowest,
        np.clip(mean_rail(circuit, cycle), lowest, highest),
        highest - lowest,
        angle_above(circuit, cycle, 0.01),
        peak_current(cycle),
        rms_current(cycle),
        peak_of(behind_v),
        mean_current(circuit, cycle),
        closed & (lowest >= circuit.load.dropout_v),
        np.asarray(np.arange(PHASES) * (2.0 * np.pi / PHASES), dtype=np.float64),
        closed,
        cycle,
        circuit,
    )


def _within(rail_v: Array, lowest_v: Array, highest_v: Array) -> Array:
    """Rails (N, P) kept between their extremes: touches only the sketch of a supply that does not stand."""
    return np.clip(rail_v, lowest_v[:, np.newaxis] - 1e-3, highest_v[:, np.newaxis] + 1e-3)


def _joined(parts: list[SteadyState], circuit: Circuit, order: NDArray[np.intp]) -> SteadyState:
    """Blocks beside each other again, in this order."""
    own: dict[str, Any] = {
        f.name: np.concatenate([getattr(part, f.name) for part in parts])[order]
        for f in fields(SteadyState)
        if f.name not in ("phase_rad", "_cycle", "_circuit", "_read")
    }
    cycle = rows_of(joined([part._cycle for part in parts]), order)
    return SteadyState(**own, phase_rad=parts[0].phase_rad, _cycle=cycle, _circuit=circuit)
