"""The circuits of the calibration obey physics: they agree with an independent circuit simulator and with closed forms."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from deploy.calibration import conduction, houses, parts
from deploy.calibration.circuit import KEPT, STEP_S, Bench, Change, Run

# ngspice 39.3, measured: V rms, Hz, F, A, mean V, peak-to-peak V; 1 ohm, one diode IS 3.872 nA, RS 16.6 mohm, N 1.776
NGSPICE = (
    (16.0, 60.0, 470e-6, 0.020, 21.263, 0.655),
    (16.0, 60.0, 376e-6, 0.020, 21.227, 0.818),
    (16.0, 50.0, 470e-6, 0.020, 21.235, 0.785),
    (16.0, 60.0, 470e-6, 0.005, 21.650, 0.167),
    (24.0, 60.0, 470e-6, 0.020, 32.509, 0.663),
    (8.0, 50.0, 1000e-6, 0.020, 10.101, 0.361),
)


def plain(
    rms_v: float, hz: float, farad: float, ampere: float, **other: float | str
) -> tuple[parts.House, parts.Circuit]:
    """A sine, one ohm, one diode, a reservoir, a constant current."""
    house, circuit = houses.draw_house(np.random.default_rng(1), "current")
    house = replace(
        house,
        off_v=0.0,
        on_v=0.0,
        dropout_v=1.0,
        divider_ohm=1e9,
        nominal_hz=hz,
        detector_ohm=1200.0,
        detector_error=(1.0, 1.0),
    )
    circuit = replace(
        circuit, mains_hz=hz, level=1.0, harmonics=(), emf_v=rms_v, core_v=rms_v, transformer_ohm=1.0, leakage_h=0.0, wire_ohm=0.0,
        joint_ohm=0.0, button="shorted", board=parts.SILICON[0], board_c=27.0, esr_ohm=1e-6, reservoir_f=farad, idle=ampere, sound=ampere,
    )  # fmt: skip
    return house, replace(circuit, **other)  # type: ignore[arg-type]


def run(columns: list[tuple[parts.House, parts.Circuit]], changes: list[Change], end_s: float) -> Run:
    bench = Bench(columns, np.zeros(len(columns)), np.zeros((2, len(columns))))
    return bench.run(changes, end_s)


def last_cycles(rail: NDArray[np.float32], hz: float, cycles: int = 3) -> NDArray[np.float32]:
    return rail[-round(cycles / hz / STEP_S / KEPT) - 1 : -1]


@pytest.fixture(scope="module")
def standing() -> NDArray[np.float32]:
    return run([plain(*case[:4]) for case in NGSPICE], [], 0.8).rail


@pytest.mark.parametrize("column", range(len(NGSPICE)))
def test_the_standing_rail_agrees_with_ngspice(standing: NDArray[np.float32], column: int) -> None:
    _, hz, _, _, mean_v, ripple_v = NGSPICE[column]
    rail = last_cycles(standing[:, column], hz)
    assert rail.mean() == pytest.approx(mean_v, rel=1e-3)
    assert rail.max() - rail.min() == pytest.approx(ripple_v, rel=0.01)


def test_a_press_raises_the_rail_by_a_diode_drop_and_brings_one_pulse_a_cycle() -> None:
    """The drop of the ngspice diode is 0.67 to 0.91 V between 10 mA and 1 A (its model equation)."""
    columns = [plain(16.0, 50.0, 470e-6, 0.010, button="normal")]
    out = run(columns, [Change(0.5, 0, "front", 1.0), Change(1.0, 0, "front", 0.0)], 1.1)
    rail = out.rail[:, 0]
    before, held = (rail[int(at / STEP_S / KEPT) :][:400].max() for at in (0.4, 0.95))
    assert 0.6 < held - before < 0.95
    rises = [at for at, on in out.edges["front"][0] if on]
    assert all(0.5 <= at <= 1.0 for at in rises)
    assert len(rises) in (24, 25, 26)
    assert np.diff(rises) == pytest.approx(0.020, abs=2e-5)


def test_the_pulse_is_as_wide_as_the_arc_above_the_threshold() -> None:
    """Closed form: width = T/pi acos(threshold / peak); threshold = on current x ohms + drops of LED and diode."""
    house, circuit = plain(16.0, 50.0, 470e-6, 0.010, button="normal")
    house = replace(
        house,
        detector_gain=500.0,
        detector_cap=1e9,
        detector_high=1.0,
        detector_low=0.999,
        detector_on_s=0.0,
        detector_off_s=0.0,
    )
    out = run([(house, circuit)], [Change(0.2, 0, "front", 1.0)], 0.6)
    edges = [at for at, _ in out.edges["front"][0]][2:12]
    width = np.mean(np.array(edges[1::2]) - np.array(edges[0::2]))
    drop_v = house.detector_drop_v - 0.0032 * 2.0 + 0.097 * np.log(2.0)
    threshold_v = 0.002 * (house.detector_ohm + 1.0 + circuit.contact_ohm) + drop_v
    assert width == pytest.approx(0.020 / np.pi * np.arccos(threshold_v / (16.0 * 2**0.5)), abs=3e-5)


def test_without_its_diode_the_button_supplies_only_while_pressed() -> None:
    columns = [plain(16.0, 50.0, 470e-6, 0.010, button=state) for state in ("open", "reversed")]
    out = run(columns, [Change(0.3, j, "front", 1.0) for j in (0, 1)], 0.8)
    assert out.rail[int(0.29 / STEP_S / KEPT)].max() < 0.5
    assert last_cycles(out.rail, 50.0).min() > 20.0
    assert not [at for at, _ in out.edges["front"][0] if at < 0.3]
    assert len([at for at, on in out.edges["front"][1] if on and at < 0.3]) in (14, 15, 16)


def test_a_switching_regulator_draws_constant_power_until_it_locks_out() -> None:
    house, circuit = plain(16.0, 50.0, 470e-6, 0.0)
    house = replace(house, linear=False, off_v=6.0, on_v=6.5, quiescent_a=0.0, soft_s=0.001)
    bench = Bench([(house, replace(circuit, idle=0.5))], np.zeros(1), np.zeros((2, 1)))
    out = bench.run([Change(at, 0, "mark", 0.0) for at in (0.4, 0.6)] + [Change(0.6, 0, "level", 0.0)], 0.9)
    mean_a = (out.marks[(0, 0.6)] - out.marks[(0, 0.4)]) / 0.2
    rail = out.rail[int(0.4 / STEP_S / KEPT) : int(0.6 / STEP_S / KEPT), 0]
    assert mean_a * rail.mean() == pytest.approx(0.5, rel=0.002)
    # without mains V squared falls in a straight line: t = C (V1^2 - V2^2) / 2P
    off_s = next(at for at, on in out.power[0] if not on)
    begin = int(0.601 / STEP_S / KEPT)
    assert off_s - 0.601 == pytest.approx(470e-6 * (out.rail[begin, 0] ** 2 - 36.0) / 2 / 0.5, rel=0.01)


def test_ohms_across_the_contact_share_the_current_with_the_diode_as_kirchhoff_has_it() -> None:
    """At a steady voltage, the current found must satisfy both branch equations (Shockley and Ohm)."""
    house, circuit = plain(16.0, 50.0, 470e-6, 0.01, button="normal", contact_ohm=20.0)
    bench = Bench([(house, circuit)], np.zeros(1), np.zeros((2, 1)))
    for drive_v in (0.5, 1.0, 1.5, 3.0):
        drive = np.array([drive_v])
        (current,) = conduction.both_carry(bench.shapes["closed"], bench.board, bench.across, drive, np.array([0.0]))
        ln_board, board_v, _ = bench.board[:, 0]
        ln_across, across_v, _ = bench.across[:, 0]
        across = drive_v - bench.shapes["closed"][0, 0] * current - board_v * np.log1p(current / np.exp(ln_board))
        assert across / 20.0 + np.exp(ln_across) * np.expm1(across / across_v) == pytest.approx(
            current, rel=1e-4, abs=1e-9
        )
