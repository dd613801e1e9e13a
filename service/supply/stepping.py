"""The stretch of conduction cut into steps, finer at both ends, with the weights of multistep rules on them.

The same shares for every installation, so the weights are worked out once. Refuses to know what is stepped.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

MARGIN = 1.5
"""Steps that a stretch goes on after its current has ended."""

_BEGIN, _END = (0.8, 0.15), (0.5, 0.1)  # how much finer at either end, and over which share of the steps that fades


@dataclass(frozen=True, slots=True)
class Steps:
    """Shares of a stretch and rules on them.

    Attributes
    ----------
    shares : (M + 1,) nodes from 0 to 1.
    lengths : (M,) steps.
    weights : (M + 1,) of an integral over all.
    adams : (M, 3) shares of the stretch by which the derivative at the new, the last and the one before enters the new value.
    backward : (M, 4) weights of the new, the last and two earlier values in the new derivative, for a stretch of 1.
    """

    shares: Array
    lengths: Array
    weights: Array
    adams: Array
    backward: Array


@cache
def steps_of(count: int) -> Steps:
    """The steps; before the first node two more of the first length are thought."""
    at = (np.arange(count) + 0.5) / count
    density = 1.0 - _BEGIN[0] * np.exp(-at / _BEGIN[1]) - _END[0] * np.exp(-(1.0 - at) / _END[1])
    lengths = density / np.sum(density)
    shares = np.concatenate([[0.0], np.cumsum(lengths)])
    shares[-1] = 1.0
    nodes = np.concatenate([[-2.0 * lengths[0], -lengths[0]], shares])
    adams, backward = np.empty((count, 3)), np.empty((count, 4))
    for k in range(count):
        here = nodes[k : k + 4][::-1] - nodes[k + 2]  # new, last (0), and two before
        new, behind = float(here[0]), float(here[2])
        # integral from 0 to `new` of the parabola through derivatives at new, 0, behind
        adams[k, 0] = (new**2 / 3.0 - behind * new / 2.0) / (new - behind)
        adams[k, 2] = (new**3 / 3.0 - new**3 / 2.0) / (behind * (behind - new))
        adams[k, 1] = new - adams[k, 0] - adams[k, 2]
        # derivative at `new` of the cubic through four values
        for j in range(4):
            others = [i for i in range(4) if i != j]
            scale = np.prod([here[j] - here[i] for i in others])
            inner = sum(np.prod([new - here[i] for i in others if i != left]) for left in others)
            backward[k, j] = inner / scale
    return Steps(shares, lengths, _weights(shares), adams, backward)


def _weights(shares: Array) -> Array:
    """Weights of an integral over all nodes: over each step the mean of the parabolas through it and a neighbour."""
    count = len(shares) - 1
    weights = np.zeros(count + 1)
    for k in range(count):
        starts = {min(max(start, 0), count - 2) for start in (k - 1, k)}
        for start in starts:
            nodes = shares[start : start + 3] - shares[k]
            powers = np.vander(nodes, 3, increasing=True).T
            length = shares[k + 1] - shares[k]
            moments = np.array([length, length**2 / 2.0, length**3 / 3.0])
            weights[start : start + 3] += np.linalg.solve(powers, moments) / len(starts)
    return weights
