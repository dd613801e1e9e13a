"""Deadband, on-delay and off-delay are exact to the sample, and what a delay brings needs nothing to arrive.

The wording in the tests' docstrings is that of OPC 10000-9 (5.8.2 and the clause on deadband), as quoted in the project's check values.
"""

import doctest
from math import nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.alarms import conditioning
from service.alarms.conditioning import (
    Conditioned,
    Delays,
    Edge,
    beyond,
    condition,
    due_s,
    elapse,
    realarm_due_s,
    take,
)


def test_examples_hold() -> None:
    tried = doctest.testmod(conditioning)
    assert tried.attempted >= 2
    assert not tried.failed


def test_on_delay() -> None:
    """ "In alarm only after the condition has held that long"."""
    assert condition([(0.0, True), (9.999, False)], Delays(on_s=10.0), 100.0) == []
    assert condition([(0.0, True), (10.001, False)], Delays(on_s=10.0), 100.0) == [
        Edge(10.0, True),
        Edge(10.001, False),
    ]


def test_off_delay() -> None:
    """ "Holds it through brief recoveries"."""
    samples = [(0.0, True), (5.0, False), (14.9, True), (20.0, False)]
    assert condition(samples, Delays(off_s=10.0), 100.0) == [Edge(0.0, True), Edge(30.0, False)]
    assert condition(samples, Delays(off_s=9.0), 100.0) == [
        Edge(0.0, True),
        Edge(14.0, False),
        Edge(14.9, True),
        Edge(29.0, False),
    ]


@pytest.mark.parametrize(
    ("side", "limit", "values", "expected"),
    [
        ("above", 10.0, [10.0, 10.1, 9.9, 9.51, 9.5, 9.9], [False, True, True, True, False, False]),
        ("below", 10.0, [10.0, 9.9, 10.1, 10.49, 10.5, 10.1], [False, True, True, True, False, False]),
        ("above", -1.0, [-1.5, -0.5, -1.4, -1.5], [False, True, True, False]),
        ("above", 10.0, [11.0, nan, 9.0, nan], [True, True, False, False]),
    ],
)
def test_deadband(side: conditioning.Side, limit: float, values: list[float], expected: list[bool]) -> None:
    """ "Returns only past the limit by the deadband"."""
    assert beyond(values, limit, side, 0.5).tolist() == expected


def test_without_a_deadband_it_returns_at_the_limit() -> None:
    assert beyond([10.1, 10.0, 10.1], 10.0, "above").tolist() == [True, False, True]


def test_the_deadband_is_the_hysteresis_of_a_voltage_dip() -> None:
    """230 V, 70 % for 100 ms at 50 Hz, limit 207 V, hysteresis 4.6 V: one dip to 161.0 V of 0.110 s (pqopen-lib 0.10.5, measured).

    Urms(1/2) after IEC 61000-4-30: over one cycle, afresh every half cycle.
    """
    at_s = np.arange(20_000) / 10_000.0
    volts = 230.0 * np.sqrt(2.0) * np.sin(2.0 * np.pi * 50.0 * at_s) * np.where((at_s >= 1.0) & (at_s < 1.1), 0.7, 1.0)
    ends = np.arange(200, 20_001, 100)
    rms = np.array([np.sqrt(np.mean(volts[end - 200 : end] ** 2)) for end in ends])
    low = beyond(rms, 207.0, "below", 4.6)
    edges = condition(list(zip((ends / 10_000.0).tolist(), low.tolist(), strict=True)), Delays(), 2.0)
    assert [edge.is_active for edge in edges] == [True, False]
    assert edges[1].at_s - edges[0].at_s == pytest.approx(0.110, abs=1e-9)
    assert rms[low].min() == pytest.approx(161.0, abs=0.05)


def test_a_delay_elapses_by_itself_at_the_moment_it_announced() -> None:
    signal, edges = take(conditioning.STILL, Delays(on_s=15.0, off_s=60.0), 100.0, True)
    assert (edges, due_s(signal, Delays(15.0, 60.0))) == ([], 115.0)
    assert elapse(signal, Delays(15.0, 60.0), 114.999) == (signal, None)
    assert elapse(signal, Delays(15.0, 60.0), 115.0) == (Conditioned(is_active=True), Edge(115.0, True))


def test_realarm_time_counts_from_the_last_annunciation() -> None:
    assert realarm_due_s(1000.0, 3600.0) == 4600.0
    assert realarm_due_s(1000.0, None) is None
    assert realarm_due_s(None, 3600.0) is None


def by_the_second(truth: list[bool], on: int, off: int) -> list[bool]:
    """The wording taken literally, tick after tick. Up to the end of a delay the last sample holds; the one at the end comes too late."""
    active, since, result = False, None, []
    for now, value in enumerate(truth):
        if since is not None and now - since == (off if active else on):
            active, since = not active, None
        if value == active:
            since = None
        elif since is None:
            since = now
        result.append(active)
    return result


@given(st.lists(st.booleans(), min_size=1, max_size=60), st.integers(1, 8), st.integers(1, 8))
def test_the_fold_agrees_with_the_wording_taken_literally(truth: list[bool], on: int, off: int) -> None:
    samples = [(float(at_s), value) for at_s, value in enumerate(truth)]
    edges = condition(samples, Delays(on, off), float(len(truth) - 1))
    told = dict(edges)
    active, result = False, []
    for at_s, _ in samples:
        active = told.get(at_s, active)
        result.append(active)
    assert result == by_the_second(truth, on, off)


@given(
    st.lists(st.tuples(st.floats(0.01, 30.0), st.booleans()), max_size=40),
    st.floats(0.0, 20.0),
    st.floats(0.0, 20.0),
    st.floats(0.0, 40.0),
)
def test_asking_at_moments_in_between_changes_nothing(
    steps: list[tuple[float, bool]], on_s: float, off_s: float, ask_s: float
) -> None:
    delays, at_s, samples = Delays(on_s, off_s), 0.0, []
    signal, edges = conditioning.STILL, []
    for wait_s, value in steps:
        signal, edge = elapse(signal, delays, at_s + min(ask_s, wait_s))
        edges += [edge] if edge else []
        at_s += wait_s
        samples.append((at_s, value))
        signal, new = take(signal, delays, at_s, value)
        edges += new
    assert edges == condition(samples, delays, at_s)
    assert [edge.is_active for edge in edges] == [number % 2 == 0 for number in range(len(edges))]
    assert [edge.at_s for edge in edges] == sorted(edge.at_s for edge in edges)
