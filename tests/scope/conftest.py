"""Captures made with ngspice, written as instruments would write them."""

from dataclasses import dataclass

import numpy as np
import pytest

from service.scope.naming import Point
from tests.scope.circuits import STEP_S, Wired, drawn, simulated
from tests.scope.dialects import DIALECTS

CIRCUITS = 8
RATES_HZ = (50_000.0, 25_000.0, 10_000.0)


@dataclass(frozen=True)
class Taken:
    """One capture and the truth."""

    wired: Wired
    point: Point
    dialect: str
    data: bytes
    rms_v: float
    height_v: float


@pytest.fixture(scope="session")
def taken(tmp_path_factory: pytest.TempPathFactory) -> list[Taken]:
    """Every point of every circuit, at rest and pressed; eight bits and some noise, as an instrument has."""
    random = np.random.default_rng(17)
    wired = drawn(CIRCUITS, 11)
    found = []
    names = list(DIALECTS)
    for one, (at, points) in zip(wired, simulated(wired, tmp_path_factory.mktemp("captures")), strict=True):
        for point, volts in points.items():
            every = round(1.0 / RATES_HZ[len(found) % 3] / STEP_S)
            length = round(random.uniform(0.06, 0.2) / STEP_S)
            begin = int(random.integers(0, len(at) - length))
            part = slice(begin, begin + length, every)
            screen = 1.25 * max(float(np.abs(volts).max()), 1.0)
            bit = 2.0 * screen / 256
            samples = np.round((volts[part] + random.normal(0.0, 0.4 * bit, len(volts[part]))) / bit) * bit
            name = names[len(found) % len(names)]
            moments = at[part] - at[part][0] - 0.01
            whole = round(np.floor(KEPT_CYCLES) / one.mains_hz / STEP_S)
            rms = float(np.sqrt(np.mean(volts[:whole] ** 2)))
            found.append(
                Taken(one, point, name, DIALECTS[name](moments, samples, every * STEP_S), rms, float(np.ptp(volts)))
            )
    return found


KEPT_CYCLES = 15.0
