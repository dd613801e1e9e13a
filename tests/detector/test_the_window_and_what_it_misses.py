"""Promise: from voltage and detector follow the window of each cycle, the LED's currents, and the presses that no pulse can show."""

import doctest

import numpy as np
import pytest

from service.supply import detector as room
from service.supply.detector import (
    Detector,
    chance_of_seeing,
    largest_gap_s,
    led_mean_a,
    led_peak_a,
    resistor_w,
    reverse_v,
    shortest_sure_press_s,
    threshold_v,
    window_s,
)

# ngspice 39.3, measured: a sine behind its resistance, 1N4007 (IS 3.872n, RS 16.6m, N 1.776), resistor, LED (IS 1.2e-13, N 1.95, RS 2).
# Crest [V], frequency [Hz], series and source [Ohm]; peak and mean [mA], heat [mW]; window [ms] for thresholds of 0.3, 1 and 5 mA.
NGSPICE = [
    ((20.36, 50.0, 2200.0, 5.6), (8.349, 2.5259, 36.463), (9.288, 8.762, 5.624)),
    ((24.0, 60.0, 1000.0, 3.0), (21.868, 6.6533, 114.354), (7.911, 7.729, 6.785)),
    ((11.3, 50.0, 680.0, 8.0), (13.513, 3.9028, 28.198), (8.972, 8.629, 6.873)),
    ((45.0, 60.0, 2200.0, 10.0), (19.435, 6.0420, 202.975), (8.065, 7.869, 6.786)),
]
Case = tuple[float, float, float, float]


def test_the_examples_hold() -> None:
    tried = doctest.testmod(room)
    assert (tried.failed, tried.attempted > 2) == (0, True)


@pytest.mark.parametrize(("case", "currents", "windows_ms"), NGSPICE)
def test_window_and_currents_are_those_of_an_independent_simulator(
    case: Case, currents: tuple[float, float, float], windows_ms: tuple[float, float, float]
) -> None:
    crest_v, mains_hz, series_ohm, source_ohm = case
    fitted = Detector(series_ohm, np.array([0.3e-3, 1e-3, 5e-3]), source_ohm)
    # the drops are taken as constant: 1.8 V for what lies between 1.5 and 2.0 V
    assert window_s(fitted, crest_v, mains_hz) * 1e3 == pytest.approx(windows_ms, abs=0.12)
    assert float(led_peak_a(fitted, crest_v)) * 1e3 == pytest.approx(currents[0], rel=0.03)
    assert float(led_mean_a(fitted, crest_v)) * 1e3 == pytest.approx(currents[1], rel=0.03)
    assert float(resistor_w(fitted, crest_v)) * 1e3 == pytest.approx(currents[2], rel=0.05)


def test_without_a_drop_it_is_a_half_wave_rectifier() -> None:
    # half-wave, 100 V crest, resistive: 31.831 V mean, 50.0 V rms (closed form; any power-electronics handbook)
    ideal = Detector(series_ohm=1000.0, on_a=0.0, led_v=0.0, diode_v=0.0)
    assert float(led_mean_a(ideal, 100.0)) == pytest.approx(31.831e-3, rel=1e-4)
    assert float(resistor_w(ideal, 100.0)) == pytest.approx(50.0**2 / 1000.0)
    assert float(window_s(ideal, 100.0, 50.0)) == pytest.approx(0.01)


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_a_press_that_is_long_enough_is_always_seen_and_a_shorter_one_as_often_as_said(mains_hz: float) -> None:
    """Every beginning within a cycle is tried, against the window as a clock would see it: nothing of the formula is used."""
    fitted, crest_v = Detector(2200.0, 1.2e-3, 5.6), 20.36
    sure_s = float(shortest_sure_press_s(fitted, crest_v, mains_hz))
    for press_s in (0.001, 0.004, 0.0, sure_s - 0.2e-3, sure_s + 0.02e-3, 0.05):
        seen = _seen(fitted, crest_v, mains_hz, press_s)
        assert float(chance_of_seeing(fitted, press_s, crest_v, mains_hz)) == pytest.approx(seen.mean(), abs=0.01)
        assert bool(seen.all()) == (press_s >= sure_s)


