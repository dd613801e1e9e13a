"""From samples over time to an alarm's condition: deadband, on-delay, off-delay, re-alarm time.

The same few steps serve live use, one sample at a time, and history, folded over all of them. Where nothing arrives a delay
elapses all the same: `due_s` says when. Knows no clock, no rule and no state of an alarm. Meanings after OPC 10000-9.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Booleans = NDArray[np.bool_]

Side = Literal["above", "below"]


class Delays(NamedTuple):
    """[s]. "In alarm only after the condition has held that long"; the other "holds it through brief recoveries"."""

    on_s: float = 0.0
    off_s: float = 0.0


class Edge(NamedTuple):
    """The conditioned signal begins or ceases to be active."""

    at_s: float
    is_active: bool


@dataclass(frozen=True, slots=True)
class Conditioned:
    """A signal behind its delays. `since_s`: when what was sampled last began to differ from what counts; None while it does not."""

    is_active: bool = False
    since_s: float | None = None

    @property
    def is_true(self) -> bool:
        """What was sampled last, before any delay."""
        return self.is_active if self.since_s is None else not self.is_active


STILL = Conditioned()
"""Nothing is the case, and nothing was."""


def beyond(values: ArrayLike, limit: float, side: Side, deadband: float = 0.0, before: bool = False) -> Booleans:
    """Whether each value counts as beyond the limit: it "returns only past the limit by the deadband". NaN changes nothing.

    >>> beyond([9.9, 10.1, 9.9, 9.5], 10.0, "above", 0.5).tolist()
    [False, True, True, False]
    """
    sign = 1.0 if side == "above" else -1.0
    signed = sign * np.asarray(values, dtype=float)
    past = signed > sign * limit
    # compared with the difference itself, so that 9.5 is at the end of 10 - 0.5 whatever another rounding would make of it
    settled = past | (signed <= sign * limit - deadband)
    # in between, as the last that was settled
    last = np.maximum.accumulate(np.where(settled, np.arange(len(signed)), -1))
    return np.where(last >= 0, past[last], before)


def due_s(signal: Conditioned, delays: Delays) -> float | None:
    """When it changes if nothing more arrives."""
    if signal.since_s is None:
        return None
    return signal.since_s + (delays.off_s if signal.is_active else delays.on_s)


def elapse(signal: Conditioned, delays: Delays, until_s: float) -> tuple[Conditioned, Edge | None]:
    """After nothing has arrived up to `until_s`, that moment included: a condition that has held for exactly the delay counts."""
    due = due_s(signal, delays)
    if due is None or due > until_s:
        return signal, None
    after = Conditioned(not signal.is_active)
    return after, Edge(due, after.is_active)


def take(signal: Conditioned, delays: Delays, at_s: float, is_true: bool) -> tuple[Conditioned, list[Edge]]:
    """After a sample, which holds until the next. What elapsed on the way to it comes first."""
    signal, edge = elapse(signal, delays, at_s)
    edges = [edge] if edge is not None else []
    if is_true == signal.is_active:
        return Conditioned(signal.is_active), edges  # a delay that did not elapse begins anew next time
    if signal.since_s is None:
        signal = Conditioned(signal.is_active, at_s)
    signal, edge = elapse(signal, delays, at_s)
    return signal, edges + ([edge] if edge is not None else [])


def condition(samples: Sequence[tuple[float, bool]], delays: Delays, until_s: float) -> list[Edge]:
    """All edges of samples (moment, truth) in order of time, up to and with `until_s`.

    >>> condition([(0.0, True), (8.0, False), (20.0, True), (31.0, False)], Delays(on_s=10.0, off_s=5.0), 100.0)
    [Edge(at_s=30.0, is_active=True), Edge(at_s=36.0, is_active=False)]
    """
    signal, edges = Conditioned(), list[Edge]()
    for at_s, is_true in samples:
        if at_s > until_s:
            break
        signal, new = take(signal, delays, at_s, is_true)
        edges += new
    edge = elapse(signal, delays, until_s)[1]
    return edges if edge is None else [*edges, edge]


def realarm_due_s(annunciated_s: float | None, realarm_s: float | None) -> float | None:
    """When one that is still active becomes unacknowledged again, counted from when it was last annunciated."""
    return None if annunciated_s is None or realarm_s is None else annunciated_s + realarm_s
