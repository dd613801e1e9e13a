"""Promise: frequency and fall of a burst, on waveforms whose answer is known in closed form."""

import numpy as np
import pytest

from service.supply import folding
from service.supply.folding import Run


def sawtooth(
    hertz: float, rate_hz: float, cycles: float, fall_v_per_s: float = 60.0, noise_v: float = 0.0, seed: int = 1
) -> Run:
    """A fifth of each cycle a half sine up, then a straight line down: 20 V at the top."""
    at = 0.003 + np.arange(int(cycles / hertz * rate_hz)) / rate_hz
    phase = np.mod(at * hertz, 1.0)
    fallen = fall_v_per_s * 0.8 / hertz
    up = 20.0 - fallen * (1.0 + np.cos(np.pi * phase / 0.2)) / 2.0
    down = 20.0 - fall_v_per_s * (phase - 0.2) / hertz
    noise = np.random.default_rng(seed).normal(0.0, noise_v, len(at)) if noise_v else 0.0
    return Run(at, np.where(phase < 0.2, up, down) + noise)


@pytest.mark.parametrize("hertz", [49.5, 49.87, 50.0, 50.31, 50.5, 59.7, 60.0, 60.4])
def test_the_frequency_within_what_grids_do(hertz: float) -> None:
    """EN 50160: 49.5 to 50.5 Hz for 99.5 % of a year (from a secondary page)."""
    nominal = 50.0 if hertz < 55.0 else 60.0
    found, error = folding.mains_hz([sawtooth(hertz, 2000.0, 10.0, noise_v=0.01)], nominal)
    assert found == pytest.approx(hertz, abs=0.020)
    assert error < 0.02


def test_the_stated_error_of_the_frequency_is_its_scatter() -> None:
    found = [folding.mains_hz([sawtooth(50.1, 2000.0, 10.0, noise_v=0.03, seed=seed)], 50.0) for seed in range(24)]
    scatter = float(np.std([hertz for hertz, _ in found]))
    stated = float(np.median([error for _, error in found]))
    assert 0.4 < stated / scatter < 2.5


def test_two_bursts_each_have_their_own_phase() -> None:
    first, second = sawtooth(49.9, 1000.0, 6.0), sawtooth(49.9, 1000.0, 6.0, fall_v_per_s=200.0)
    later = Run(second.at_s + 1.2345, second.volts)
    assert folding.mains_hz([first, later], 50.0)[0] == pytest.approx(49.9, abs=0.020)


def test_too_short_a_burst_is_refused() -> None:
    with pytest.raises(ValueError, match="three cycles"):
        folding.mains_hz([sawtooth(50.0, 2000.0, 2.5)], 50.0)


@pytest.mark.parametrize("fall", [8.0, 60.0, 400.0])
def test_the_fall_is_the_slope_of_the_line(fall: float) -> None:
    slope, middle = folding.discharge(sawtooth(50.0, 2000.0, 10.0, fall, noise_v=0.003), 50.0) or (0.0, 0.0)
    assert slope == pytest.approx(-fall, rel=0.02, abs=0.5)
    assert middle == pytest.approx(20.0 - fall * 0.4 / 50.0, abs=0.2 * fall / 50.0)


def test_a_packet_in_one_cycle_does_not_count() -> None:
    run = sawtooth(50.0, 2000.0, 10.0)
    pulled = run.volts - np.where((run.at_s > 0.085) & (run.at_s < 0.1), 0.4, 0.0)
    clean, spoilt = folding.discharge(run, 50.0), folding.discharge(Run(run.at_s, pulled), 50.0)
    assert clean is not None
    assert spoilt is not None
    assert spoilt[0] == pytest.approx(clean[0], rel=0.01)


def test_no_four_samples_in_a_discharge_no_fall() -> None:
    assert folding.discharge(sawtooth(50.0, 200.0, 10.0), 50.0) is None
