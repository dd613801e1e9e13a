"""Cadences: a household's own way of pressing, such as short-short-long, and how sure one may be that a visit is it.

The model of a hand. Each press and each pause of a phrase is log-normal about what was taught: a factor common to the whole
phrase (the tempo of the day) and one of its own. What the detector cannot see, up to one mains cycle at either end of a press,
is added. A phrase is recognised when it lies within the chi-square bound of that model *and* is so much likelier than an
ordinary caller's that 39 of 40 phrases of the taught hand still pass: this is what makes the contrast of long and short hold.

Knows no door, no store, no clock and no names beyond those taught; how a cadence is taught is in `lesson`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache
from math import inf
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Interval = tuple[float, float | None]
"""A press as heard: start and end, None where it is not known when the contact opened. Doubtful ones are left out before. [s]"""

OWN, TEMPO = 0.20, 0.10
"""Spread of a hand, as the standard deviation of a logarithm: 20 % for each press and pause by itself, and 10 % for all of
them together from one day to the next (the first is what a cadence has to stand; the second is an estimate, no source)."""

CYCLE_S = 0.020
"""What a press may lose at each end: one mains cycle at 50 Hz, more than at 60 Hz. On average the two losses come to one cycle."""

UNSEEN_S = CYCLE_S / 6.0**0.5
"""Standard deviation of two losses, each even between nothing and a cycle [s]."""

WITHIN_Z = 2.3263
"""Normal quantile of 99 %: so many phrases of the taught hand lie within the bound."""

LONGEST_PAUSE_Z = 3.0902
"""Normal quantile of 99.9 %: a longer pause than that ends the phrase."""

ORDINARY_HOLD_S, ORDINARY_GAP_S = 0.26, 0.35
ORDINARY_COMMON, ORDINARY_OWN = 0.45, 0.35
"""An ordinary caller who presses several times in a row: the median press and pause, the spread from caller to caller and that
from press to press of one caller (estimates, no source; key holds of one typist spread by 27 %, bell presses by more)."""

KEPT = 64
"""Cadences whose models are kept: a page looks through a thousand visits for the same few."""


@dataclass(frozen=True, slots=True)
class Cadence:
    """What was taught: presses and the pauses between them, by estimate as the hand made them. [s]

    `evidence` is the natural logarithm of how many times likelier than an ordinary caller's a phrase must be. `recognised` is
    the share of this hand's phrases that will be, `mistaken` that of other visits that will be taken for it, both by the model.
    """

    name: str
    holds_s: tuple[float, ...]
    gaps_s: tuple[float, ...]
    evidence: float
    recognised: float
    mistaken: float
    examples: int = 3

    @property
    def pause_s(self) -> float:
        """A longer pause than this is no part of the cadence: it parts two phrases [s]."""
        return _pause_s(self)

    def model(self) -> tuple[Floats, Floats]:
        """Middle and covariance of the logarithms of a phrase still to come, presses first; the doubt of the examples included."""
        return _model(self)

    def to_json(self) -> dict[str, Any]:
        return asdict(self) | {"holds_s": list(self.holds_s), "gaps_s": list(self.gaps_s)}

    @classmethod
    def from_json(cls, told: dict[str, Any]) -> "Cadence":
        """What `to_json` gave."""
        return cls(**(told | {"holds_s": tuple(told["holds_s"]), "gaps_s": tuple(told["gaps_s"])}))


@lru_cache(maxsize=KEPT)
def _model(cadence: Cadence) -> tuple[Floats, Floats]:
    middle = np.log(np.array(cadence.holds_s + cadence.gaps_s))
    covariance = spread_of(middle) * (1.0 + 1.0 / cadence.examples)
    middle.setflags(write=False)
    covariance.setflags(write=False)
    return middle, covariance


@lru_cache(maxsize=KEPT)
def _pause_s(cadence: Cadence) -> float:
    middle, covariance = _model(cadence)
    longest = len(cadence.holds_s) + int(np.argmax(cadence.gaps_s))
    return float(np.exp(middle[longest] + LONGEST_PAUSE_Z * np.sqrt(covariance[longest, longest])) + CYCLE_S)


class Recognised(NamedTuple):
    """A cadence in a visit. `distance` is 0 where it is just as taught and 1 at the edge of the tolerance."""

    name: str
    distance: float
    evidence: float  # natural log of how many times likelier than an ordinary caller's
    start_s: float
    times: int  # how often the visit has it


def recognise(presses: Iterable[Interval], cadences: Iterable[Cadence]) -> Recognised | None:
    """The taught cadence that a visit at one door has, once or more, alone or among other presses; None if it has none.

    A single press, a phrase with a press too many or too few, and one whose last release was not heard are never recognised.
    """
    visit = in_order(presses)
    found = [best for cadence in cadences if (best := _in_visit(visit, cadence)) is not None]
    return max(found, key=lambda one: one.evidence, default=None)


def phrases(presses: Iterable[Interval], pause_s: float) -> list[list[Interval]]:
    """Presses to runs without a longer pause; one whose end is not known is taken to end where it began.

    >>> phrases([(0.0, 0.2), (0.5, 0.7), (3.0, 3.2)], 1.0)
    [[(0.0, 0.2), (0.5, 0.7)], [(3.0, 3.2)]]
    """
    runs: list[list[Interval]] = []
    last_s = -inf
    for start_s, end_s in in_order(presses):
        if start_s - last_s <= pause_s:
            runs[-1].append((start_s, end_s))
        else:
            runs.append([(start_s, end_s)])
        last_s = start_s if end_s is None else end_s
    return runs


def in_order(presses: Iterable[Interval]) -> list[Interval]:
    return sorted(presses, key=lambda press: press[0])


def logarithms(phrase: Sequence[Interval]) -> Floats | None:
    """Natural logarithms of presses, then of pauses, what the detector loses put back; None where an end is not known."""
    ends = [end for _, end in phrase if end is not None]
    if len(ends) < len(phrase):
        return None
    starts, until = np.array([start for start, _ in phrase]), np.array(ends)
    gaps = np.maximum(starts[1:] - until[:-1] - CYCLE_S, UNSEEN_S)
    return np.asarray(np.log(np.concatenate((until - starts + CYCLE_S, gaps))))


def spread_of(middle: Floats) -> Floats:
    """Covariance of a phrase's logarithms about the hand's own middle."""
    unseen = (UNSEEN_S / np.exp(middle)) ** 2
    return np.asarray(np.diag(OWN**2 + unseen) + TEMPO**2)


def chi_square(freedom: int, z: float) -> float:
    """Quantile of the chi-square distribution at the normal quantile `z`, to 1 % (at 99 % from 2 degrees on, at 99.9 % from 6).

    Wilson and Hilferty's cube (Proc. Natl. Acad. Sci. 17, 1931, 684, from memory).

    >>> round(chi_square(5, 2.3263), 1)  # tables: 15.09
    15.1
    """
    ninth = 2.0 / (9.0 * freedom)
    return float(freedom * (1.0 - ninth + z * ninth**0.5) ** 3)


def square_distance(x: Floats, middle: Floats, covariance: Floats) -> Floats:
    """Squared Mahalanobis distance of each row of `x`, shape (..., n)."""
    apart = x - middle
    return np.asarray(np.sum(apart * np.linalg.solve(covariance, apart.T).T, axis=-1))


def log_density(x: Floats, middle: Floats, covariance: Floats) -> Floats:
    """Logarithm of the normal density at each row of `x`, shape (..., n)."""
    _, determinant = np.linalg.slogdet(2.0 * np.pi * covariance)
    return np.asarray(-0.5 * (square_distance(x, middle, covariance) + determinant))


def evidence_for(x: Floats, middle: Floats, covariance: Floats) -> Floats:
    """How much likelier the phrases `x`, shape (..., n), are from this hand than from an ordinary caller, as a logarithm."""
    return log_density(x, middle, covariance) - log_density(x, *_ordinary((len(middle) + 1) // 2))


def _ordinary(presses: int) -> tuple[Floats, Floats]:
    """Middle and covariance of the logarithms of an ordinary caller who presses so many times in a row."""
    pauses = presses - 1
    middle = np.log([ORDINARY_HOLD_S] * presses + [ORDINARY_GAP_S] * pauses)
    covariance = np.eye(len(middle)) * ORDINARY_OWN**2
    covariance[:presses, :presses] += ORDINARY_COMMON**2
    covariance[presses:, presses:] += ORDINARY_COMMON**2
    return middle, covariance


def _in_visit(visit: Sequence[Interval], cadence: Cadence) -> Recognised | None:
    if len(visit) < len(cadence.holds_s):
        return None
    middle, covariance = cadence.model()
    bound = chi_square(len(middle), WITHIN_Z)
    found: list[Recognised] = []
    for phrase in phrases(visit, cadence.pause_s):
        x = logarithms(phrase) if len(phrase) == len(cadence.holds_s) else None
        if x is None:
            continue
        square, evidence = float(square_distance(x, middle, covariance)), float(evidence_for(x, middle, covariance))
        if square <= bound and evidence >= cadence.evidence:
            found.append(Recognised(cadence.name, (square / bound) ** 0.5, evidence, phrase[0][0], 1))
    if not found:
        return None
    return max(found, key=lambda one: one.evidence)._replace(times=len(found))
