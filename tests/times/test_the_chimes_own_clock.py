"""Promise: a chime's own clock is one more witness, believed where it agrees with the packs within its own error, else not at all.

A clock that counts whole seconds is up to 1 s behind; another 0.5 s is allowed for how well it was set.
"""

import math
import random

import pytest

from service.walltime import BootClock
from tests.times.boots import START_S


def hearing(delays_s: list[float], clock_error_s: float | None, spacing_s: float = 60.0) -> BootClock:
    clock = BootClock()
    for n, delay_s in enumerate(delays_s):
        made_s = START_S + 0.4 + spacing_s * n
        clock = clock.with_witness(spacing_s * n, made_s + delay_s)
        if clock_error_s is not None:
            clock = clock.with_clock(spacing_s * n, math.floor(made_s) + clock_error_s)
    return clock


def test_where_delays_were_large_it_sharpens_the_time() -> None:
    slow = [1.9, 1.7, 1.8]
    without, helped = hearing(slow, None), hearing(slow, 0.0)
    assert abs(helped.line().wall_s(0.0) - START_S - 0.4) < 0.9 < abs(without.line().wall_s(0.0) - START_S - 0.4)


def test_a_flush_that_may_be_minutes_old_is_dated_by_it() -> None:
    flush = [600.0 - 60.0 * n for n in range(10)]
    without, helped = hearing(flush, None), hearing(flush, 0.0)
    assert without.line().wall_s(0.0) == pytest.approx(START_S + 60.4, abs=0.1)
    assert without.uncertainty_s(0.0) > 60.0
    assert helped.line().wall_s(0.0) == pytest.approx(START_S + 0.4, abs=1.0)
    assert helped.uncertainty_s(0.0) < 2.0


@pytest.mark.parametrize("wrong_s", [-3.2e7, -3600.0, -10.0, 10.0, 3600.0])  # not set, an hour's zone, ten seconds
def test_a_clock_that_is_wrong_is_not_believed(wrong_s: float) -> None:
    quick = [0.02, 0.05, 0.03, 0.08, 0.02]
    assert hearing(quick, wrong_s).line() == hearing(quick, None).line()
    assert hearing(quick, wrong_s).uncertainty_s(0.0) == hearing(quick, None).uncertainty_s(0.0)


def test_it_is_not_believed_to_be_later_than_the_arrival_of_a_pack() -> None:
    flush = [600.0 - 60.0 * n for n in range(10)]
    assert hearing(flush, 90.0).line() == hearing(flush, None).line()  # 30 s after the newest pack arrived


def test_it_spoils_nothing_where_packs_are_quick() -> None:
    noise = random.Random(2)
    quick = [noise.expovariate(50.0) for _ in range(60)]
    assert hearing(quick, 0.0).line().wall_s(0.0) == pytest.approx(START_S + 0.4, abs=0.05)


def test_a_few_readings_are_kept_of_thousands() -> None:
    assert len(hearing([0.02] * 3000, 0.0).readings) <= 4
