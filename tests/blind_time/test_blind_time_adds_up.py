"""Promise: blind spells never overlap, whatever stretch is asked for; a late pack fills its hole; order does not matter."""

import random
from itertools import pairwise
from math import inf

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from adapters.sql.work import SqlStore
from service.model import Arrival
from service.presses import blind, heard
from service.presses.blind import Missing, PowerUp, Watch
from tests.blind_time.listening import T0, alive, blind_s, brief, memory, minutes, sent, take_in, told

moment = st.floats(0.0, 1000.0).map(lambda s: round(s, 1))
stretch = st.tuples(moment, moment).map(lambda two: (min(two), max(two) + 0.1))
stretches = st.lists(stretch, max_size=4).map(sorted)


@st.composite
def power_ups(draw: st.DrawFn) -> PowerUp:
    start, listens, *inner, last = sorted(draw(st.lists(moment, min_size=6, max_size=6)))
    holes = [Missing(a, b, draw(st.integers(0, 5)), draw(st.integers(0, 5))) for a, b in (inner[:2], inner[1:])]
    return PowerUp(start, listens, last, draw(st.sampled_from(["power-on", "watchdog", None])), holes)


@settings(max_examples=60, deadline=None)
@given(
    st.builds(
        Watch,
        first_heard_s=moment,
        power_ups=st.lists(power_ups(), max_size=4),
        absent=stretches,
        service_down=stretches,
        store_full=stretches,
        unnumbered=st.booleans(),
        silent_since_s=st.none() | moment,
    )
)
def test_spells_are_in_order_and_never_overlap(watch: Watch) -> None:
    found = blind.spells(watch)
    for before, after in pairwise(found):
        assert before.end_s is not None
        assert before.end_s <= after.start_s
        assert (before.end_s, before.why) != (after.start_s, after.why)  # else they were one
    assert all(spell.end_s is None or spell.end_s > spell.start_s for spell in found)


def busy_week() -> list[Arrival]:
    """Three power-ups, packs lost, an overrun with what came late, and presence."""
    kept = [sent(seq, 60.0 * seq + 5.0, boot=2, on_s=4000.0, dropped=6 * (seq - 13), at_s=5400.0) for seq in (18, 19)]
    return [
        *minutes(0, 9), *minutes(12, 30), *minutes(0, 9, boot=2, on_s=4000.0), alive(4590.0, False), alive(5399.0, True),
        *kept, *minutes(20, 40, boot=2, on_s=4000.0, dropped=36), *minutes(3, 20, boot=3, on_s=9000.0, cause="watchdog"),
    ]  # fmt: skip


ASKED = [(-1e5, 1e5), (0.0, 3000.0), (2000.0, 3500.0), (1900.0, 3000.0), (3000.0, 3800.0), (8000.0, 9600.0)]


@pytest.mark.parametrize("seed", range(3))
def test_the_order_of_arrival_does_not_matter(seed: int) -> None:
    arrivals = busy_week()
    with memory() as store:
        take_in(store, arrivals)
        in_order = [brief(told(store, *asked)) for asked in ASKED]
    assert len(in_order[0]) == 5
    presence, packs = [a for a in arrivals if "alive" in a.topic], [a for a in arrivals if "pack" in a.topic]
    random.Random(seed).shuffle(packs)
    with memory() as store:
        take_in(store, [*presence, *packs], at_once=7)
        assert [brief(told(store, *asked)) for asked in ASKED] == in_order


def test_it_is_the_same_whether_the_chime_was_kept_at_hand_or_read_anew(store: SqlStore) -> None:
    for number in (*range(0, 20, 2), *range(1, 16, 2)):
        take_in(store, minutes(number, number))
        store._ledgers.forget()
    assert brief(told(store)) == [(965, 1085, "packs lost")]  # the seventeenth is missing


def test_a_late_pack_fills_its_hole(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 5), *minutes(9, 12)])
    take_in(store, [sent(7, 425.0, at_s=9000.0)])
    assert [(s.packs, *brief([s])[0]) for s in told(store)] == [(2, 305, 545, "packs lost")]
    take_in(store, [sent(6, 365.0, at_s=9001.0), sent(8, 485.0, at_s=9002.0)])
    assert told(store) == []


@pytest.mark.parametrize("asked", [(0.0, 1e5), (1000.0, 3000.0), (2000.0, 5000.0), (0.0, 1000.0)])
def test_a_power_cut_is_told_of_whatever_part_of_it_is_asked_for(store: SqlStore, asked: tuple[float, float]) -> None:
    take_in(store, [*minutes(0, 5), *minutes(0, 5, boot=2, on_s=4000.0)])
    assert brief(told(store, *asked)) == [(305, 4005, "chime without power")]


def test_the_share_of_a_period_counts_each_moment_once(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 9), *minutes(14, 20), *minutes(0, 5, boot=2, on_s=4000.0)])
    # by hand: 545 to 845 packs lost, 1205 to 4005 without power
    assert blind_s(store, 0.0, 4305.0) == pytest.approx(300.0 + 2800.0, abs=0.2)
    assert blind_s(store, 600.0, 700.0) == pytest.approx(100.0)
    assert blind_s(store, 1000.0, 1205.0) == pytest.approx(0.0, abs=0.1)


@given(st.lists(st.tuples(st.integers(0, 30), st.booleans()), unique_by=lambda one: one[0], max_size=25), st.randoms())
def test_runs_of_packs_are_the_same_for_every_order(packs: list[tuple[int, bool]], shuffle: random.Random) -> None:
    """What is missing: recomputed here from the sorted numbers, the plain way."""
    runs: list[heard.Run] = []
    shuffle.shuffle(packs)
    for seq, _ in packs:
        heard.hear(runs, 10.0 * seq, seq)
    told_numbers = sorted(seq for seq, _ in packs)
    plain = [(10.0 * a, 10.0 * b, b - a - 1) for a, b in pairwise(told_numbers) if b - a > 1]
    first = [(0.0, 10.0 * told_numbers[0], told_numbers[0])] if told_numbers and told_numbers[0] else []
    assert [(h.start_up_s, h.end_up_s, h.packs) for h in heard.holes(runs)] == first + plain


def test_a_recording_is_asked_for_all_time_and_has_no_present(store: SqlStore) -> None:
    take_in(store, [*minutes(0, 5), *minutes(9, 12), alive(760.0, False)])
    spells = store.reader().blind_spells("tern-cottage", -inf, inf, inf)
    assert brief(spells) == [(305, 545, "packs lost")]
    assert spells[0].start_s > T0
