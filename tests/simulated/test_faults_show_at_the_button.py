"""Promise: a fault of button, detector or mains shows in what the live chime sends, in the way the physics of the circuit says."""

from itertools import pairwise
from math import cos, pi

import numpy as np
import pytest

from adapters.simulated.circuit import Circuit, Parts
from adapters.simulated.contacts import pulses, threshold_v
from tests.simulated.rig import Rig

CYCLE_S = 0.02


def widths(found: list[tuple[float, float]]) -> float:
    return float(np.median([fall - rise for rise, fall in found]))


def pressed(fault: str | None, severity: float = 0.5, hold_s: float = 0.4) -> Rig:
    """A house in which somebody presses after three seconds."""
    rig = Rig(fault, severity)
    rig.run(3.0)
    rig.ask(do="press", door="front", hold_s=hold_s)
    rig.run(9.0)
    return rig


@pytest.fixture(scope="module")
def healthy() -> Rig:
    return pressed(None)


def test_healthy_there_are_no_pulses_but_while_somebody_presses(healthy: Rig) -> None:
    found = healthy.pulses("front")
    assert found[0][0] >= 3.0
    assert found[-1][1] <= 3.41
    # no gap is as long as that of a missing pulse: gap > T - w + 2 ms
    assert max(b[0] - a[1] for a, b in pairwise(found)) < CYCLE_S - widths(found) + 0.002


def test_shorted_diode_pulses_of_full_width_come_all_the_time_and_pressing_lifts_nothing(healthy: Rig) -> None:
    rig = pressed("button-diode-shorted")
    before = rig.pulses("front")[:100]
    assert len(before) / ((before[-1][1] - before[0][0]) / CYCLE_S) > 0.6  # per cycle while nobody presses
    assert widths(before) >= 0.985 * widths(healthy.pulses("front"))
    assert not [sent for _, sent in rig.packs() if "rail.rise" in sent]


@pytest.mark.parametrize(
    ("fault", "severity"), [("lamp-in-button", 0.0), ("lamp-in-button", 1.0), ("leak-across-button", 0.5)]
)
def test_the_width_of_the_pulses_through_a_lamp_or_leak_gives_its_resistance(
    fault: str, severity: float, healthy: Rig
) -> None:
    rig = pressed(fault, severity)
    parts = rig.loop.present.house.parts
    found = rig.pulses("front")[5:100]
    assert widths(found) < 0.985 * widths(healthy.pulses("front"))
    # V_th = V_pk cos(pi w / T), V_th = I_th (R_det + R_source + R) + V_D + V_LED; the flat top of the mains costs some accuracy
    limit_v = parts.fundamental_v * cos(pi * widths(found) / CYCLE_S)
    ohm = (limit_v - parts.detector_drop_v) / parts.detector_on_a - parts.detector_ohm - parts.source_ohm
    assert ohm == pytest.approx(parts.leak_ohm, rel=0.25)


def test_a_press_on_a_lamp_still_lifts_the_rail() -> None:
    rises = [sent["rail.rise"] for _, sent in pressed("lamp-in-button").packs() if "rail.rise" in sent]
    assert rises
    assert 0.4 < rises[0] < 0.9  # about one diode drop


def test_detector_dead_the_rail_rises_and_no_pulse_comes() -> None:
    rig = pressed("detector-dead")
    assert rig.pulses("front") == []
    rises = [sent["rail.rise"] for _, sent in rig.packs() if "rail.rise" in sent]
    assert len(rises) == 1
    assert 0.4 < rises[0] < 0.9


def lift_v(rig: Rig) -> float:
    """By how much the cycle maxima rise between the contact's closing and the sound [V]."""
    sent = next(sent for _, sent in rig.packs(3.0) if "rail.peaks" in sent)
    peaks = np.frombuffer(sent["rail.peaks"], "<i2") * sent["rail.lsb"]
    return float(
        peaks[17:21].max() - np.median(peaks[:12])
    )  # the series begins 0.3 s before the press; sound 0.12 s after


def test_contact_resistance_pulses_come_and_the_rail_does_not_rise(healthy: Rig) -> None:
    rig = pressed("contact-resistance", 1.0)
    assert len(rig.pulses("front")) > 15
    assert lift_v(rig) < 0.25 < lift_v(healthy)


