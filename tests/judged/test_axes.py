"""Promise: the farther a quantity of the supply has moved, the surer its fault; at rest the supply is healthy; each axis has its own.

Properties that any sound weighing has; the limits of the contract's faults are common practice, no source.
"""

from itertools import pairwise

import numpy as np
import pytest

from service.findings.axes import AXES, SINGLES, Displacement, Judged, judge_axes

SCATTER = np.diag(np.array([0.012, 0.07, 0.022, 0.11, 0.03]) ** 2)
MEASURED = np.diag(np.array([0.01, 0.04, 0.01, 0.03, 0.02]) ** 2)


def judged(
    dropped_out: bool | None = False, unknown: tuple[str, ...] = (), sharpness: float = 1.0, **moved: float
) -> Judged:
    """`moved`: ratios now to then."""
    place = np.array([np.log(moved.get(axis, 1.0)) for axis in AXES])
    for axis in unknown:
        place[AXES.index(axis)] = np.nan
    return judge_axes(Displacement(place, MEASURED / sharpness**2, 4.0, 8e-3, dropped_out), SCATTER)


def first(answer: Judged) -> str:
    return max(answer.faults, key=lambda name: answer.faults[name])


def test_at_rest_the_supply_is_healthy() -> None:
    answer = judged()
    assert answer.healthy > 0.9
    assert max(answer.faults.values()) < 0.1


def test_nothing_measured_nothing_found() -> None:
    assert judged(unknown=AXES) == Judged({}, 1.0)


MOVES = {
    "reservoir-aged": {"c": 0.6},
    "source-resistance-high": {"r": 3.0},
    "mains-low": {"v": 0.84},
    "wrong-transformer": {"v": 1.5},
    "load-high": {"idle": 3.0},
}


@pytest.mark.parametrize("name", MOVES)
def test_each_fault_moves_its_own_axis(name: str) -> None:
    answer = judged(**MOVES[name])
    assert first(answer) == name
    assert answer.faults[name] > 0.9
    assert answer.healthy < 0.05


def test_the_sounding_load_is_a_load_too() -> None:
    assert first(judged(sound=1.6)) == "load-high"


@pytest.mark.parametrize(
    ("name", "axis", "ratios"),
    [
        ("reservoir-aged", "c", [1.0, 0.95, 0.9, 0.85, 0.75, 0.6]),
        ("source-resistance-high", "r", [1.0, 1.2, 1.5, 1.9, 2.6, 4.0]),
        ("mains-low", "v", [1.0, 0.97, 0.94, 0.91, 0.87, 0.8]),
        ("load-high", "idle", [1.0, 1.3, 1.7, 2.2, 3.0, 5.0]),
        ("load-high", "sound", [1.0, 1.08, 1.16, 1.3, 1.5, 1.9]),
    ],
)
def test_the_farther_the_surer(name: str, axis: str, ratios: list[float]) -> None:
    likelihoods = [judged(**{axis: ratio}).faults[name] for ratio in ratios]
    assert all(later >= earlier - 0.01 for earlier, later in pairwise(likelihoods))
    assert likelihoods[0] < 0.1
    assert likelihoods[-1] > 0.9


@pytest.mark.parametrize(("axis", "ratio"), [("c", 1.3), ("r", 0.5), ("idle", 0.5), ("sound", 0.7)])
def test_moved_for_the_better_is_no_fault(axis: str, ratio: float) -> None:
    """More capacity or less load than at commissioning: somebody has changed a part; none of the six faults does that."""
    answer = judged(**{axis: ratio})
    own = {"c": "reservoir-aged", "r": "source-resistance-high", "idle": "load-high", "sound": "load-high"}[axis]
    assert answer.faults[own] < 0.5


def test_two_faults_are_both_named() -> None:
    answer = judged(c=0.55, r=3.5)
    assert answer.faults["reservoir-aged"] > 0.8
    assert answer.faults["source-resistance-high"] > 0.8


def test_what_is_hardly_known_is_hardly_a_reason() -> None:
    assert judged(c=0.8, sharpness=0.05).faults["reservoir-aged"] < judged(c=0.8).faults["reservoir-aged"]


def test_an_axis_that_was_not_measured_is_passed_over() -> None:
    answer = judged(unknown=("c", "r"), v=0.84)
    assert first(answer) == "mains-low"
    assert answer.faults["reservoir-aged"] < 0.2


def test_a_regulator_drops_out_only_where_it_was_seen_to() -> None:
    assert judged(dropped_out=False, sound=1.3, v=0.9).faults["regulator-drops-out"] < 0.01
    assert judged(dropped_out=None, sound=1.3, v=0.9).faults["regulator-drops-out"] < 0.01
    assert judged(dropped_out=True, sound=1.3, v=0.9).healthy < 0.05


def test_shares_are_probabilities() -> None:
    random = np.random.default_rng(5)
    for _ in range(30):
        place = random.normal(0.0, [0.3, 0.6, 0.15, 0.6, 0.3])
        answer = judge_axes(Displacement(place, MEASURED, 4.0, 8e-3, bool(random.random() < 0.3)), SCATTER)
        assert set(answer.faults) == set(SINGLES)
        assert all(0.0 <= share <= 1.0 + 1e-9 for share in answer.faults.values())
        assert 0.0 <= answer.healthy <= 1.0
        assert answer.healthy + max(answer.faults.values()) <= 1.0 + 1e-9
