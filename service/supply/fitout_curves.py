"""The predicted rail over two mains cycles, for drawing. Knows no drawing."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.supply.assumptions import TYPICAL
from service.supply.detector import window_s
from service.supply.envelope import LEVELS, Mains, State, detector_of, supply_of
from service.supply.fitout_rules import Check
from service.supply.rectifier import steady_state

CYCLES = 2
POINTS = 161


@dataclass(frozen=True, slots=True)
class Curve:
    """The rail of the typical transformer in one state. `times_s` (P,) from a rising zero crossing; `volts` by mains, each (P,)."""

    state: State
    mains_hz: float
    times_s: NDArray[np.float64]
    volts: dict[Mains, NDArray[np.float64]]


@np.errstate(all="ignore")  # as in `fitout_rules.check`
def curves(check: Check) -> tuple[Curve, ...]:
    """One per state, at the sheet's frequency (50 Hz where it names none); empty where the sheet allows no rail."""
    if check.envelope is None or check.basis is None:
        return ()
    hertz = check.basis.mains_hz[0]
    times = np.linspace(0.0, CYCLES / hertz, POINTS)
    found = []
    for state in check.envelope.states():
        steady = steady_state(supply_of(check.sheet, check.basis, state, [(mains, hertz) for mains in LEVELS]))
        rails = steady.rail_at(2.0 * np.pi * hertz * times)
        volts = {mains: rails[3 * number + TYPICAL] for number, mains in enumerate(LEVELS)}
        found.append(Curve(state, hertz, times, volts))
    return tuple(found)


def pulses(check: Check) -> tuple[tuple[float, float], ...]:
    """Begin and end of what the detector sees of a held button within the curves, at low mains [s]; empty where it sees nothing."""
    fitted = detector_of(check.sheet, check.basis) if check.basis else None
    if fitted is None or check.basis is None:
        return ()
    hertz = check.basis.mains_hz[0]
    window = float(window_s(fitted, LEVELS["low"] * check.basis.peak_v, hertz)[TYPICAL])
    middles = [(cycle + 0.75) / hertz for cycle in range(CYCLES)]  # the crest of the half-cycle that comes back
    return tuple((middle - window / 2.0, middle + window / 2.0) for middle in middles) if window > 0.0 else ()
