"""Promise: whatever is asked, the rectifier answers with numbers that physics allows, smoothly, and alone as in company."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from service.supply.diodes import SCHOTTKY, SILICON, Diode
from service.supply.rectifier import PHASES, Supply, next_to, steady_state

FIGURES = (
    "rail_max_v",
    "rail_min_v",
    "rail_mean_v",
    "ripple_v",
    "conduction_rad",
    "peak_a",
    "rms_a",
    "reverse_v",
    "load_mean_a",
)


def decades(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(np.log(low), np.log(high)).map(lambda x: float(np.exp(x)))


SUPPLIES = st.builds(
    Supply,
    mains_hz=st.sampled_from([16.7, 50.0, 60.0, 400.0]),
    open_circuit_v=decades(6.0, 40.0),
    source_ohm=decades(0.2, 60.0),
    reservoir_f=decades(50e-6, 5e-3),
    load_a=decades(0.0005, 0.5),
    esr_ohm=st.floats(0.0, 2.0),
    leakage_h=st.one_of(st.just(0.0), decades(1e-6, 5e-3)),
    third=st.floats(0.0, 0.1),
    third_phase=st.floats(-4.0, 4.0),
    fifth=st.floats(0.0, 0.05),
    fifth_phase=st.floats(-4.0, 4.0),
    board_diode=st.sampled_from([SILICON, SCHOTTKY]),
    button_diode=st.sampled_from([SILICON, SCHOTTKY, None]),
    temperature_c=st.floats(-20.0, 80.0),
    regulator=st.sampled_from(["linear", "switching"]),
    rated_rail_v=st.floats(5.0, 30.0),
    dropout_v=st.one_of(st.just(0.0), st.floats(3.0, 15.0)),
    test_a=st.sampled_from([0.0, 0.05]),
    test_ohm=st.sampled_from([float("inf"), 220.0]),
)


@settings(max_examples=150, deadline=None, derandomize=True, phases=[Phase.explicit, Phase.generate])
@given(SUPPLIES)
def test_every_supply_gets_a_bounded_answer(supply: Supply) -> None:
    """Overloads, lock-out and hiccups included."""
    state = steady_state(supply)
    crest = float(np.max(np.abs(state.rail_v)))
    for name in FIGURES:
        assert np.all(np.isfinite(getattr(state, name))), name
    assert state.rail_v.shape == (1, PHASES)
    assert state.rail_at(np.linspace(-9.0, 9.0, 7)).shape == (1, 7)
    # Harmonics raise a crest by a sixth at most; a coil charges an empty reservoir to twice the crest and more.
    highest = float(supply.open_circuit_v) * np.sqrt(2.0) * (1.2 if supply.leakage_h == 0.0 else 3.0)
    assert crest < highest
    assert 0.0 <= state.rail_min_v[0] <= state.rail_mean_v[0] <= state.rail_max_v[0] < highest
    assert state.ripple_v[0] == pytest.approx(state.rail_max_v[0] - state.rail_min_v[0])
    assert 0.0 < state.conduction_rad[0] < 2.0 * np.pi
    assert 0.0 < state.rms_a[0] < state.peak_a[0]
    assert 0.5 * state.rail_max_v[0] < state.reverse_v[0] < 2.0 * highest
    if state.carried[0]:
        assert state.closed[0]
        assert state.rail_min_v[0] >= supply.dropout_v


@settings(max_examples=60, deadline=None, derandomize=True, phases=[Phase.explicit, Phase.generate])
@given(SUPPLIES, st.floats(1.02, 1.5))
def test_the_rail_falls_with_the_load_and_rises_with_the_voltage(supply: Supply, more: float) -> None:
    supply = replace(supply, regulator="linear", dropout_v=0.0)
    loaded = steady_state(replace(supply, load_a=supply.load_a * np.array([1.0, more])))
    if np.all(loaded.rail_min_v > 1.0):  # where it collapses, the load goes with it
        assert loaded.rail_mean_v[1] < loaded.rail_mean_v[0]
    raised = steady_state(replace(supply, open_circuit_v=supply.open_circuit_v * np.array([1.0, more])))
    if np.all(raised.rail_min_v > 1.0):
        assert raised.rail_mean_v[1] > raised.rail_mean_v[0]


@settings(max_examples=60, deadline=None, derandomize=True, phases=[Phase.explicit, Phase.generate])
@given(decades(0.002, 0.2), decades(100e-6, 4700e-6), decades(0.3, 30.0), st.floats(10.0, 30.0))
def test_ripple_is_below_the_textbooks(load_a: float, farad: float, ohm: float, open_v: float) -> None:
    supply = Supply(50.0, open_v, ohm, farad, load_a, esr_ohm=0.0)
    state = steady_state(supply)
    textbook = load_a / (50.0 * farad)  # I/(fC) takes the discharge to last the whole cycle
    if state.rail_min_v[0] > 2.0:
        part = 1.0 - state.conduction_rad[0] / (2.0 * np.pi)
        assert 0.9 * part * textbook < state.ripple_v[0] < textbook


@settings(max_examples=40, deadline=None, derandomize=True, phases=[Phase.explicit, Phase.generate])
@given(SUPPLIES)
def test_what_flows_in_is_what_is_drawn(supply: Supply) -> None:
    supply = replace(supply, regulator="linear", dropout_v=0.0, test_ohm=np.inf)
    state = steady_state(supply)
    if state.rail_min_v[0] > 0.6:  # below, loads fall off
        assert state.load_mean_a[0] == pytest.approx(float(supply.load_a) + float(supply.test_a), rel=1e-6)


def test_alone_as_in_company() -> None:
    random = np.random.default_rng(20_261_125)
    count = 1100  # more than are worked on at a time
    many = Supply(
        50.0,
        random.uniform(10.0, 28.0, count),
        random.uniform(0.5, 20.0, count),
        random.uniform(200e-6, 2000e-6, count),
        random.uniform(0.002, 0.4, count),
        dropout_v=7.0,
    )
    together = steady_state(many)
    assert 0.05 < np.mean(together.carried) < 0.98
    phases = random.uniform(0.0, 2.0 * np.pi, (count, 3))
    rails = together.rail_at(phases)
    for k in (0, 511, 512, 700, count - 1):
        one = replace(
            many, **{n: getattr(many, n)[k] for n in ("open_circuit_v", "source_ohm", "reservoir_f", "load_a")}
        )
        alone = steady_state(one)
        for name in FIGURES:
            within = 2e-3 if name == "conduction_rad" else 1e-5  # its ends lie between nodes, which are not the same
            assert getattr(alone, name)[0] == pytest.approx(getattr(together, name)[k], rel=within), name
        assert alone.rail_at(phases[k])[0] == pytest.approx(rails[k], abs=1e-5)
        assert together.rail_at(together.phase_rad)[k] == pytest.approx(together.rail_v[k], abs=1e-9)


def test_where_the_search_begins_changes_nothing() -> None:
    random = np.random.default_rng(20_261_126)
    base = Supply(
        50.0, random.uniform(10.0, 24.0, 60), random.uniform(1.0, 9.0, 60), 470e-6, random.uniform(0.004, 0.09, 60)
    )
    near = steady_state(base)
    moved = replace(
        base, source_ohm=base.source_ohm * 1.1, open_circuit_v=base.open_circuit_v * 0.99, load_a=base.load_a * 1.02
    )
    fresh, warm = steady_state(moved), steady_state(moved, near)
    assert np.all(fresh.closed)
    assert np.all(warm.closed)
    assert warm.rail_v == pytest.approx(fresh.rail_v, abs=1e-4)
    one = replace(moved, source_ohm=3.0, open_circuit_v=14.0, load_a=0.02)
    alone = steady_state(one)
    assert steady_state(replace(one, load_a=0.021), alone).rail_v == pytest.approx(
        steady_state(replace(one, load_a=0.021)).rail_v, abs=1e-4
    )


@pytest.mark.parametrize(
    "more",
    [
        {},
        {"leakage_h": 3e-4},
        {"leakage_h": 2e-3, "third": 0.05, "third_phase": 3.0},
        {"regulator": "switching", "rated_rail_v": 12.0, "dropout_v": 5.0},
        {"load_a": 0.12, "dropout_v": 11.0},
        {"test_ohm": 470.0},
    ],
    ids=str,
)
@pytest.mark.parametrize("name", ["source_ohm", "open_circuit_v", "reservoir_f"])
def test_the_answer_is_smooth_in_what_is_asked(more: dict[str, Any], name: str) -> None:
    """So that a fit may take differences: over a change of ±1 % no point lies off a smooth curve by more than 1e-6."""
    supply = Supply(
        **{"mains_hz": 50.0, "open_circuit_v": 14.0, "source_ohm": 2.5, "reservoir_f": 470e-6, "load_a": 0.02} | more
    )
    at = np.linspace(-1.0, 1.0, 301)
    state = steady_state(replace(supply, **{name: getattr(supply, name) * (1.0 + 0.01 * at)}))
    for values in (state.rail_max_v, state.rail_min_v, state.rail_mean_v, *state.rail_v[:, ::16].T):
        curve = np.polynomial.Polynomial.fit(at, values, 7)
        assert np.max(np.abs(values - curve(at))) < 1e-6 * np.max(values)


def test_warmth_lifts_the_rail() -> None:
    rails = steady_state(Supply(50.0, 12.0, 3.0, 470e-6, 0.02, temperature_c=np.array([0.0, 25.0, 50.0]))).rail_max_v
    assert np.diff(rails) == pytest.approx(2.0 * 25.0 * 0.0013, rel=0.25)  # two drops, some 1.3 mV/K each at the crest


def test_diodes_may_differ_row_by_row() -> None:
    leaky = Diode(np.array([1e-9, 1e-8]), 1.8, 0.02)
    rails = steady_state(Supply(50.0, 12.0, 3.0, 470e-6, 0.02, board_diode=leaky)).rail_max_v
    assert rails.shape == (2,)
    assert rails[1] > rails[0]


@pytest.mark.parametrize(
    ("name", "value"),
    [("source_ohm", -1.0), ("reservoir_f", 0.0), ("load_a", np.nan), ("open_circuit_v", np.inf), ("test_ohm", 0.0)],
)
def test_nonsense_is_refused(name: str, value: float) -> None:
    with pytest.raises(ValueError, match=name):
        steady_state(replace(Supply(50.0, 12.0, 3.0, 470e-6, 0.02), **{name: value}))


def test_shapes_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ValueError, match="broadcast"):
        steady_state(Supply(np.array([50.0, 60.0]), np.array([12.0, 13.0, 14.0]), 3.0, 470e-6, 0.02))
    with pytest.raises(ValueError, match="broadcast"):
        steady_state(Supply(np.array([[50.0], [60.0]]), 12.0, 3.0, 470e-6, 0.02))


@pytest.mark.parametrize(
    "more",
    [
        {},
        {"leakage_h": 2e-3, "third": 0.03, "third_phase": 3.0, "fifth": 0.01},
        {"regulator": "switching", "rated_rail_v": 12.0, "dropout_v": 5.0, "leakage_h": 1e-3},
        {"test_ohm": 330.0, "leakage_h": 1e-3},
        {"load_a": 0.12, "dropout_v": 11.0},
    ],
    ids=str,
)
def test_slopes_from_one_step_are_those_of_circuits_apart(more: dict[str, Any]) -> None:
    """`next_to` against central differences of the whole search over steps a hundred times as wide."""
    supply = Supply(
        **{"mains_hz": 50.0, "open_circuit_v": 14.0, "source_ohm": 2.5, "reservoir_f": 470e-6, "load_a": 0.02} | more
    )
    state = steady_state(supply)
    for name in ("source_ohm", "open_circuit_v", "reservoir_f", "load_a", "esr_ohm"):
        value = getattr(supply, name)
        beside = next_to(state, replace(supply, **{name: value * np.array([1.0, 1.0 + 1e-4])}), np.array([0, 0]))
        found = (beside.rail_v[1] - beside.rail_v[0]) / 1e-4
        apart = steady_state(replace(supply, **{name: value * np.array([0.99, 1.01])})).rail_v
        expected = (apart[1] - apart[0]) / 0.02
        assert found == pytest.approx(expected, abs=0.02 * np.max(np.abs(expected)) + 1e-4), name
