"""Promise: a household's cadence is recognised in at least 95 of 100 visits, and at most one other visit in 1,000 is taken for it.

Simulated hands with 20 % spread in each press and pause by itself, and 10 % in the tempo of the whole; seeded.
"""

import json
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from service.errors import Refused
from service.presses.cadence import (
    UNSEEN_S,
    Cadence,
    chi_square,
    log_density,
    logarithms,
    phrases,
    recognise,
    spread_of,
)
from service.presses.lesson import teach
from tests.cadence.hands import Hand, Presses, caller, impatient, leaning, one_missed, seen, typist

HANDS = {
    "short-short-long": Hand((0.2, 0.2, 0.9), (0.3, 0.3)),
    "short-long-long": Hand((0.2, 0.8, 0.8), (0.3, 0.3)),
    "long-short-long": Hand((0.8, 0.2, 0.8), (0.3, 0.3)),
    "quick short-short-long": Hand((0.1, 0.1, 0.5), (0.28, 0.28)),
    "slow short-short-long": Hand((0.3, 0.3, 1.3), (0.6, 0.6)),
    "short-long": Hand((0.15, 1.2), (0.4,)),
    "short-short-short-long": Hand((0.2, 0.2, 0.2, 0.9), (0.3, 0.3, 0.3)),
}

HOUSE = {
    "family": HANDS["short-short-long"],
    "friends": Hand((0.9, 0.2, 0.2), (0.3, 0.3)),
    "post": Hand((0.2, 0.8, 0.2, 0.8, 0.2), (0.3, 0.3, 0.3, 0.3)),
}
"""Three that one household keeps beside one another."""


def learnt(
    hand: Hand, name: str, rng: np.random.Generator, known: list[Cadence] | None = None, mains_hz: float = 50.0
) -> Cadence:
    """From three examples of that hand; three that are refused are pressed again, as a household would."""
    for _ in range(20):
        with suppress(Refused):
            return teach(name, [hand.press(rng, mains_hz=mains_hz) for _ in range(3)], known or [])
    raise AssertionError(f"{name} was refused twenty times")


def house(rng: np.random.Generator) -> list[Cadence]:
    known: list[Cadence] = []
    for name, hand in HOUSE.items():
        known.append(learnt(hand, name, rng, known))
    return known


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_at_least_95_of_100_visits_of_the_hand_are_recognised(mains_hz: float) -> None:
    rng = np.random.default_rng(20)
    recognised, promised = [], []
    for name, hand in HANDS.items():
        for _lesson in range(30):
            cadence = learnt(hand, name, rng, mains_hz=mains_hz)
            promised.append(cadence.recognised)
            visits = [hand.press(rng, mains_hz=mains_hz) for _ in range(20)]
            recognised += [recognise(visit, [cadence]) is not None for visit in visits]
    assert len(recognised) == 4200
    assert np.mean(recognised) >= 0.95
    assert np.mean(recognised) == pytest.approx(np.mean(promised), abs=0.015)  # the model keeps its word


def test_a_hand_whose_whole_spread_is_20_percent_is_recognised_in_97_of_100_visits() -> None:
    rng = np.random.default_rng(21)
    recognised = []
    for name, hand in HANDS.items():
        steadier = replace(hand, own=0.16, tempo=0.12)
        for _lesson in range(15):
            cadence = learnt(steadier, name, rng)
            recognised += [recognise(steadier.press(rng), [cadence]) is not None for _ in range(20)]
    assert np.mean(recognised) >= 0.97


def invented_caller(rng: np.random.Generator) -> Presses:
    """The mix of the invented house: 68, 23 and 9 of 100 visits with one, two, three presses, 3 in 10 pressed again at once."""
    return caller(rng, 1 + int(rng.choice(3, p=(0.68, 0.23, 0.09))))