def test_open_diode_up_only_while_pressed_and_the_pulses_stop_at_release() -> None:
    rig = pressed("button-diode-open", hold_s=1.5)
    assert rig.packs()[0][0] > 3.2
    assert rig.said[-1][1] == "closed"
    assert rig.said[-1][0] < 7.0
    boot_s = rig.packs()[0][0]
    assert boot_s + rig.pulses("front")[-1][1] < 4.51 + CYCLE_S


def test_reversed_diode_up_only_while_pressed_and_the_pulses_go_on_on_the_falling_rail() -> None:
    rig = pressed("button-diode-reversed", hold_s=1.5)
    assert rig.packs()[0][0] > 3.2
    assert rig.said[-1][1] == "closed"
    boot_s = rig.packs()[0][0]
    assert boot_s + rig.pulses("front")[-1][1] > 5.0


def test_stuck_contact_is_to_the_circuit_what_a_shorted_diode_is() -> None:
    stuck, shorted = (pressed(fault).pulses("front")[:100] for fault in ("contact-stuck", "button-diode-shorted"))
    assert stuck == shorted


def test_drop_outs_leave_gaps_that_a_pulse_is_missing_in_and_bounce_leaves_gaps_within_a_half_cycle(
    healthy: Rig,
) -> None:
    def gaps(rig: Rig) -> list[float]:
        return [b[0] - a[1] for a, b in pairwise(rig.pulses("front"))]

    limit_s = CYCLE_S - widths(healthy.pulses("front")) + 0.002
    assert max(gaps(pressed("contact-drops-out", 1.0, hold_s=2.0))) > limit_s
    bouncing = Rig("contact-bounce", 1.0)
    for number in range(6):
        bouncing.run(3.0 + 5.0 * number)
        bouncing.ask(do="press", door="front", hold_s=0.4)
    bouncing.run(34.0)
    assert sum(gap < CYCLE_S / 4 for gap in gaps(bouncing)) > 6


@pytest.mark.parametrize(("fault", "up"), [("mains-dip", False), ("mains-swell", True)])
def test_what_the_mains_do_shows_in_the_cycle_maxima(fault: str, up: bool) -> None:
    rig = Rig(fault, 0.8)
    rig.run(20.0)
    sent = next(sent for _, sent in rig.packs() if "rail.peaks" in sent)
    peaks = np.frombuffer(sent["rail.peaks"], "<i2") * sent["rail.lsb"]
    rest = np.median(peaks[:10])
    assert (peaks.max() > rest + 0.25) == up == ("rail.rise" in sent)
    assert (peaks.min() < rest - 0.25) != up
    assert "front.edges" not in sent


def test_a_rear_button_gives_pulses_and_lifts_nothing() -> None:
    rig = Rig()
    rig.run(3.0)
    rig.ask(do="press", door="garden", hold_s=0.4)
    rig.run(9.0)
    assert len(rig.pulses("garden")) > 15
    assert rig.pulses("front") == []
    assert lift_v(rig) < 0.1


@pytest.mark.parametrize("hertz", [50.0, 60.0])
def test_the_shortest_press_that_is_always_seen(hertz: float) -> None:
    # T - w + 2 t_min, with w = (T / pi) acos(V_th / V_pk): checked against ngspice within 0.1 ms for sinusoidal mains
    parts = Parts(mains_hz=hertz, third=0.0, fifth=0.0)
    circuit, cycle_s = Circuit(parts), 1.0 / hertz
    window_s = cycle_s / pi * float(np.arccos(threshold_v(parts, closed=True) / parts.fundamental_v))
    sure_s = cycle_s - window_s + 2 * 0.2e-3

    def seen(length_s: float) -> list[bool]:
        starts = np.arange(0.0, cycle_s, cycle_s / 400)
        return [bool(pulses(circuit, 0.0, 0.1, 0.0, hertz, 1.0, [(s, s + length_s)])) for s in starts.tolist()]

    assert all(seen(sure_s + 0.3e-3))
    assert not all(seen(sure_s - 0.3e-3))
