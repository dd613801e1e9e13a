"""Where in a stretch of steps the conduction ends: so that the next stretch holds it and little more.

Refuses to know how the steps were made.
"""

import numpy as np
from numpy.typing import NDArray

from service.supply.stepping import Steps

Array = NDArray[np.float64]


def last_fall(depth: Array, level: Array, steps: Steps) -> Array:
    """Share of the stretch at which `depth` last falls through `level`; beyond 1 by the last slope where it has not."""
    count = len(steps.lengths)
    above = depth[1:] > level
    last = count - np.argmax(above[::-1], axis=0)  # last node still above
    last = np.clip(np.where(np.any(above, axis=0), last, 0), 0, count - 1)
    left = np.take_along_axis(depth, last[np.newaxis], axis=0)[0]
    right = np.take_along_axis(depth, last[np.newaxis] + 1, axis=0)[0]
    part = np.maximum(left - level, 0.0) / np.maximum(left - right, 1e-9) * steps.lengths[last]
    return np.asarray(steps.shares[last] + np.minimum(part, 0.3), dtype=np.float64)


def end_with_coil(current: Array, steps: Steps) -> Array:
    """The same where an inductance ends the current abruptly: the parabola through its last three good nodes, run to zero."""
    count = len(steps.lengths)
    good = current > 0.03 * np.max(current, axis=0)
    last = np.clip(count - np.argmax(good[::-1], axis=0), 2, count)
    third, second, first = (np.take_along_axis(current, last[np.newaxis] - k, axis=0)[0] for k in (2, 1, 0))
    here, before, earlier = steps.shares[last], steps.shares[last - 1], steps.shares[last - 2]
    slope = (first - second) / (here - before)
    bend = (slope - (second - third) / (before - earlier)) / (here - earlier)
    slope = np.minimum(slope + bend * (here - before), -1e-9)  # at the last node
    # 0 = first + slope·x + bend·x², the nearer root, written so that no bend does no harm
    root = np.sqrt(np.maximum(slope * slope - 4.0 * bend * first, 0.25 * slope * slope))
    return np.asarray(here + np.minimum(2.0 * first / (root - slope), 0.3), dtype=np.float64)