def test_at_most_one_other_visit_in_1000_is_taken_for_a_cadence_of_the_house() -> None:
    rng = np.random.default_rng(22)
    kinds: dict[str, Callable[[], Presses]] = {
        "invented callers": lambda: invented_caller(rng),
        "single": lambda: caller(rng, 1),
        "double": lambda: caller(rng, 2),
        "triple": lambda: caller(rng, 3),
        "typist": lambda: typist(rng, int(rng.integers(2, 7))),
        "impatient": lambda: impatient(rng),
        "leaning": lambda: leaning(rng),
    }
    mistaken: dict[str, list[bool]] = {kind: [] for kind in (*kinds, "one missed", "another's")}
    for _ in range(16):
        cadences = house(rng)
        for kind, visit in kinds.items():
            mistaken[kind] += [recognise(visit(), cadences) is not None for _ in range(150)]
        for name, hand in HOUSE.items():
            pressed = [hand.press(rng) for _ in range(50)]
            mistaken["one missed"] += [recognise(one_missed(visit, rng), cadences) is not None for visit in pressed]
            found = [recognise(visit, cadences) for visit in pressed]
            mistaken["another's"] += [one is not None and one.name != name for one in found]
    every = [one for kind in mistaken.values() for one in kind]
    assert len(every) == 21_600
    assert np.mean(every) <= 0.001
    assert not any(mistaken["single"])
    for kind in mistaken.keys() - {"triple"}:
        assert np.mean(mistaken[kind]) <= 0.001, kind
    # Three presses each drawn by itself, long and short as it comes, are by chance what a hand may have meant: 6 in 1,000.
    assert np.mean(mistaken["triple"]) <= 0.01


def test_of_the_invented_callers_at_most_one_in_1000_is_taken_for_a_cadence() -> None:
    rng = np.random.default_rng(23)
    mistaken = []
    for _ in range(10):
        cadences = house(rng)
        mistaken += [recognise(invented_caller(rng), cadences) is not None for _ in range(1000)]
    assert np.mean(mistaken) <= 0.001


def test_a_single_press_is_never_a_cadence_however_long() -> None:
    rng = np.random.default_rng(24)
    cadences = house(rng)
    assert not any(recognise([(0.0, hold)], cadences) for hold in np.geomspace(0.01, 100.0, 200))


def test_pressed_again_after_a_pause_it_is_recognised_once_with_its_number() -> None:
    rng = np.random.default_rng(25)
    hand = replace(HANDS["short-short-long"], own=0.05)
    cadence = learnt(hand, "family", rng)
    found = recognise(hand.press(rng) + hand.press(rng, start_s=8.0), [cadence])
    assert found is not None
    assert (found.name, found.times) == ("family", 2)


def test_an_impatient_press_before_or_after_it_changes_nothing() -> None:
    rng = np.random.default_rng(26)
    hand = replace(HANDS["short-short-long"], own=0.05)
    cadence = learnt(hand, "family", rng)
    phrase = hand.press(rng, start_s=10.0)
    assert recognise([(5.0, 5.3), *phrase, (20.0, 20.1)], [cadence]) == recognise(phrase, [cadence])
    assert recognise(phrase[::-1], [cadence]) == recognise(phrase, [cadence])  # order of arrival does not matter


def test_a_press_more_without_a_pause_or_a_release_not_heard_is_not_the_cadence() -> None:
    rng = np.random.default_rng(27)
    hand = replace(HANDS["short-short-long"], own=0.05)
    cadence = learnt(hand, "family", rng)
    phrase = hand.press(rng)
    assert recognise(phrase, [cadence]) is not None
    end = phrase[-1][1]
    assert end is not None
    assert recognise([*phrase, (end + 0.3, end + 0.5)], [cadence]) is None
    assert recognise([*phrase[:-1], (phrase[-1][0], None)], [cadence]) is None


def test_exactly_as_taught_the_distance_is_nothing_and_it_grows_to_one() -> None:
    rng = np.random.default_rng(28)
    hand = replace(HANDS["short-short-long"], own=0.0, tempo=0.0)
    cadence = learnt(hand, "family", rng)
    near, far = recognise(hand.press(rng), [cadence]), recognise(replace(hand, tempo=0.2).press(rng), [cadence])
    assert near is not None
    assert far is not None
    assert near.distance < 0.1 < far.distance <= 1.0


