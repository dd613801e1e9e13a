"""Promise: on the curve of the limit the lowest rail just meets the drop-out, and ngspice finds so too."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from service.supply.boundary import limit_curve
from service.supply.rectifier import Supply, steady_state
from tests.rectifier.circuits import simulated

LINEAR = Supply(50.0, 14.4, 5.7, 1e-3, 0.12, dropout_v=7.0)
SWITCHING = Supply(50.0, 14.4, 5.7, 1e-3, 0.05, regulator="switching", rated_rail_v=14.0, dropout_v=6.0)
MOST_F = 1.2e-3


@pytest.mark.parametrize(
    "supply",
    [
        LINEAR,
        replace(LINEAR, load_a=0.03, mains_hz=60.0),
        replace(LINEAR, load_a=0.008),
        replace(LINEAR, open_circuit_v=10.5),
        replace(LINEAR, load_a=0.4, dropout_v=9.0),
        replace(LINEAR, open_circuit_v=22.0, drop_shift_v=-0.15),
    ],
)
def test_the_rail_meets_the_drop_out(supply: Supply) -> None:
    """At every point, also between those that were solved."""
    farad, ohm = limit_curve(supply, MOST_F)
    assert len(farad) > 40
    steady = steady_state(replace(supply, source_ohm=ohm, reservoir_f=farad, dropout_v=0.0))
    assert steady.rail_min_v == pytest.approx(supply.dropout_v, rel=0.01)


def test_ngspice_finds_the_same(tmp_path: Path) -> None:
    """Outside reference: ngspice (Debian) on the same circuits."""
    farad, ohm = limit_curve(LINEAR, MOST_F)
    places = np.linspace(0, len(farad) - 1, 6).astype(int)
    supplies = [replace(LINEAR, source_ohm=float(ohm[n]), reservoir_f=float(farad[n]), dropout_v=0.0) for n in places]
    assert simulated(supplies, tmp_path)["lowest"] == pytest.approx(7.0, rel=0.01)


@pytest.mark.parametrize(
    "supply",
    [
        SWITCHING,
        replace(SWITCHING, load_a=0.02, dropout_v=9.0),
        replace(SWITCHING, open_circuit_v=11.0, dropout_v=7.0),
    ],
)
def test_a_load_of_constant_power_is_carried_on_one_side_and_not_on_the_other(supply: Supply) -> None:
    """Where it gives way at once no rail can be met: so far as 4 % of both figures off, the two sides are told apart."""
    farad, ohm = limit_curve(supply, MOST_F)
    assert len(farad) > 40
    for factor, carried in ((0.96, True), (1.04, False)):
        many = replace(supply, source_ohm=factor * ohm, reservoir_f=farad / factor)
        assert np.all(steady_state(many).carried == carried)


def test_it_rises_from_a_reservoir_that_only_a_stiff_source_bears() -> None:
    farad, ohm = limit_curve(LINEAR, MOST_F)
    assert np.all(np.diff(farad) >= 0.0)
    assert np.all(np.diff(ohm) >= 0.0)
    assert farad[-1] == pytest.approx(MOST_F)
    assert ohm[0] < 0.5
    # between two charges 0.12 A over less than 20 ms, and over more than the 15 ms in which no crest comes, take what is spared
    crest_v = 2**0.5 * 14.4 - 1.5
    assert 0.12 * 0.015 / (crest_v - 7.0) < farad[0] < 0.12 * 0.020 / (crest_v - 7.0)


def test_where_only_larger_reservoirs_bear_the_load_it_begins_beyond() -> None:
    farad, ohm = limit_curve(LINEAR, 1e-4)
    assert farad[0] > 1e-4
    steady = steady_state(replace(LINEAR, source_ohm=ohm, reservoir_f=farad, dropout_v=0.0))
    assert steady.rail_min_v == pytest.approx(7.0, rel=0.01)


def test_where_the_crest_lies_below_the_drop_out_there_is_none() -> None:
    assert [len(one) for one in limit_curve(replace(LINEAR, open_circuit_v=5.0), MOST_F)] == [0, 0]
