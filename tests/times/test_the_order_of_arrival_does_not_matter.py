"""Promise: what is believed of a boot's time depends on which packs have come, not on the order in which they came."""

import json
import random

from hypothesis import given, settings
from hypothesis import strategies as st

from service.walltime import BootClock
from tests.times.boots import START_S

MOMENTS = st.tuples(st.floats(0.0, 3e6), st.one_of(st.floats(0.0, 3.0), st.floats(0.0, 1e5)))


def clock_of(packs: list[tuple[float, float]]) -> BootClock:
    clock = BootClock()
    for up_s, delay_s in packs:
        clock = clock.with_witness(up_s, START_S + up_s + delay_s).with_clock(up_s, START_S + round(up_s))
    return clock


@settings(max_examples=25, deadline=None)
@given(st.lists(MOMENTS, min_size=1, max_size=90), st.randoms(use_true_random=False))
def test_any_packs_in_any_order(packs: list[tuple[float, float]], order: random.Random) -> None:
    shuffled = packs[:]
    order.shuffle(shuffled)
    assert clock_of(packs) == clock_of(shuffled)
    assert len(clock_of(packs).witnesses) <= 64


def test_thousands_of_packs_with_a_backlog_among_them() -> None:
    noise = random.Random(3)
    packs = [(10.0 * n, noise.expovariate(2.0) + (5000.0 - n) * (2000 < n < 3000)) for n in range(4000)]
    shuffled = packs[:]
    noise.shuffle(shuffled)
    clock, other = clock_of(packs), clock_of(shuffled)
    assert clock == other
    assert clock.line() == other.line()
    assert clock.uncertainty_s(77.0) == other.uncertainty_s(77.0)


def test_a_pack_that_comes_twice_changes_nothing() -> None:
    clock = clock_of([(10.0 * n, 0.1 * (n % 7)) for n in range(100)])
    assert clock.with_witness(420.0, START_S + 420.0) is clock


def test_a_clock_that_was_stored_goes_on_as_if_it_had_not_been() -> None:
    """The store keeps JSON."""
    noise = random.Random(5)
    packs = [(10.0 * n, noise.expovariate(2.0)) for n in range(500)]
    half = clock_of(packs[:250])
    witnesses, readings = json.loads(json.dumps([half.witnesses, half.readings]))
    restored = BootClock(tuple((up, late) for up, late in witnesses), tuple((up, late) for up, late in readings))
    for up_s, delay_s in packs[250:]:
        restored = restored.with_witness(up_s, START_S + up_s + delay_s).with_clock(up_s, START_S + round(up_s))
    assert restored == clock_of(packs)
