"""The half-wave supply of a chime in steady state: transformer, wires, one or two diodes, reservoir, regulator.

`steady_state` finds the cycle that closes, for any number of installations side by side. Refuses to know what was measured
and what is good: identification and rules build on it.
"""

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from service.supply.circuit import Circuit, Path, rows_of
from service.supply.closing import close, close_next_to, headroom, sketch
from service.supply.diodes import SILICON, Diode
from service.supply.load import Load, Regulator
from service.supply.mains import Mains
from service.supply.steady import PHASES, SteadyState, beside

__all__ = ["PHASES", "SteadyState", "Supply", "circuit_of", "next_to", "sketched", "steady_state"]

Array = NDArray[np.float64]
Numeric = float | Array

_BLOCK = 1024  # installations at a time: fewer cost more calls than work, more leave the processor's cache


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
_ABOVE = np.array([0.0 if name in _POSITIVE | _NOT_NEGATIVE else -np.inf for name in _ARRAYS])
_FROM = np.array([0.0 if name in _NOT_NEGATIVE else np.inf for name in _ARRAYS])
_MAY_BE_INFINITE = np.array([name == "test_ohm" for name in _ARRAYS])


def steady_state(supply: Supply, near: SteadyState | None = None) -> SteadyState:
    """The steady state of one or many supplies.

    `near`: the state of much the same supplies, row by row (fits and what-ifs ask again and again); it only saves time. It is
    not looked at above 1024 rows.

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
    if count <= _BLOCK:
        return SteadyState(circuit, close(circuit, None if near is None else near.found))
    # Side by side with one that drops out all must be stepped with a load that follows the rail: keep those together.
    order = np.argsort(-headroom(circuit), kind="stable")
    blocks = [order[start : start + _BLOCK] for start in range(0, count, _BLOCK)]
    return SteadyState(circuit, beside([close(rows_of(circuit, rows)) for rows in blocks], np.argsort(order)))


def sketched(supply: Supply, near: SteadyState | None = None) -> SteadyState:
    """`steady_state` to some hundredths of a volt, several times as fast: to choose among supplies."""
    circuit = circuit_of(supply)
    return SteadyState(circuit, sketch(circuit, None if near is None else near.cycle))


def next_to(state: SteadyState, supply: Supply, index: NDArray[np.intp]) -> SteadyState:
    """`steady_state` of supplies a ten-thousandth off, each next to the row of `state` that `index` names: for slopes."""
    circuit = circuit_of(supply)
    return SteadyState(circuit, close_next_to(circuit, state.found, index))


def circuit_of(supply: Supply) -> Circuit:
    """The supply as rows (N,), checked."""
    diodes = [supply.board_diode] if supply.button_diode is None else [supply.board_diode, supply.button_diode]
    diodes = [diode.at(supply.temperature_c) for diode in diodes]
    given = [np.asarray(getattr(supply, name), dtype=np.float64) for name in _ARRAYS]
    shapes = [value.shape for value in given]
    shapes += [np.shape(getattr(diode, f.name)) for diode in diodes for f in fields(Diode)]
    shape = np.broadcast_shapes((1,), *shapes)
    if len(shape) != 1:
        raise ValueError(f"numbers of a supply must broadcast to (N,), not to {shape}")
    rows = np.empty((len(given), *shape))
    for row, value in zip(rows, given, strict=True):
        row[:] = value
    _check(rows)
    of = dict(zip(_ARRAYS, rows, strict=True))
    load_a = of["load_a"] + of["radio_a"] * np.minimum(of["radio_s"] / of["radio_every_s"], 1.0)
    load = Load(load_a, supply.regulator, of["rated_rail_v"], of["dropout_v"], of["test_a"], 1.0 / of["test_ohm"])
    return Circuit(
        Mains(of["open_circuit_v"], of["third"], of["third_phase"], of["fifth"], of["fifth_phase"]),
        2.0 * np.pi * of["mains_hz"],
        of["source_ohm"],
        of["leakage_h"],
        of["reservoir_f"],
        of["esr_ohm"],
        of["drop_shift_v"],
        Path.of(diodes, shape),
        load,
    )


def _check(rows: Array) -> None:
    """Numbers in the order of `_ARRAYS` (numbers, N)."""
    lowest, highest = rows.min(axis=1), rows.max(axis=1)
    good = (lowest > _ABOVE) | (lowest == _FROM)
    good &= (highest < np.inf) | _MAY_BE_INFINITE
    if not good.all():
        place = int(np.argmin(good))
        name = _ARRAYS[place]
        if not (np.isfinite(lowest[place]) and np.isfinite(highest[place])):
            raise ValueError(f"{name}: {rows[place]} is not finite")
        raise ValueError(f"{name}: {rows[place]} must {'be above zero' if name in _POSITIVE else 'not be negative'}")
