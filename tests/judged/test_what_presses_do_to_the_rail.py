"""Promise: what a press does to the rail is weighed by what chance does to it, in a quiet house and where the mains flicker."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from service.findings.buttons import DoorSeen, findings
from service.findings.cycles import Rise
from service.findings.doors import DoorSigns, LongPress
from service.findings.feeding import only_while_pulsed
from service.findings.testimony import Evidence, Powered
from service.supply.fitout import FitOut

NOBODY = DoorSigns(0, 0.0, (), 0, 0, 0, None, 0.0, None, None, None, 0)
BEFORE = replace(
    NOBODY,
    presses=3,
    long_presses=tuple(LongPress(10.0 * n, 10.0 * n + 0.4, 0.7, 20) for n in range(3)),
    width_s=9.6e-3,
)
STANDING = replace(NOBODY, standing_share=1.0, standing_from_s=0.0, standing_width_s=9.6e-3, standing_widest_s=9.7e-3)


def seen(
    now: DoorSigns | None, rises: Sequence[Rise] = (), noise_v: float = 0.07, before: Sequence[Rise] = ()
) -> DoorSeen:
    return DoorSeen("front", now, BEFORE, True, 50.0, 1.0, 25.0, noise_v, rises, before, 6.0, 8.0)


def told(one: DoorSeen) -> dict[str, float]:
    return {finding.name: finding.likelihood for finding in findings(one, FitOut())}


def test_one_clear_rise_without_a_pulse_tells_of_a_dead_detector() -> None:
    assert told(seen(NOBODY, [Rise(1.0, 1.28, 0.6)]))["detector-dead"] > 0.6
    assert told(seen(NOBODY, [Rise(1.0, 1.28, 0.6), Rise(3.0, 3.3, 0.7)]))["detector-dead"] > 0.95


def test_ever_so_many_rises_are_sure_and_no_more() -> None:
    """Their odds would be too large for a float."""
    assert told(seen(NOBODY, [Rise(n, n + 0.3, 0.6) for n in range(400)]))["detector-dead"] == 1.0


@pytest.mark.parametrize("rise", [Rise(1.0, 1.04, 0.6), Rise(1.0, 1.3, 0.25), Rise(1.0, 1.3, 1.5)])
def test_what_is_no_press_by_its_length_or_height_tells_nothing(rise: Rise) -> None:
    assert "detector-dead" not in told(seen(NOBODY, [rise]))


def test_where_the_mains_flicker_one_rise_is_chance() -> None:
    assert told(seen(NOBODY, [Rise(1.0, 1.28, 0.6)], noise_v=0.3))["detector-dead"] < 0.4
    as_before = [Rise(n, n + 0.2, 0.6) for n in range(3)]
    assert told(seen(NOBODY, [Rise(1.0, 1.28, 0.6)], before=as_before))["detector-dead"] < 0.4


def test_a_lamp_lets_presses_lift_the_rail_and_a_bridged_diode_does_not() -> None:
    """Both pulse as wide as a press does."""
    bridged, lamp = told(seen(STANDING)), told(seen(STANDING, [Rise(1.0, 1.3, 0.7), Rise(4.0, 4.2, 0.65)]))
    assert bridged["button-diode-shorted"] > 0.85
    assert lamp["lamp-in-button"] > 0.9
    flickering = told(seen(STANDING, [Rise(1.0, 1.3, 0.7), Rise(4.0, 4.2, 0.65)], noise_v=0.3))
    assert flickering["button-diode-shorted"] > 0.85


def pressed(*rises_v: float) -> DoorSigns:
    return replace(
        NOBODY,
        presses=len(rises_v),
        long_presses=tuple(LongPress(5.0 * n, 5.0 * n + 0.3, v, 10) for n, v in enumerate(rises_v)),
    )


def test_in_a_quiet_house_one_press_that_lifts_nothing_tells_of_its_contact() -> None:
    assert told(seen(pressed(0.0), noise_v=0.03))["contact-resistance"] > 0.6
    assert told(seen(pressed(0.68), noise_v=0.03))["contact-resistance"] < 0.05


def test_on_flickering_mains_no_press_tells_of_its_contact() -> None:
    assert told(seen(pressed(0.3, 0.1, 0.17, -0.44, -0.23), noise_v=0.55))["contact-resistance"] < 0.1


def test_a_chime_that_lives_by_presses_alone_is_known_by_its_beginnings() -> None:
    """It comes up with the press, and lives on its reservoir for a while."""
    pulses = np.array([[100.0 + 0.02 * n, 100.01 + 0.02 * n] for n in range(40)])
    alive = Evidence(powered=(Powered(100.02, 102.6),), pulses={"front": pulses})
    assert only_while_pulsed(alive, 50.0)
    later = Evidence(powered=(Powered(98.0, 102.6),), pulses={"front": pulses})
    assert not only_while_pulsed(later, 50.0)
