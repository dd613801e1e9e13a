"""Promise: three examples teach a cadence; what cannot become one is refused with a sentence that says what to do instead."""

import re
from dataclasses import replace

import numpy as np
import pytest

from service.errors import Refused
from service.presses.cadence import Cadence
from service.presses.lesson import EXAMPLES, LESSON_S, MISTAKEN_AT_MOST, PARTED_S, Lesson, teach
from tests.cadence.hands import Hand, Presses

FAMILY = Hand((0.2, 0.2, 0.9), (0.3, 0.3), own=0.05, tempo=0.05)
T0 = 1_789_380_000.0


def three(hand: Hand, seed: int = 1) -> list[Presses]:
    rng = np.random.default_rng(seed)
    return [hand.press(rng) for _ in range(3)]


def test_three_examples_teach_what_was_pressed() -> None:
    cadence = teach("family", three(FAMILY))
    # Twelve percent: two standard errors of a mean of three with 7 % spread, and half a cycle of 0.2 s.
    assert cadence.holds_s == pytest.approx(FAMILY.holds_s, rel=0.12)
    assert cadence.gaps_s == pytest.approx(FAMILY.gaps_s, rel=0.12)
    assert cadence.recognised >= 0.95
    assert cadence.mistaken <= MISTAKEN_AT_MOST


def test_the_same_examples_teach_the_same_cadence() -> None:
    assert teach("family", three(FAMILY)) == teach("family", three(FAMILY))


def lengths(*holds: float, gap: float = 0.3) -> Presses:
    at, found = 0.0, []
    for hold in holds:
        found.append((at, at + hold))
        at += hold + gap
    return [*found]


@pytest.mark.parametrize(
    ("examples", "reason"),
    [
        ([lengths(0.2, 0.2, 0.9)] * 2, "taught by 3 examples; 2 were heard"),
        ([lengths(0.2, 0.2, 0.9)] * 2 + [lengths(0.2, 0.9)], "3, 3 and 2 presses"),
        ([lengths(0.9)] * 3, "single press"),
        ([lengths(*[0.2, 0.9] * 5)] * 3, "10 presses are too many"),
        ([lengths(0.2, 0.2, 0.2)] * 3, "too alike (0.22, 0.22, 0.22 s)"),
        ([lengths(0.25, 0.25, 0.4)] * 3, "too alike"),
        ([lengths(0.2, 0.2, 0.9, gap=2.0)] * 3, "Too slow: a pause of 2.0 s"),
        ([lengths(0.2, 0.2, 6.0)] * 3, "Too slow: a press of 6.0 s"),
        ([lengths(0.2, 0.2, 0.9, gap=0.1)] * 3, "Too quick: a pause of 0.08 s"),
        ([lengths(0.02, 0.2, 0.9)] * 3, "Too quick: a press of 0.04 s"),
        (
            [lengths(0.2, 0.2, 0.9), lengths(0.2, 0.2, 0.9), lengths(0.2, 1.2, 0.9)],
            "unlike one another: press 2 took 0.22, 0.22, 1.22 s",
        ),
        ([[(0.0, 0.2), (0.5, 0.7), (1.0, None)]] * 3, "release of a press was not heard"),
    ],
)
def test_what_cannot_be_a_cadence_is_refused_with_its_reason(examples: list[Presses], reason: str) -> None:
    with pytest.raises(Refused, match=re.escape(reason)):
        teach("family", examples)


def test_a_cadence_without_a_name_is_refused() -> None:
    with pytest.raises(Refused, match="needs a name"):
        teach("  ", three(FAMILY))


def test_a_steady_hand_with_20_percent_spread_is_hardly_ever_called_unlike_itself() -> None:
    rng, refused = np.random.default_rng(2), 0
    hand = replace(FAMILY, own=0.20, tempo=0.10)
    for _ in range(400):
        try:
            teach("family", [hand.press(rng) for _ in range(3)])
        except Refused as error:
            refused += "unlike" in str(error)
    assert refused <= 4  # one in a thousand is meant


