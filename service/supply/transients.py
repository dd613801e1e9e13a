"""What the supply does between two steady states: sag while sounding, recovery, hold-up, the rise at a press.

Cycle by cycle with the same steps as the steady state. Refuses to know mains events and contact bounce.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from service.supply.circuit import Circuit
from service.supply.conduction import Cycle, step_cycle
from service.supply.rectifier import SteadyState, Supply, circuit_of, steady_state
from service.supply.stepping import steps_of
from service.supply.waveform import extremes

Array = NDArray[np.float64]

_STEPS = 32
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)


@dataclass(frozen=True, slots=True)
class Sag:
    """The rail after a step of the load, one value per mains cycle.

    Attributes
    ----------
    time_s : (K,) begin of each cycle after the step [s].
    rail_max_v, rail_min_v : (N, K) extremes of each cycle [V].
    step_rad : (N,) phase at which the load steps and from which cycles are counted: where conduction would begin [rad].
    before, settled : the steady states it comes from and goes to.
    """

    time_s: Array
    rail_max_v: Array
    rail_min_v: Array
    step_rad: Array
    before: SteadyState
    settled: SteadyState


def sag_while_sounding(supply: Supply, sound_a: ArrayLike, duration_s: float) -> Sag:
    """The rail while the load steps from `load_a` to `sound_a` [A], both through the regulator; the step comes as conduction begins.

    One mains frequency for all. Raises ValueError for several, for a duration of less than one cycle, or for a bad supply.

    >>> sag = sag_while_sounding(Supply(50.0, 10.0, 4.0, 470e-6, 0.005), 0.1, 1.0)
    >>> bool(abs(sag.rail_max_v[0, -1] - sag.settled.rail_max_v[0]) < 0.002), len(sag.time_s)
    (True, 50)
    """
    return _step(supply, replace(supply, load_a=np.asarray(sound_a, dtype=np.float64)), duration_s)


def recovery_s(supply: Supply, sound_a: ArrayLike, within_v: float = 0.05, longest_s: float = 2.0) -> Array:
    """Time from the end of sounding until the cycle's maximum stays within `within_v` of its idle value (N,) [s].

    inf where `longest_s` does not suffice. One mains frequency for all.
    """
    sounding = replace(supply, load_a=np.asarray(sound_a, dtype=np.float64))
    rise = _step(sounding, supply, longest_s)
    away = np.abs(rise.rail_max_v - rise.settled.rail_max_v[:, np.newaxis]) > within_v
    last = np.where(np.any(away, axis=1), away.shape[1] - np.argmax(away[:, ::-1], axis=1), 0)
    return np.where(last < away.shape[1], last / np.asarray(supply.mains_hz, dtype=np.float64), np.inf)


def hold_up_s(supply: Supply, state: SteadyState | None = None) -> Array:
    """Time the reservoir feeds the load after the mains vanishes, at the worst moment (N,) [s].

    From the cycle's lowest rail down to `dropout_v`; 0 where it is below already, inf where nothing is drawn.
    By hand, constant load: C·(Vmin − Vdropout)/I.

    >>> supply = Supply(50.0, 12.0, 4.0, 1000e-6, 0.010, dropout_v=7.0)
    >>> state = steady_state(supply)
    >>> round(float(hold_up_s(supply)[0]), 5) == round(float(state.rail_min_v[0] - 7.0) * 1000e-6 / 0.010, 5)
    True
    """
    state = steady_state(supply) if state is None else state
    circuit = circuit_of(supply)
    return _fall_s(circuit, state.rail_min_v, np.minimum(circuit.load.dropout_v, state.rail_min_v))


def rise_at_press_v(supply: Supply) -> Array:
    """How much the cycle's maximum is higher with the button pressed than not (N,) [V]: about a diode drop."""
    return np.asarray(steady_state(supply.pressed()).rail_max_v - steady_state(supply).rail_max_v, dtype=np.float64)


def rise_hold_s(supply: Supply) -> Array:
    """How long after the release the reservoir keeps the rail above the standing maximum (N,) [s]: about 0.7·C/I."""
    high, low = steady_state(supply.pressed()).rail_max_v, steady_state(supply).rail_max_v
    return _fall_s(circuit_of(supply), high, low)


def _fall_s(circuit: Circuit, high_v: Array, low_v: Array) -> Array:
    """Time in which the load alone takes the rail from high to low: the integral of C dv / i(v)."""
    half = 0.5 * (high_v - low_v)
    rails = 0.5 * (high_v + low_v) + _NODES[:, np.newaxis] * half
    draw, slope = circuit.load.current(rails)
    with np.errstate(divide="ignore", invalid="ignore"):
        slowness = circuit.farad * (1.0 + circuit.esr_ohm * slope) / draw
        time_s = half * np.sum(_WEIGHTS[:, np.newaxis] * slowness, axis=0)
    return np.where(half > 0.0, time_s, 0.0)


def _step(before: Supply, after: Supply, duration_s: float) -> Sag:
    circuit = circuit_of(after)
    frequencies = np.unique(circuit.radians_per_s)
    if len(frequencies) != 1:
        raise ValueError(f"one mains frequency for all, not {len(frequencies)}")
    period_s = 2.0 * np.pi / float(frequencies[0])
    cycles = int(duration_s / period_s + 1e-9)
    if cycles < 1:
        raise ValueError(f"{duration_s} s is less than one mains cycle of {period_s:.4f} s")
    old, new = steady_state(before), steady_state(after)
    count = len(new.closed)
    old_cycle = old.cycle
    rail_v = np.broadcast_to(old_cycle.next_rail_v, (count,))
    begin_rad = np.broadcast_to(old_cycle.begin_rad, (count,))
    step_rad = begin_rad
    width_rad = np.broadcast_to(old_cycle.conduction_s, (count,)) * circuit.radians_per_s
    highest, corner = np.empty((count, cycles + 1)), np.empty((count, cycles + 1))
    for k in range(cycles + 1):
        for _ in range(3):
            cycle = step_cycle(circuit, begin_rad, rail_v, width_rad, steps_of(_STEPS))
            width_rad = np.clip(width_rad * cycle.end_share * (1.0 + 1.5 / _STEPS), 0.3, 1.9 * np.pi)
        highest[:, k], corner[:, k] = extremes(circuit, cycle)
        threshold_v = circuit.threshold_v(circuit.growth_per_s(begin_rad, -cycle.net_a[0]))
        begin_rad, rail_v = _next_begin(circuit, cycle, threshold_v)
    time_s = np.asarray(np.arange(cycles) * period_s, dtype=np.float64)
    lowest = np.minimum(corner[:, :-1], corner[:, 1:])  # a cycle ends in the corner where the next begins
    return Sag(time_s, highest[:, :-1], lowest, step_rad, old, new)


def _next_begin(circuit: Circuit, cycle: Cycle, threshold_v: Array) -> tuple[Array, Array]:
    """Where the falling rail meets the rising source in the next cycle; where it stays above the crest: at the crest."""
    crest_rad, crest_v = circuit.mains.crest()
    per_rad = cycle.discharge_slope[-1] / circuit.radians_per_s
    phase = cycle.begin_rad
    for _ in range(6):
        rail_v = cycle.next_rail_v + per_rad * (phase - cycle.begin_rad)
        phase = circuit.mains.rises_through(np.minimum(rail_v + threshold_v, crest_v), phase)
        phase = np.minimum(phase, crest_rad)
    return phase, cycle.next_rail_v + per_rad * (phase - cycle.begin_rad)
