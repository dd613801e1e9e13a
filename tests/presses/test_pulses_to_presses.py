"""Promise: detector pulses become presses, each once, whatever the order in which their pieces arrive.

The mains gives one pulse per cycle while the button is held (common practice, no source).
"""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.presses import pulses
from service.presses.pulses import Fragment


def held(start_s: float, length_s: float, mains_hz: float = 50.0, width_s: float = 0.007) -> list[tuple[float, float]]:
    """Pulses of a clean press."""
    period = 1.0 / mains_hz
    return [(start_s + n * period, start_s + n * period + width_s) for n in range(int(length_s * mains_hz))]


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_a_clean_press_is_one_press_without_drop_outs_or_bounce(mains_hz: float) -> None:
    (press,) = pulses.fragments(held(1.0, 0.4, mains_hz))
    assert (press.pulses, press.drop_outs, press.bounce) == (int(0.4 * mains_hz), 0, False)


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_presses_again_after_90_ms_stay_two(mains_hz: float) -> None:
    first = held(0.0, 0.2, mains_hz)
    assert len(pulses.fragments(first + held(first[-1][1] + 0.090, 0.2, mains_hz))) == 2


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_a_hole_of_42_ms_is_one_press_with_a_drop_out(mains_hz: float) -> None:
    # A published bounce record contains a 42 ms hole: adamfk/bouncy-button-data.
    whole = held(0.0, 0.6, mains_hz)
    holed = [pulse for pulse in whole if not (pulse[1] > 0.2 and pulse[0] < 0.242)]
    (press,) = pulses.fragments(holed)
    assert press.drop_outs == 1


def test_gaps_inside_a_half_cycle_are_bounce() -> None:
    # 1.6 ms is the average of a bounce survey (Ganssle, from memory).
    (press,) = pulses.fragments([(0.0, 0.001), (0.0026, 0.007), (0.02, 0.027)])
    assert press.bounce
    assert press.drop_outs == 0


def test_one_short_pulse_alone_is_doubtful() -> None:
    (press,) = pulses.fragments([(0.0, 0.0002)])
    assert press.sure == "doubtful"
    assert pulses.fragments([(0.0, 0.0005)])[0].sure == "likely"


@given(cuts=st.sets(st.integers(1, 19)), order=st.randoms(use_true_random=False))
def test_pieces_of_a_press_join_to_the_same_press_in_any_order(cuts: set[int], order: st.DataObject) -> None:
    train = held(0.0, 0.4)
    bounds = [0, *sorted(cuts), len(train)]
    pieces = [pulses.fragments(train[a:b])[0] for a, b in itertools.pairwise(bounds)]
    (whole,) = pulses.fragments(train)
    order.shuffle(pieces)  # type: ignore[attr-defined]
    assert pulses.join_all(pieces) == whole


def test_a_chime_that_debounces_by_itself_has_told_its_presses_apart() -> None:
    a, b = Fragment(1.0, 1.1, "contact"), Fragment(1.13, 1.2, "contact")
    assert not pulses.belongs(a, b)
    assert pulses.belongs(Fragment(1.0, None, "contact"), a)


def test_pulses_tell_more_than_the_chimes_own_word_about_the_same_press() -> None:
    told, seen = Fragment(1.0, 1.4, "contact"), pulses.fragments(held(1.005, 0.38))[0]
    joined = pulses.join(told, seen)
    assert (joined.source, joined.pulses, joined.start_up_s, joined.end_up_s) == ("edges", 19, 1.0, 1.4)


def test_a_lost_open_leaves_the_end_unknown() -> None:
    assert pulses.closed_stretches([(1.0, True), (5.0, True), (5.2, False)]) == [(1.0, None), (5.0, 5.2)]


def test_a_first_pulse_told_at_once_and_the_whole_press_in_numbers_are_one_sure_press() -> None:
    first = pulses.fragments([(10.0, 10.007)])[0]
    whole = pulses.Fragment(10.0, 10.4, "summary", pulses=20, longest_gap_s=0.0125, widest_s=0.0075)
    for press in (pulses.join(first, whole), pulses.join(whole, first)):
        assert (press.pulses, press.sure, press.end_up_s) == (20, "sure", 10.4)
