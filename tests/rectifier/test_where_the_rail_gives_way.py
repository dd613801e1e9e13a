"""Promise: on the curve of largest source resistances the lowest rail just meets the drop-out, and ngspice finds so too."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from service.supply.boundary import MOST_OHM, largest_source_ohm
from service.supply.rectifier import Supply, steady_state
from tests.rectifier.circuits import simulated

LINEAR = Supply(50.0, 14.4, 5.7, 1e-3, 0.12, dropout_v=7.0)
SWITCHING = Supply(50.0, 14.4, 5.7, 1e-3, 0.05, regulator="switching", rated_rail_v=14.0, dropout_v=6.0)
RESERVOIRS = np.geomspace(60e-6, 2e-3, 9)


@pytest.mark.parametrize(
    "supply", [LINEAR, replace(LINEAR, load_a=0.03, mains_hz=60.0), replace(LINEAR, open_circuit_v=10.5)]
)
def test_the_rail_meets_the_drop_out(supply: Supply) -> None:
    found = largest_source_ohm(supply, RESERVOIRS)
    some = np.isfinite(found) & (found < MOST_OHM)
    assert some.sum() >= 4
    steady = steady_state(replace(supply, source_ohm=found[some], reservoir_f=RESERVOIRS[some], dropout_v=0.0))
    assert steady.rail_min_v == pytest.approx(supply.dropout_v, rel=0.01)


def test_ngspice_finds_the_same(tmp_path: Path) -> None:
    """Outside reference: ngspice (Debian) on the same circuits."""
    found = largest_source_ohm(LINEAR, RESERVOIRS)
    places = np.flatnonzero(np.isfinite(found))[::2]
    supplies = [
        replace(LINEAR, source_ohm=float(found[n]), reservoir_f=float(RESERVOIRS[n]), dropout_v=0.0) for n in places
    ]
    assert simulated(supplies, tmp_path)["lowest"] == pytest.approx(7.0, rel=0.01)


def test_a_load_of_constant_power_is_carried_just_below_and_not_above() -> None:
    found = largest_source_ohm(SWITCHING, RESERVOIRS)
    some = np.isfinite(found) & (found < MOST_OHM)
    assert some.sum() >= 4
    for factor, carried in ((0.98, True), (1.02, False)):
        many = replace(SWITCHING, source_ohm=factor * found[some], reservoir_f=RESERVOIRS[some])
        assert np.all(steady_state(many).carried == carried)


def test_a_larger_reservoir_bears_more_and_one_that_is_too_small_nothing() -> None:
    found = largest_source_ohm(LINEAR, RESERVOIRS)
    assert np.isnan(found[0])  # 60 uF at 0.12 A falls by 0.12 A * 20 ms / 60 uF = 40 V in a cycle: more than there is
    some = found[np.isfinite(found)]
    assert np.all(np.diff(some) > 0.0)
    nothing = largest_source_ohm(replace(LINEAR, load_a=1e-4, dropout_v=5.0), RESERVOIRS[-3:])
    assert np.all(nothing == MOST_OHM)