def test_long_and_short_must_stay_long_and_short() -> None:
    # The same three presses, ever more alike: past some point it is an ordinary caller's, though its length has not changed.
    cadence = learnt(HANDS["short-short-long"], "family", np.random.default_rng(29))
    shorts = np.geomspace(0.2, 0.45, 12)
    found = [recognise([(0.0, s), (s + 0.3, 2 * s + 0.3), (2 * s + 0.6, 1.9)], [cadence]) is not None for s in shorts]
    assert found[0]
    assert not found[-1]
    assert found == sorted(found, reverse=True)


def test_short_short_and_then_leaning_is_not_short_short_long() -> None:
    # Nothing like an ordinary caller, and nothing like what was taught either: the chi-square bound refuses it.
    cadence = learnt(replace(HANDS["short-short-long"], own=0.05), "family", np.random.default_rng(32))
    assert recognise([(0.0, 0.2), (0.5, 0.7), (1.0, 1.9)], [cadence]) is not None
    assert recognise([(0.0, 0.2), (0.5, 0.7), (1.0, 6.0)], [cadence]) is None


def test_of_presses_hardly_longer_than_three_mains_cycles_95_of_100_are_recognised_too() -> None:
    # 97 ms is the mean of 607 key holds of one person; the detector may take 20 ms off either end of the 70 ms here.
    rng = np.random.default_rng(33)
    hand, recognised = Hand((0.07, 0.07, 0.45), (0.3, 0.3)), []
    for _lesson in range(60):
        cadence = learnt(hand, "family", rng)
        recognised += [recognise(hand.press(rng), [cadence]) is not None for _ in range(20)]
    assert np.mean(recognised) >= 0.95


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_what_the_detector_cannot_see_scatters_no_more_than_the_model_says(mains_hz: float) -> None:
    # Two losses, each even within a mains cycle: a standard deviation of a cycle / sqrt(6), at 50 Hz exactly the model's.
    rng, cycle_s = np.random.default_rng(34), 1.0 / mains_hz
    true = rng.uniform(0.1, 0.1 + cycle_s, 4000)
    heard = [logarithms(seen([hold, 0.5], [0.3], rng, mains_hz=mains_hz)) for hold in true]
    lost = true - np.exp([one[0] for one in heard if one is not None])
    assert np.std(lost) == pytest.approx(cycle_s / 6**0.5, rel=0.05)
    assert np.std(lost) <= 1.05 * UNSEEN_S
    short = spread_of(np.log([0.07, 0.5, 0.3]))
    assert short[0, 0] == pytest.approx(0.20**2 + 0.10**2 + (UNSEEN_S / 0.07) ** 2)


def test_a_press_whose_release_was_not_heard_still_belongs_to_its_phrase() -> None:
    presses = [(0.0, 0.1), (0.5, None), (0.9, 1.0), (1.2, 1.3), (9.0, None), (10.5, 10.6)]
    assert [len(run) for run in phrases(presses, 1.0)] == [4, 1, 1]
    cadence = learnt(replace(HANDS["short-short-long"], own=0.05), "family", np.random.default_rng(32))
    assert (
        recognise([(-0.4, None), (0.0, 0.2), (0.5, 0.7), (1.0, 1.9)], [cadence]) is None
    )  # four presses are not three


def test_what_was_taught_survives_being_kept_as_json() -> None:
    cadence = learnt(HANDS["short-short-long"], "family", np.random.default_rng(30))
    assert Cadence.from_json(json.loads(json.dumps(cadence.to_json()))) == cadence


@pytest.mark.parametrize(
    ("share", "freedoms"), [(0.95, (2, 3, 5, 9, 30)), (0.99, (2, 3, 5, 9, 30)), (0.999, (6, 10, 18, 30))]
)
def test_the_chi_square_bound_agrees_with_scipy_to_one_percent(share: float, freedoms: tuple[int, ...]) -> None:
    z = float(stats.norm.ppf(share))
    assert [chi_square(freedom, z) for freedom in freedoms] == pytest.approx(stats.chi2.ppf(share, freedoms), rel=0.01)


def test_the_log_normal_density_agrees_with_scipy() -> None:
    rng = np.random.default_rng(31)
    root = rng.normal(size=(5, 5))
    covariance, middle, x = root @ root.T + np.eye(5), rng.normal(size=5), rng.normal(size=(20, 5))
    assert log_density(x, middle, covariance) == pytest.approx(stats.multivariate_normal(middle, covariance).logpdf(x))
