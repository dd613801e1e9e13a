"""Promise: what the chime does itself, what a button does, and ordinary unrest of the mains are no events of the mains."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.supply.mains_events import events
from service.supply.mains_steady import CycleMaxima, Doings
from tests.mains_events.simulated import RATE_HZ, House, envelope, maxima, rail

CYCLE_S = 0.02
IDLE = Doings(loads=[(0.0, "idle")], fall_v_per_s={"idle": 10.0})


def series(volts: np.ndarray) -> CycleMaxima:  # type: ignore[type-arg]
    return CycleMaxima.regular(0.0, CYCLE_S, volts)


def test_noise_of_half_a_per_cent_for_a_day_is_nothing() -> None:
    rng = np.random.default_rng(1)
    volts = 20.0 * (1.0 + 0.005 * rng.uniform(-1.0, 1.0, 500_000))
    assert events(series(volts), IDLE) == []


@pytest.mark.parametrize("length_s", [0.1, 0.2, 0.3])
@pytest.mark.parametrize("share", [0.99, 1.01])
@pytest.mark.parametrize("house", [House(), House(reservoir_f=2200e-6, idle_a=0.004)])
def test_flicker_of_one_per_cent_is_nothing(length_s: float, share: float, house: House) -> None:
    # A lamp flickers visibly at about one per cent (common practice, no source).
    level = envelope(8.0, [(t, t + length_s, share) for t in np.arange(1.0, 7.0, 0.7)])
    volts = maxima(house, rail(house, level), 0.0125)
    doings = Doings(loads=[(0.0, "idle")], fall_v_per_s={"idle": house.idle_a / house.reservoir_f})
    assert events(series(volts), doings) == []


def test_the_mains_may_wander_by_four_per_cent() -> None:
    volts = 20.0 * (1.0 + 0.04 * np.sin(np.arange(30_000) * CYCLE_S / 40.0))
    assert events(series(volts), IDLE) == []


def test_sounding_and_testing_are_the_chimes_own_doing() -> None:
    house, level = House(source_ohm=12.0), envelope(12.0, [])
    at_s = np.arange(len(level)) / RATE_HZ
    load = np.full(len(level), house.idle_a)
    load[(at_s >= 2.0) & (at_s < 2.6)] = 0.06
    load[(at_s >= 2.6) & (at_s < 3.4)] = 0.18
    load[(at_s >= 6.003) & (at_s < 7.1)] = 0.18
    volts = maxima(house, rail(house, level, load), 0.0125)
    assert volts.min() < 0.75 * np.median(volts)  # the load's sag is far below the threshold of a dip
    told = Doings(
        loads=[(0.0, "idle"), (2.0, "test"), (2.6, "sound"), (3.4, "idle"), (6.003, "sound"), (7.1, "idle")],
        fall_v_per_s={"idle": house.idle_a / house.reservoir_f},
    )
    assert events(series(volts), told) == []
    assert events(series(volts), Doings(soundings=[(2.0, 3.4), (6.003, 7.1)])) == []
    untold = events(series(volts), Doings())
    assert untold
    assert all("own load" in event.also_possible for event in untold)


def test_a_dip_while_sounding_is_seen_all_the_same() -> None:
    house, level = House(source_ohm=6.0), envelope(8.0, [(5.5, 5.7, 0.7)])
    at_s = np.arange(len(level)) / RATE_HZ
    load = np.where((at_s >= 2.0) & (at_s < 3.0) | (at_s >= 5.0) & (at_s < 6.0), 0.15, house.idle_a)
    volts = maxima(house, rail(house, level, load), 0.0125)
    loads = [(0.0, "idle"), (2.0, "sound"), (3.0, "idle"), (5.0, "sound"), (6.0, "idle")]
    (dip,) = events(series(volts), Doings(loads=loads))
    assert (dip.kind, dip.load) == ("dip", "sound")
    assert dip.start_s == pytest.approx(5.5, abs=CYCLE_S)
    assert dip.residual == pytest.approx(0.7, abs=0.05)


@pytest.mark.parametrize("open_circuit_v", [8.0, 16.0])
def test_a_press_lifts_the_maximum_and_is_no_swell(open_circuit_v: float) -> None:
    house, level = House(open_circuit_v=open_circuit_v, idle_a=0.006), envelope(8.0, [])
    at_s = np.arange(len(level)) / RATE_HZ
    presses = [(2.0, 2.5), (4.0, 4.05), (5.0, 6.2)]
    pressed = np.any([(at_s >= start) & (at_s < end) for start, end in presses], axis=0)
    volts = maxima(house, rail(house, level, pressed=pressed), 0.0125)
    assert volts.max() - np.median(volts) > 0.5  # the diode drop is there
    doings = Doings(loads=[(0.0, "idle")], presses=presses, fall_v_per_s={"idle": house.idle_a / house.reservoir_f})
    assert events(series(volts), doings) == []
    assert events(series(volts), Doings(loads=[(0.0, "idle")])) == []  # nor where the detector saw nothing


def test_an_untold_radio_that_pulls_three_per_cent_is_nothing() -> None:
    rng = np.random.default_rng(2)
    volts = np.full(2000, 20.0)
    for n in range(0, 2000, 6):
        volts[n : n + 6] -= 0.6 * np.exp(-np.arange(min(6, 2000 - n)) / 2.5)
    volts += 0.01 * rng.standard_normal(2000)
    assert events(series(volts), IDLE) == []


def test_a_chime_that_has_just_got_power_is_filling_its_reservoir() -> None:
    volts = 20.0 * (1.0 - np.exp(-np.arange(1.0, 400.0) / 25.0))
    doings = Doings(loads=[(0.0, "idle")], power_ups=[0.0])
    assert events(series(volts), doings) == []


def test_a_chime_supplied_only_while_somebody_presses_tells_nothing_of_the_mains() -> None:
    # An open button diode: the rail rises with each press and sinks from its end on until the chime dies.
    held, sinking = np.full(30, 24.0), 24.0 - 0.2 * np.arange(1.0, 61.0)
    volts = np.concatenate([held, sinking, held, sinking, held, sinking])
    presses = [(n * 1.8, n * 1.8 + 0.6) for n in range(3)]
    doings = Doings(loads=[(0.0, "idle")], presses=presses, power_ups=[0.0], fall_v_per_s={"idle": 10.0})
    assert events(series(volts), doings) == []


def test_nothing_and_no_values_give_nothing() -> None:
    assert events(series(np.empty(0)), Doings()) == []
    assert events(series(np.full(50, np.nan)), Doings()) == []


@settings(deadline=None, max_examples=60)
@given(
    seed=st.integers(0, 2**32 - 1),
    idle_v=st.floats(9.0, 40.0),
    sag=st.floats(0.5, 0.98),
    cycles_to_settle=st.floats(0.5, 25.0),
    lost=st.floats(0.0, 0.2),
)
def test_no_course_of_loads_makes_an_event(
    seed: int, idle_v: float, sag: float, cycles_to_settle: float, lost: float
) -> None:
    rng = np.random.default_rng(seed)
    count = 3000
    moments = np.cumsum(rng.uniform(1.5, 8.0, 12))
    loads = [(0.0, "idle"), *((float(t), "sound" if n % 2 == 0 else "idle") for n, t in enumerate(moments))]
    state = np.searchsorted(moments, (np.arange(count) + 1.0) * CYCLE_S) % 2
    goal = np.where(state == 1, idle_v * sag, idle_v)
    volts, now = np.empty(count), idle_v
    for n in range(count):
        now += (goal[n] - now) * (1.0 - np.exp(-1.0 / cycles_to_settle))
        volts[n] = now
    volts *= 1.0 + 0.003 * rng.uniform(-1.0, 1.0, count)
    volts[rng.random(count) < lost] = np.nan
    assert events(series(volts), Doings(loads=loads)) == []


@settings(deadline=None, max_examples=60)
@given(
    start=st.integers(60, 300),
    length=st.integers(2, 60),
    share=st.one_of(st.floats(0.3, 0.85), st.floats(1.15, 1.5)),
    idle_v=st.floats(9.0, 40.0),
)
def test_any_clear_event_is_found_once_at_its_cycles(start: int, length: int, share: float, idle_v: float) -> None:
    volts = np.full(600, idle_v)
    volts[start : start + length] *= share
    (event,) = events(series(volts), Doings(loads=[(0.0, "idle")], drop_v={"idle": 0.0}))
    assert event.start_s == pytest.approx(start * CYCLE_S)
    assert event.seen_cycles == length
    assert event.residual == pytest.approx(share)
    assert event.residual_low is not None
    assert event.residual_high is not None
    assert event.residual_low <= share <= event.residual_high


@settings(deadline=None, max_examples=150)
@given(data=st.data())
def test_any_record_whatever_gives_finite_ordered_answers(data: st.DataObject) -> None:
    count = data.draw(st.integers(1, 80))
    moment = st.floats(-2.0, 4.0)
    volts = data.draw(st.lists(st.one_of(st.floats(0.0, 60.0), st.just(math.nan)), min_size=count, max_size=count))
    at_s = data.draw(st.lists(st.floats(-1.0, 3.0), min_size=count, max_size=count))
    span = st.tuples(moment, st.floats(0.0, 2.0)).map(lambda t: (t[0], t[0] + t[1]))
    doings = Doings(
        loads=data.draw(st.lists(st.tuples(moment, st.sampled_from(["idle", "test", "sound"])), max_size=6)),
        radio=data.draw(st.lists(st.tuples(moment, st.booleans()), max_size=6)),
        presses=data.draw(st.lists(span, max_size=4)),
        power_ups=data.draw(st.lists(moment, max_size=3)),
        steady_v=data.draw(st.sampled_from([{}, {"idle": 20.0}])),
        fall_v_per_s=data.draw(st.sampled_from([{}, {"idle": 10.0}])),
        drop_v=data.draw(st.sampled_from([{}, {"idle": 2.0}])),
    )
    found = events(CycleMaxima(np.array(at_s), np.array(volts), CYCLE_S), doings)
    assert [event.start_s for event in found] == sorted(event.start_s for event in found)
    for event in found:
        assert event.residual is not None
        assert event.residual_low is not None
        assert event.residual_high is not None
        assert 0.0 <= event.residual_low <= event.residual <= event.residual_high < 1e3
        assert event.duration_s > 0.0
        assert event.seen_cycles > 0


def test_a_fall_faster_than_the_load_empties_the_reservoir_is_a_load_and_not_the_mains() -> None:
    volts = np.full(400, 20.0)
    volts[200:206] = [14.0, 15.5, 17.0, 18.5, 19.3, 19.8]  # an untold radio behind much resistance
    (event,) = events(series(volts), IDLE)  # 10 V/s: 0.2 V a cycle without recharging
    assert not event.proven
    assert "own load" in event.also_possible
