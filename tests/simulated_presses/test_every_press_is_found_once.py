"""Promise: of simulated fingers at simulated contacts, every press that gave a pulse is in the log once, at its time, and no other is.

Holds after 607 measured key holds, bounce up to 6.2 ms, drop-outs up to 45 ms, hurried doubles 90 ms apart, 50 and 60 Hz, front and
rear doors. `deploy/bench presses` does the same with 2,400 presses and prints the table.
"""

import numpy as np
import pytest

from deploy.benchmarks import presses
from deploy.benchmarks.presses import HOUSES, House, Score

COUNT, SEED = 160, 7


@pytest.fixture(scope="module")
def measured() -> tuple[dict[House, Score], dict[House, bool]]:
    return presses.measure(COUNT, SEED)


@pytest.mark.parametrize("house", HOUSES, ids=lambda h: h.chime)
def test_none_is_missed_and_none_invented(measured: tuple[dict[House, Score], dict[House, bool]], house: House) -> None:
    found = measured[0][house]
    assert found.made == COUNT // len(HOUSES)
    assert (found.missed, found.invented) == (0, 0)
    assert found.worst_s <= 0.060
    assert (
        found.unseen <= 0.01 * found.made
    )  # the shortest hold of the record is longer than any blind gap of the mains
    assert found.drop_outs > 0
    assert found.bouncing > 0


@pytest.mark.parametrize("house", HOUSES, ids=lambda h: h.chime)
def test_shuffled_packs_are_the_same_log(measured: tuple[dict[House, Score], dict[House, bool]], house: House) -> None:
    assert measured[1][house]


def test_a_log_that_misses_or_invents_is_found_out() -> None:
    """The measure itself: without the first press, and with one too many."""
    rng = np.random.default_rng(1)
    made = presses.press(HOUSES[0], 8, rng)
    found = presses.record(presses.packs(HOUSES[0], made, rng))[HOUSES[0].chime]
    good = presses.score(made, found)
    assert (good.missed, good.invented, good.recall) == (0, 0, 1.0)
    assert presses.score(made, found[1:]).missed == 1
    assert presses.score(made[1:], found).invented == 1
    assert not presses.alike(found, found[1:])
