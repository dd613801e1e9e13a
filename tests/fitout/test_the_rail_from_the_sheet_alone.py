"""Promise: from the sheet alone come the rail, its ripple, the largest load, the hold-up and the shortest sure press, with a range."""

import doctest
import math
from types import ModuleType

import pytest

from service.supply import assumptions, regulator_rules, remark, transformer_rules
from service.supply.assumptions import TYPICAL, regulation
from service.supply.envelope import Condition, Envelope, State
from tests.fitout.conftest import Checked


@pytest.mark.parametrize("module", [assumptions, regulator_rules, remark, transformer_rules])
def test_the_examples_hold(module: ModuleType) -> None:
    tried = doctest.testmod(module)
    assert (tried.failed, tried.attempted > 0) == (0, True)


# ngspice 39.3, measured, for the typical transformer of the sheet of conftest: 14.904 V rms open, 4.484 Ohm, 0.05 Ohm ESR, two 1N4007
# (IS 3.872n, RS 16.6m, N 1.776), 25 C, 50 Hz: highest, lowest, mean rail [V], secondary rms and peak [A].
NGSPICE: list[tuple[State, float, float, float, float, float]] = [
    ("idle", 18.919, 18.774, 18.846, 0.0292, 0.137),
    ("test", 17.329, 16.355, 16.844, 0.1577, 0.541),
    ("sounding", 15.669, 13.315, 14.500, 0.3490, 1.024),
    ("pressed", 19.696, 19.549, 19.622, 0.0300, 0.143),
]


@pytest.mark.parametrize(("state", "highest", "lowest", "mean", "rms", "peak"), NGSPICE)
def test_the_rail_is_that_of_an_independent_simulator(
    checked: Checked, state: State, highest: float, lowest: float, mean: float, rms: float, peak: float
) -> None:
    check = checked()
    assert check.basis is not None
    assert float(check.basis.open_circuit_v[TYPICAL]) == pytest.approx(14.904, abs=0.001)
    assert float(check.basis.source_ohm[TYPICAL]) == pytest.approx(4.484, abs=0.001)
    found = _only(check.envelope, state)
    assert found.rail_max_v.value == pytest.approx(highest, abs=0.01)
    assert found.rail_min_v.value == pytest.approx(lowest, abs=0.03)
    assert found.rail_mean_v.value == pytest.approx(mean, abs=0.01)
    assert found.secondary_a.value == pytest.approx(rms, rel=0.01)
    assert found.peak_a.value == pytest.approx(peak, rel=0.01)


def test_a_twelve_volt_adapter_reads_twenty_volts_with_next_to_no_load(checked: Checked) -> None:
    # "12 V" AC adapters read some 20 V peak on a lightly loaded reservoir (common practice, no source)
    check = checked(idle_a=0.002, sound_a=None, wire_loop_m=0)
    rail = _only(check.envelope, "idle").rail_max_v
    assert rail.low < 20.0 < rail.high
    assert check.basis is not None
    assert float(check.basis.peak_v[TYPICAL]) == pytest.approx(20.5, abs=0.8)


def test_the_range_of_the_open_voltage_is_that_of_the_trade(checked: Checked) -> None:
    # 15 to 30 % above the label (common practice, no source); EN/IEC 61558-2-8 allows bell transformers 33 V for 24 V rated, 37.5 %
    check = checked(transformer_va=None)
    assert check.basis is not None
    assert check.basis.open_circuit_v / 12.0 == pytest.approx([1.15, 1.0 + regulation(10.0), 1.30])
    assert 24.0 * 1.30 <= 33.0


def test_a_measured_open_voltage_leaves_no_range(checked: Checked) -> None:
    rail = _only(checked(transformer_open_v=14.6).envelope, "sounding").rail_min_v
    assert rail.low == pytest.approx(rail.high, abs=1e-6)


def test_low_mains_lower_the_rail_and_fifty_hertz_is_the_worse(checked: Checked) -> None:
    envelope = checked(mains_hz=None).envelope
    assert envelope is not None
    by = {(one.mains, one.mains_hz): one.rail_min_v.value for one in envelope.conditions if one.state == "sounding"}
    assert by["low", 50.0] < by["nominal", 50.0] < by["high", 50.0]
    assert by["nominal", 50.0] < by["nominal", 60.0]


def test_pressing_lifts_the_rail_by_a_diode_drop(checked: Checked) -> None:
    envelope = checked().envelope
    rise = _only(envelope, "pressed").rail_max_v.value - _only(envelope, "idle").rail_max_v.value
    assert 0.6 < rise < 0.9  # 1N4007 at 0.1 A: 0.785 V (ngspice 39.3, measured)


def test_hold_up_is_charge_over_current(checked: Checked) -> None:
    # by hand, constant current: C (V_min - V_dropout) / I
    envelope = checked().envelope
    assert envelope is not None
    by_hand = 1000e-6 * (_only(envelope, "sounding").rail_min_v.value - 7.0) / 0.15
    assert envelope.hold_up_s["sounding"].value == pytest.approx(by_hand, rel=0.01)


@pytest.mark.parametrize("kind", ["linear", "switching"])
def test_the_largest_load_is_carried_and_a_little_more_is_not(checked: Checked, kind: str) -> None:
    most = checked(regulator=kind).envelope
    assert most is not None
    assert most.largest_load_a is not None
    for share, carried in ((0.98, True), (1.03, False)):
        found = checked(regulator=kind, sound_a=most.largest_load_a.value * share).envelope
        assert found is not None
        assert found.at("sounding", "low")[0].carried is carried


def test_a_switching_regulator_draws_more_as_the_rail_sags(checked: Checked) -> None:
    found = _only(checked(regulator="switching", rail_rated_v=19.0).envelope, "sounding")
    # constant power: at the mean rail the mean current is about 0.15 A x 19 V / rail
    assert found.load_a.value == pytest.approx(0.15 * 19.0 / found.rail_mean_v.value, rel=0.02)


def test_the_shortest_sure_press_is_longest_at_low_mains(checked: Checked) -> None:
    check = checked()
    assert check.envelope is not None
    assert check.basis is not None
    sure = check.envelope.shortest_sure_press_s
    assert sure is not None
    # T - w + 2 t_min by hand: V_th = 1.2 mA x 2204 Ohm + 1.8 V = 4.45 V of 21.08 V: w = 8.65 ms, T - w + 0.4 ms = 11.75 ms
    assert sure.value == pytest.approx(11.75e-3, abs=0.02e-3)
    assert sure.low < sure.value < sure.high < 13e-3


def test_a_sheet_without_a_diode_across_any_button_has_no_rail(checked: Checked) -> None:
    check = checked(doors={"garden": {"diode": False}})
    assert check.envelope is not None
    assert check.envelope.conditions == ()
    assert [remark.field for remark in check.remarks if remark.severity == "wrong"] == ["doors"]


def test_every_figure_is_a_number(checked: Checked) -> None:
    envelope = checked(mains_hz=None, idle_a=0.0).envelope
    assert envelope is not None
    for one in envelope.conditions:
        for span in (
            one.rail_max_v,
            one.rail_min_v,
            one.rail_mean_v,
            one.ripple_v,
            one.secondary_a,
            one.peak_a,
            one.reverse_v,
        ):
            assert math.isfinite(span.value)
            assert span.low <= span.value <= span.high


def _only(envelope: Envelope | None, state: State) -> Condition:
    assert envelope is not None
    return envelope.at(state, "nominal")[0]
