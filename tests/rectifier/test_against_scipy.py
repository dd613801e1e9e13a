"""Promise: a general integrator of differential equations comes to the same cycle, also where the load follows the rail.

scipy's `solve_ivp` (Radau) and `brentq` are the second opinion; they share no code with the rectifier.
"""

from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from service.supply.rectifier import Supply, steady_state

THERMAL_V = 1.380649e-23 * (27.0 + 273.15) / 1.602176634e-19


def settled(
    supply: Supply, draw: Callable[[float], float], cycles: int, start_v: float
) -> tuple[np.ndarray, np.ndarray]:
    """Phases and rail over the last of some cycles; no ESR, no inductance, two 1N4007."""
    omega = 2.0 * np.pi * float(supply.mains_hz)
    amplitude = float(supply.open_circuit_v) * np.sqrt(2.0)
    ohm = float(supply.source_ohm) + 2.0 * 16.6e-3
    scaled = 2.0 * 1.776 * THERMAL_V

    def slope(time: float, rail: np.ndarray) -> list[float]:
        over = amplitude * np.sin(omega * time) - float(rail[0])
        current = 0.0
        if over > 0.0:  # K·i + a·ln(1 + i/Is) = over, in x = ln(1 + i/Is)
            x = brentq(
                lambda x: ohm * 3.872e-9 * np.expm1(x) + scaled * x - over, 0.0, over / scaled + 1e-12, xtol=1e-14
            )
            current = 3.872e-9 * np.expm1(x)
        return [(current - draw(float(rail[0]))) / float(supply.reservoir_f)]

    period = 1.0 / float(supply.mains_hz)
    times = np.linspace(0.0, period, 401)
    rail = np.array([start_v])
    for _ in range(cycles):
        found = solve_ivp(
            slope, (0.0, period), rail, method="Radau", t_eval=times, rtol=1e-7, atol=1e-8, max_step=period / 100
        )
        rail = found.y[:, -1]
    return omega * times, found.y[0]


@pytest.mark.parametrize(
    ("name", "supply", "draw"),
    [
        ("constant current", Supply(50.0, 14.0, 6.0, 220e-6, 0.08), lambda v: 0.08),
        (
            "constant power",
            Supply(60.0, 12.0, 3.0, 330e-6, 0.12, regulator="switching", rated_rail_v=12.0, dropout_v=5.0),
            lambda v: 0.12 * 12.0 / v,
        ),
        (
            "constant power and a resistor",
            Supply(50.0, 12.0, 2.0, 470e-6, 0.05, regulator="switching", rated_rail_v=10.0, test_ohm=220.0),
            lambda v: 0.5 / v + v / 220.0,
        ),
    ],
)
def test_the_same_rail_at_every_phase(name: str, supply: Supply, draw: Callable[[float], float]) -> None:
    supply = Supply(**{f: getattr(supply, f) for f in supply.__slots__} | {"esr_ohm": 0.0, "temperature_c": 27.0})
    state = steady_state(supply)
    assert state.carried[0]
    phases, rail = settled(supply, draw, 8, float(state.rail_at(np.array([0.0]))[0, 0]))
    ripple = float(np.ptp(rail))
    assert ripple > 1.0, name
    assert np.max(np.abs(state.rail_at(phases)[0] - rail)) < 0.0015 * ripple
    assert state.rail_max_v[0] == pytest.approx(float(np.max(rail)), abs=0.001 * ripple)
    assert state.rail_mean_v[0] == pytest.approx(float(np.mean(rail[:-1])), abs=0.001 * ripple)