@pytest.mark.parametrize(
    ("other", "reason"),
    [
        (Hand((0.25, 0.25, 0.8), (0.35, 0.35), 0.05), "too close to family: a hand cannot keep the two apart"),
        (Hand((0.9, 0.2, 0.9), (0.3, 0.3), 0.05), "too close to family: a hand cannot keep the two apart"),
        (Hand((0.2, 0.2, 0.2, 0.9), (0.3, 0.3, 0.3), 0.05), "too close to family: with one press missed"),
        (Hand((0.2, 0.2, 0.9, 0.9), (0.3, 0.3, 0.3), 0.05), "too close to family: with one press missed"),
        (Hand((0.13, 1.2), (0.4,), 0.05), "too close to family: with one press missed"),
    ],
)
def test_two_that_a_hand_or_a_button_could_confuse_are_refused(other: Hand, reason: str) -> None:
    family = teach("family", three(FAMILY))
    with pytest.raises(Refused, match=f"(?i){reason}"):
        teach("friends", three(other), [family])


def test_another_order_of_long_and_short_is_far_enough() -> None:
    family = teach("family", three(FAMILY))
    friends = teach("friends", three(Hand((0.9, 0.2, 0.2), (0.3, 0.3), 0.05)), [family])
    assert (
        teach("family", three(FAMILY, seed=9), [family, friends]).name == "family"
    )  # taught anew, not too close to itself


# ── the lesson ──────────────────────────────────────────────────────────────────────────────────────────────────────


def at(presses: Presses, start_s: float) -> Presses:
    return [(start + start_s, None if end is None else end + start_s) for start, end in presses]


def test_three_visits_make_a_lesson() -> None:
    lesson = Lesson("family", T0)
    for n, example in enumerate(three(FAMILY)):
        assert lesson.stage(T0 + 100.0 * n) == "listening"
        lesson = lesson.with_visit(at(example, T0 + 100.0 * n), T0 + 100.0 * n + 30.0)
    assert lesson.stage(T0 + 300.0) == "heard"
    assert isinstance(lesson.cadence([]), Cadence)


def test_three_examples_in_one_visit_make_a_lesson_too() -> None:
    presses = [press for n, example in enumerate(three(FAMILY)) for press in at(example, T0 + 10.0 * n)]
    lesson = Lesson("family", T0).with_visit(presses, T0 + 40.0)
    assert len(lesson.examples) == EXAMPLES
    assert lesson.cadence([]).holds_s == pytest.approx(teach("family", three(FAMILY)).holds_s, rel=1e-5)


def test_a_visit_that_grows_and_is_told_again_and_again_adds_each_example_once() -> None:
    presses = [press for n, example in enumerate(three(FAMILY)) for press in at(example, T0 + 10.0 * n)]
    grown = Lesson("family", T0)
    for heard in range(1, len(presses) + 1):
        now_s = presses[heard - 1][0] + 1.0
        grown = grown.with_visit(presses[:heard], now_s).with_visit(presses[:heard], now_s)
    grown = grown.with_visit(presses, T0 + 60.0)
    assert grown == Lesson("family", T0).with_visit(presses, T0 + 60.0)


def test_a_phrase_counts_only_when_it_is_over() -> None:
    example = at(three(FAMILY)[0], T0 + 5.0)
    end = example[-1][1]
    assert end is not None
    assert not Lesson("family", T0).with_visit(example[:2], example[1][0] + 0.5).examples
    assert not Lesson("family", T0).with_visit(example, end + 0.9 * PARTED_S).examples
    assert Lesson("family", T0).with_visit(example, end + 1.1 * PARTED_S).examples == (tuple(example),)


def test_a_caller_who_rings_once_does_not_disturb_the_lesson() -> None:
    assert not Lesson("family", T0).with_visit([(T0 + 10.0, T0 + 10.4)], T0 + 60.0).examples


def test_presses_before_the_lesson_or_after_its_end_are_not_learnt() -> None:
    lesson = Lesson("family", T0)
    for start_s in (T0 - 5.0, T0 + LESSON_S + 1.0):
        assert not lesson.with_visit(at(three(FAMILY)[0], start_s), start_s + 30.0).examples
    assert lesson.stage(T0 + LESSON_S - 1.0) == "listening"
    assert lesson.stage(T0 + LESSON_S) == "expired"


def test_a_finished_lesson_stays_finished() -> None:
    lesson = Lesson("family", T0)
    for n, example in enumerate(three(FAMILY)):
        lesson = lesson.with_visit(at(example, T0 + 100.0 * n), T0 + 100.0 * n + 30.0)
    assert lesson.with_visit(at(three(FAMILY)[0], T0 + 400.0), T0 + 430.0) == lesson
    assert lesson.stage(T0 + 10.0 * LESSON_S) == "heard"
