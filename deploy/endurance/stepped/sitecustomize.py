"""Imported by every Python that runs under libfaketime here: a `time.sleep` that works there.

libfaketime 0.9.10 answers EINVAL to the clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME) of Python's own, once the clock has
been stepped and the monotonic clock is left alone. Touches nothing else.
"""

import select
import time


def _sleep(seconds: float) -> None:
    if seconds < 0:
        raise ValueError("sleep length must be non-negative")
    select.select([], [], [], seconds)


time.sleep = _sleep