def test_the_shortest_sure_press_is_where_it_was_measured_to_be() -> None:
    # "9 to 15 ms at 60 Hz, 11 to 18 ms at 50 Hz over the usual voltages": some 350 installations in ngspice, measured
    crests = np.array([8.0, 10.0, 12.0, 16.0, 24.0]) * 1.22 * np.sqrt(2.0)
    fitted = Detector(2200.0, 1.2e-3, 5.6)
    assert np.all(
        (shortest_sure_press_s(fitted, crests, 60.0) > 8.5e-3) & (shortest_sure_press_s(fitted, crests, 60.0) < 15e-3)
    )
    assert np.all(
        (shortest_sure_press_s(fitted, crests, 50.0) > 10.5e-3) & (shortest_sure_press_s(fitted, crests, 50.0) < 18e-3)
    )


def test_a_contact_that_opens_leaves_no_longer_gap_than_said_and_sometimes_that_one() -> None:
    fitted, crest_v, mains_hz = Detector(2200.0, 1.2e-3, 5.6), 20.36, 50.0
    step_s, cycle_s = 2e-5, 1.0 / mains_hz
    window = float(window_s(fitted, crest_v, mains_hz))
    worst = {}
    opens = (0.003, 0.009, window - 2.0 * fitted.shortest_pulse_s + cycle_s + 3 * step_s, 0.045)
    for open_s in opens:
        gaps = []
        for begins_s in np.arange(0.1, 0.1 + cycle_s, step_s):
            at = np.arange(0.0, 0.3, step_s)
            closed = (at < begins_s) | (at >= begins_s + open_s)
            rises, falls = _pulses(fitted, crest_v, mains_hz, at, closed)
            gaps.append(np.max(rises[1:] - falls[:-1]))
        worst[open_s] = max(gaps)
        assert worst[open_s] <= float(largest_gap_s(fitted, open_s, crest_v, mains_hz)) + 2 * step_s
    tight = opens[2]
    assert worst[tight] == pytest.approx(float(largest_gap_s(fitted, tight, crest_v, mains_hz)), abs=6 * step_s)


def test_a_voltage_that_never_reaches_the_threshold_gives_no_window() -> None:
    weak = Detector(series_ohm=4700.0, on_a=5e-3)
    assert float(threshold_v(weak)) == pytest.approx(25.3)
    assert float(window_s(weak, 20.0, 50.0)) == 0.0
    assert float(shortest_sure_press_s(weak, 20.0, 50.0)) == np.inf
    assert float(chance_of_seeing(weak, 1.0, 20.0, 50.0)) == 0.0


def test_an_led_without_a_diode_of_its_own_stands_the_whole_crest_backwards() -> None:
    # an LED stands 5 or 6 V backwards (data sheets of the 6N137 and PC817 classes, from a secondary page)
    assert float(reverse_v(20.36, protected=False)) == 20.36
    assert float(reverse_v(20.36, protected=True)) < 5.0


def _seen(fitted: Detector, crest_v: float, mains_hz: float, press_s: float) -> np.ndarray:
    """For 2000 beginnings spread over a cycle: whether some window overlaps the press for long enough."""
    begins = np.linspace(0.0, 1.0 / mains_hz, 2000, endpoint=False)
    at = np.arange(0.0, 3.0 / mains_hz, 1e-6)
    on = _lit(fitted, crest_v, mains_hz, at)
    edges = np.diff(on.astype(int))
    rises, falls = at[np.flatnonzero(edges == 1)], at[np.flatnonzero(edges == -1)]
    rises = rises[: len(falls)]
    overlaps = np.minimum(falls[:, None], begins + press_s) - np.maximum(rises[:, None], begins)
    return np.asarray(np.max(overlaps, axis=0) >= fitted.shortest_pulse_s)


def _pulses(
    fitted: Detector, crest_v: float, mains_hz: float, at: np.ndarray, closed: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Rises and falls of the pulses that are long enough to be sent."""
    on = np.concatenate([[False], _lit(fitted, crest_v, mains_hz, at) & closed, [False]]).astype(int)
    rises, falls = np.flatnonzero(np.diff(on) == 1), np.flatnonzero(np.diff(on) == -1)
    step_s = at[1] - at[0]
    long_enough = (falls - rises) * step_s >= fitted.shortest_pulse_s - 1e-9
    return rises[long_enough] * step_s, falls[long_enough] * step_s


def _lit(fitted: Detector, crest_v: float, mains_hz: float, at: np.ndarray) -> np.ndarray:
    """Whether the LED is on at each moment, from its current; the windows lie in the middle of each cycle."""
    volts = -crest_v * np.cos(2.0 * np.pi * mains_hz * at)
    current = (volts - 1.8) / (np.asarray(fitted.series_ohm) + np.asarray(fitted.source_ohm))
    return np.asarray(current > np.asarray(fitted.on_a))
