"""Promise: however the pulses of a caller are cut into packs, and in whatever order these arrive, the record has the same presses."""

from itertools import count, pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from adapters.simulated import contacts
from adapters.simulated.contacts import Contact, Span
from adapters.sql.work import SqlStore
from service.model import Press
from tests.builders import SITE, T0, arrival, pack
from tests.presses.told import WIRED, Wired, cut, in_packs, presses, pulses, take_in

TROUBLED = Contact((0.3e-3, 6.2e-3), (0.3e-3, 6.2e-3), 3, (0, 2), (2e-3, 45e-3))
"""Bounces and drops out, as the contacts of `told.py` do."""

_chimes = count()

HALF_WAY_S = 2e-5
"""Times are told in tenths of a millisecond: so none of them lies on the edge of being rounded up or down."""


def caller(wired: Wired, seed: int) -> list[Span]:
    """Pulses of one to three presses, the second 90 ms after the first, the third some seconds later."""
    rng = np.random.default_rng(seed)
    closed: list[Span] = []
    for pause_s in (1.0, 0.090, 3.0)[: int(rng.integers(1, 4))]:
        start_s = (closed[-1][1] if closed else 0.0) + pause_s
        closed += contacts.closures(start_s, float(rng.uniform(0.06, 0.5)), TROUBLED, rng)
    return pulses(wired, closed, float(rng.uniform()))


def recorded(store: SqlStore, wired: Wired, chunks: list[list[Span]], order: list[int]) -> list[Press]:
    """What a chime of its own leaves in the record; some of the packs are delivered twice."""
    chime = f"hall-{next(_chimes)}"
    packs = in_packs(wired, chunks, chime)
    take_in(store, [packs[n] for n in [*order, *order[::2]]], at_once=3)
    return presses(store, chime)


def told(found: list[Press]) -> list[tuple[object, ...]]:
    """What may not depend on how it was told. Times to the millisecond."""
    return [
        (
            p.door,
            round(p.start_s - T0 + HALF_WAY_S, 3),
            p.end_s and round(p.end_s - T0 + HALF_WAY_S, 3),
            p.pulses,
            p.source,
            p.sure,
        )
        for p in found
    ]


def fine(found: list[Press]) -> list[tuple[object, ...]]:
    return [(p.drop_outs, p.bounce, round(p.longest_gap_s + HALF_WAY_S, 3)) for p in found]


once_for_all = settings(
    max_examples=10,
    phases=[
        Phase.explicit,
        Phase.reuse,
        Phase.generate,
    ],  # each example is a record: making a failing one smaller takes too long
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],  # each example has a chime of its own
)


@once_for_all
@given(
    wired=st.sampled_from(WIRED),
    seed=st.integers(0, 10_000),
    places=st.sets(st.integers(1, 60), max_size=8),
    shuffle=st.randoms(use_true_random=False),
)
def test_pulses_cut_anywhere_and_arriving_in_any_order_are_the_same_presses(
    store: SqlStore, wired: Wired, seed: int, places: set[int], shuffle: st.DataObject
) -> None:
    whole = caller(wired, seed)
    chunks = cut(whole, places)
    order = list(range(len(chunks)))
    at_once = recorded(store, wired, [whole], [0])
    in_order = recorded(store, wired, chunks, order)
    shuffle.shuffle(order)  # type: ignore[attr-defined]
    in_any_order = recorded(store, wired, chunks, order)
    assert told(in_order) == told(in_any_order) == told(at_once)
    assert fine(in_order) == fine(at_once)


@once_for_all
@given(
    moments=st.lists(st.integers(1, 400), min_size=2, max_size=10, unique=True),
    shuffle=st.randoms(use_true_random=False),
)
def test_what_a_chime_that_debounces_tells_is_the_same_in_any_order(
    store: SqlStore, moments: list[int], shuffle: st.DataObject
) -> None:
    """Contacts close and open in turn, 0.1 s apart or more; or one of the changes has been lost on the way."""
    changes = [(n, at / 10.0, n % 2 == 0) for n, at in enumerate(sorted(moments))]
    if len(changes) > 4:
        changes.pop(3)
    found = []
    for _ in range(2):
        chime = f"hall-{next(_chimes)}"
        topic = f"bellcrank/1/{SITE}/{chime}/pack"
        take_in(
            store,
            [
                arrival(pack(seq, {"n": "front.press", "vb": closed}, up_s=at_s), at_s + 0.05, topic)
                for seq, at_s, closed in changes
            ],
            at_once=3,
        )
        found.append(presses(store, chime))
        shuffle.shuffle(changes)  # type: ignore[attr-defined]
    assert told(found[0]) == told(found[1])
    assert len(found[0]) == sum(closed for _, _, closed in changes)


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 2, 0), (1, 0, 2)])
def test_a_press_told_by_pulses_first_and_in_numbers_later_is_one_press_with_all_its_pulses(
    store: SqlStore, order: tuple[int, ...]
) -> None:
    """So a chime tells a button that something leans on: ten seconds of pulses, then a summary a minute."""
    wired = WIRED[0]
    whole = pulses(wired, [(1.0, 131.0)])
    first = [pulse for pulse in whole if pulse[1] < 11.0]
    bounds = [len(first), len(first) + 3000, len(whole)]
    packs = in_packs(wired, [first])
    for seq, (a, b) in enumerate(pairwise(bounds), start=1):
        begun_s, made_s = whole[a][0], round(whole[b - 1][1] + 0.01, 4)
        numbers = [("span", "s", round(whole[b - 1][1] - begun_s, 4)), ("pulses", "count", b - a), ("gap", "s", 0.0118)]
        told_so = [{"n": f"front.{n}", "u": u, "v": v, "t": round(begun_s - made_s, 4)} for n, u, v in numbers]
        packs.append(arrival(pack(seq, *told_so, up_s=made_s), made_s + 0.05))
    take_in(store, [packs[n] for n in order])
    (press,) = presses(store)
    assert (press.pulses, press.drop_outs, press.sure) == (len(whole), 0, "sure")
    assert press.end_s == pytest.approx(T0 + 131.0, abs=0.1)
