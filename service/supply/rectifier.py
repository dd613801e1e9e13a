"""The half-wave supply of a chime in steady state: transformer, wires, one or two diodes, reservoir, regulator.

`steady_state` finds the cycle that closes, for any number of installations side by side. Refuses to know what was measured
and what is good: identification and rules build on it.
"""

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from service.supply.circuit import Circuit, Path, rows_of
from service.supply.closing import close, headroom
from service.supply.diodes import SILICON, Diode
from service.supply.load import Load, Regulator
from service.supply.mains import Mains
from service.supply.steady import PHASES, SteadyState, beside, measure

__all__ = ["PHASES", "SteadyState", "Supply", "circuit_of", "steady_state"]

Array = NDArray[np.float64]
Numeric = float | Array

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
        return measure(circuit, rows_of(found, twice[:1]), closed[:1])
    if count <= _BLOCK:
        return measure(circuit, *close(circuit, near._cycle if near is not None else None))
    # Side by side with one that drops out all must be stepped with a load that follows the rail: keep those together.
    order = np.argsort(-headroom(circuit), kind="stable")
    parts = []
    for start in range(0, count, _BLOCK):
        part = rows_of(circuit, order[start : start + _BLOCK])
        parts.append(measure(part, *close(part)))
    return beside(parts, circuit, np.argsort(order))


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
