"""Promise: the name on the box of the wire gives its resistance."""

import doctest

import pytest

from service.errors import SettingError
from service.supply import wires
from service.supply.wires import gauge_diameter_m, loop_ohm, ohm_per_m


def test_the_examples_hold() -> None:
    tried = doctest.testmod(wires)
    assert (tried.failed, tried.attempted > 1) == (0, True)


@pytest.mark.parametrize(
    ("wire", "temperature_c", "milliohm_per_m", "within"),
    [
        # ASTM B258 formula and the resistivity of annealed copper (from a secondary page)
        ("AWG 18", 20.0, 20.95, 0.001),
        ("AWG 20", 20.0, 33.31, 0.001),
        ("20 AWG", 20.0, 33.31, 0.001),
        ("AWG 22", 20.0, 52.96, 0.001),
        # NEC chapter 9 table 8, uncoated copper (from a secondary page)
        ("AWG 18", 75.0, 25.5, 0.003),
        # IEC 60228, the largest permitted (from a secondary page)
        ("0.5 mm2", 20.0, 36.0, 0.0),
        # a diameter of 0.8 mm lies beside AWG 20 (0.812 mm): closed form, 17.241 / (pi/4 0.8^2)
        ("0.8 mm", 20.0, 34.30, 0.001),
    ],
)
def test_a_metre_of_wire(wire: str, temperature_c: float, milliohm_per_m: float, within: float) -> None:
    assert 1000.0 * ohm_per_m(wire, temperature_c) == pytest.approx(milliohm_per_m, rel=within or 1e-9)


def test_a_gauge_is_a_diameter() -> None:
    # ASTM B258 (from memory): AWG 36 is 5 mils, 4/0 is 460 mils, and 39 equal ratios lie between; AWG 18 is 40.3 mils
    assert gauge_diameter_m(36) == pytest.approx(5 * 25.4e-6)
    assert gauge_diameter_m(-3) == pytest.approx(460 * 25.4e-6)
    assert gauge_diameter_m(18) == pytest.approx(40.3 * 25.4e-6, rel=1e-3)


def test_a_loop_is_twice_its_run() -> None:
    # 15 m of run are 30 m of copper: 2 x 15 x 36.0 mOhm/m (IEC 60228, from a secondary page)
    assert loop_ohm("0.5 mm2", 30.0) == pytest.approx(2 * 15 * 36.0e-3)


def test_no_conductor_that_the_standard_lists_has_less_resistance_than_pure_copper_of_its_size() -> None:
    for square_mm, most in wires.IEC_60228_OHM_PER_M.items():
        assert most > wires.COPPER_OHM_M / (square_mm * 1e-6)


@pytest.mark.parametrize("wire", ["bell wire", "AWG", "0.5", "0 mm2", "AWG 20 twisted", ""])
def test_another_name_is_refused_in_a_sentence(wire: str) -> None:
    with pytest.raises(SettingError, match="wire"):
        ohm_per_m(wire)
