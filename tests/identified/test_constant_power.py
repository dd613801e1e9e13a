"""Promise: behind a switching regulator, whose current grows as the rail sags, the same is identified.

The outside reference is scipy's solve_ivp on the circuit's differential equation, written down here anew: source, resistance and two
diodes in series (Shockley's law), reservoir with its resistance, constant power.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.special import wrightomega

from service.supply import folding
from service.supply.identification import identify
from service.supply.unknowns import Chime, Kind
from tests.identified.rails import Converter

IS_A, NVT_V = 3.872e-9, 1.776 * 0.025865  # 1N4007 as in the check values (measured with ngspice 39.3), 27 C
STEP_S = 2e-5
DAMPING_OHM = 2000.0


@dataclass(frozen=True)
class Switching:
    hertz: float = 49.98
    open_v: float = 17.0
    ohm: float = 5.0
    coil_h: float = 1.6e-3
    farad: float = 560e-6
    idle_w: float = 0.10
    sound_w: float = 1.1
    test_a: float = 0.05
    rated_v: float = 18.0


def rail(house: Switching, power_w: float, test_a: float) -> np.ndarray:
    """Every 20 us over twelve cycles, settled. State: rail [V] and current through the coil, beside which lies `DAMPING_OHM` [A].

    Source, its resistance, coil, diodes and rail in a row: A i + B ln(1 + i / Is) = U has the closed form used here.
    """
    omega, peak = 2.0 * np.pi * house.hertz, np.sqrt(2.0) * house.open_v
    a, b = DAMPING_OHM + house.ohm, 2.0 * NVT_V
    offset = a * IS_A / b + np.log(a * IS_A / b)

    def change(at: float, state: np.ndarray) -> list[float]:
        volts, coil = state
        over = peak * np.sin(omega * at) - volts
        current = b / a * float(wrightomega((DAMPING_OHM * coil + over) / b + offset)) - IS_A
        across_coil = DAMPING_OHM * (current - coil)
        return [(current - power_w / volts - test_a) / house.farad, across_coil / house.coil_h]

    end = 38.0 / house.hertz
    wanted = np.arange(26.0 / house.hertz, end, STEP_S)
    found = solve_ivp(change, (0.0, end), [peak - 2.5, 0.0], "LSODA", wanted, rtol=1e-6, atol=1e-8, max_step=5e-4)
    assert found.success, found.message
    result: np.ndarray = found.y[0]
    return result


@pytest.fixture(scope="module")
def runs() -> dict[Kind, folding.Run]:
    house = Switching()
    rails: dict[Kind, np.ndarray] = {
        "idle": rail(house, house.idle_w, 0.0),
        "test": rail(house, house.idle_w, house.test_a),
        "sound": rail(house, house.sound_w, 0.0),
    }
    return Converter().runs(rails, house.hertz, np.random.default_rng(3))


def test_a_constant_power_load_is_identified(runs: dict[Kind, folding.Run]) -> None:
    house = Switching()
    chime = Chime(50.0, "switching", house.rated_v, test_a=house.test_a)
    fit = identify(runs, chime)
    assert fit is not None
    assert fit.value("c") == pytest.approx(house.farad, rel=0.02)
    assert fit.value("r") == pytest.approx(house.ohm, rel=0.08)
    assert fit.value("v") == pytest.approx(house.open_v, rel=0.02)
    # by the definition of the sheet: the current at the rated rail
    assert fit.value("idle") * house.rated_v == pytest.approx(house.idle_w, rel=0.03)
    assert fit.value("sound") * house.rated_v == pytest.approx(house.sound_w, rel=0.03)
    assert fit.mains_hz == pytest.approx(house.hertz, abs=0.020)


def test_taken_for_a_constant_current_the_reservoir_would_be_off(runs: dict[Kind, folding.Run]) -> None:
    """That the law of the load counts at all: the sag under the test load makes the idle current grow, or it does not."""
    house = Switching()
    right = identify(runs, Chime(50.0, "switching", house.rated_v, test_a=house.test_a))
    wrong = identify(runs, Chime(50.0, "linear", test_a=house.test_a))
    assert right is not None
    assert wrong is not None
    assert abs(wrong.value("c") / house.farad - 1.0) > 2.0 * abs(right.value("c") / house.farad - 1.0)


def test_the_square_of_the_rail_falls_in_a_straight_line(runs: dict[Kind, folding.Run]) -> None:
    """d(v²)/dt = −2 P / C while nothing recharges: closed form."""
    house = Switching()
    slope, _ = folding.discharge(runs["sound"], house.hertz, power=2) or (0.0, 0.0)
    assert -slope == pytest.approx(2.0 * house.sound_w / house.farad, rel=0.02)
