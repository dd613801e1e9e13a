"""Promise: rail windows and power-ups tell of mains events as far as they can, and say how far that is."""

import pytest

from service.supply.mains_glimpses import Start, Window, from_starts, in_windows


def windows(count: int = 30, **changes: object) -> list[Window]:
    made = [Window(end_s=10.0 * (n + 1), window_s=10.0, max_v=20.0, min_v=19.5) for n in range(count)]
    if changes:
        made[15] = Window(end_s=160.0, window_s=10.0, **{"max_v": 20.0, "min_v": 19.5, **changes})  # type: ignore[arg-type]
    return made


def test_steady_windows_and_too_few_windows_tell_nothing() -> None:
    assert in_windows(windows(), ripple_v=0.5) == []
    assert in_windows([Window(10.0, 10.0, 30.0, 29.0), *windows(3)]) == []
    assert in_windows([]) == []


def test_a_high_maximum_is_a_swell_within_its_window() -> None:
    (event,) = in_windows(windows(max_v=24.0), drop_v=2.0)
    assert event.kind == "swell"
    assert event.residual == pytest.approx(26.0 / 22.0)
    assert (event.start_low_s, event.start_high_s) == (150.0, 160.0)
    assert event.seen == "window"
    assert "within this window of 10 s" in event.reason


def test_a_press_does_not_make_a_swell_of_a_low_voltage_rail() -> None:
    low = [Window(10.0 * (n + 1), 10.0, 10.0, 9.8) for n in range(30)]
    low[10] = Window(110.0, 10.0, 11.6, 9.8, pressed=True)
    assert in_windows(low) == []


def test_a_low_minimum_may_be_a_dip_a_load_or_a_radio() -> None:
    (event,) = in_windows(windows(min_v=16.0), ripple_v=0.5)
    assert (event.kind, event.proven, event.residual_low) == ("dip", False, 0.0)
    assert set(event.also_possible) == {"own load", "radio", "interruption"}


def test_the_chimes_own_sounding_is_no_dip() -> None:
    assert in_windows(windows(min_v=14.0, own_doing=True), ripple_v=0.5) == []


def test_a_window_whose_maximum_is_low_had_low_mains_all_through() -> None:
    (event,) = in_windows(windows(max_v=16.0, min_v=15.6), ripple_v=0.4)
    assert event.kind == "dip"
    assert event.proven


def test_a_start_that_no_software_asked_for_is_a_suspected_interruption() -> None:
    (event,) = from_starts([Start(1000.0, 990.0, "power-on")], hold_up_s=0.4, boot_s=0.2)
    assert event.kind == "interruption"
    assert (event.start_low_s, event.start_high_s) == (990.0, pytest.approx(999.4))
    assert event.duration_s == pytest.approx(9.8)
    assert not event.proven
    assert "loss in the wiring" in event.also_possible
    assert event.residual is None


def test_a_brown_out_may_be_the_chimes_own_load() -> None:
    (event,) = from_starts([Start(1000.0, 990.0, "brown-out")])
    assert "own load" in event.also_possible


@pytest.mark.parametrize(
    "start",
    [
        Start(1000.0, 990.0, "software"),
        Start(1000.0, 990.0, "watchdog"),
        Start(1000.0, None, "power-on"),  # the first that was ever heard
        Start(1000.0, 990.0, "power-on", at_a_press=True),  # no standing supply: the wiring
    ],
)
def test_other_starts_say_nothing_of_the_mains(start: Start) -> None:
    assert from_starts([start]) == []
