"""The outlook: how fast the measured quantities of a chime drift over weeks, and when they will meet a limit.

Plain computation over readings, one a day at the most, and what they are compared with. Refuses to tell a drift where a line may as
well be level, and to draw a line through a change that came at once. Knows no store, no clock and no wording of pages.
"""

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from service.findings.scatter import HEALTHY_SD
from service.findings.verdict import Measured
from service.supply import drift
from service.supply.assumptions import TYPICAL, Basis
from service.supply.drift import DAY_S, YEAR_S, Trend, median
from service.supply.fitout import FitOut

Floats = NDArray[np.floating[Any]]

NAMES = ("reservoir_f", "source_ohm", "open_circuit_v", "idle_a", "sound_a", "ripple_v", "headroom_v")
"""The quantities that have an outlook."""

MOST_READINGS = 200
"""Medians of more days than one are taken where the readings go back further."""

SURER = 1.6
"""A drift is told when its slope stays clear of zero in an interval this much wider than the 90 % one, which is one of 99 %:
seven quantities are looked at day after day, and nine in ten would cry wolf every other house."""

MOVES = HEALTHY_SD | {"ripple_v": 0.05, "headroom_v": 0.3}
"""What a healthy supply moves by itself over the seasons (standard deviations, as shares; of the headroom in V): a slope that has not
yet come to as much over its readings may be the weather. Ripple and headroom follow the idle load and the mains."""

STEP_FEWEST = 3
"""Readings on either side of a change that came at once."""

STEP_SHARE, STEP_SPREADS, STEP_MOVES = 0.6, 6.0, 2.0
"""Two levels count as a change at once when they leave less than this share of what a line leaves unexplained, and lie apart by this
many mean deviations, and by so many times what a healthy supply moves (drawn readings, eight and more, level with scatter: two in a
thousand pass the first two)."""

MOST_STEPS = 3

Why = (
    drift.Why
    | Literal[
        "it changed at once, and there is too little since",
        "no limit is known for it",
        "a healthy supply moves as much by itself",
    ]
)


@dataclass(frozen=True, slots=True)
class Limit:
    """Where a quantity ceases to be as it should. `low`: it must stay above it. `reason`: where the figure comes from, in words."""

    value: float
    low: bool
    reason: str

    def is_passed_by(self, value: float) -> bool:
        return value < self.value if self.low else value > self.value


@dataclass(frozen=True, slots=True)
class Outlook:
    """Of one quantity; units as in its name. All intervals hold nine times in ten.

    `per_year` with its interval is the slope, whether sure or not (None: none can be taken); shares are of the value at
    commissioning, or without it of the beginning of the readings, and None for the headroom, which is a difference. `drifts`: the
    slope is surely not zero, and has come to more than a healthy supply moves by itself. `at_s`, `earliest_s`, `latest_s`
    [POSIX s]: when the limit is met, `latest_s` None where that may be beyond ten years; all None with `why` where it cannot
    be said. `changed_s`: the last change at once, before which nothing counts.
    """

    name: str
    readings: int
    span_s: float
    value: float  # its level now
    drifts: bool = False
    per_year: Measured | None = None
    share_per_year: Measured | None = None
    limit: Limit | None = None  # the one it drifts towards, or the first
    passed: bool = False  # its level is beyond the limit already
    at_s: float | None = None
    earliest_s: float | None = None
    latest_s: float | None = None
    why: Why | None = None
    changed_s: float | None = None
    changed_from: float | None = None  # its level before


def outlook(
    name: str,
    at_s: Floats,
    values: Floats,
    temperature_c: Floats | None,
    limits: tuple[Limit, ...],
    reference: float | None,
    now_s: float,
    since_s: float | None = None,
) -> Outlook | None:
    """None without a reading.

    Parameters
    ----------
    at_s, values : (N,) moments of surveys [POSIX s] and what they measured, in any order; those of one day count as one reading.
    temperature_c : (N,) [Cel], NaN where it is not known; what follows it is no drift.
    limits : those that `limits_of` gives.
    reference : of which shares are told; None: of where the readings begin.
    since_s : when another quantity of the installation changed at once; nothing before counts.
    """
    good = np.isfinite(at_s) & np.isfinite(values) & (at_s >= (since_s if since_s is not None else -np.inf))
    if not good.any():
        return None
    warm = np.full(len(at_s), np.nan) if temperature_c is None else temperature_c
    at_s, values, warm = _daily(at_s[good], values[good], warm[good])
    moves = MOVES.get(name, 0.0) * (1.0 if name == "headroom_v" else abs(reference or median(values)))
    at_s, values, warm, changed_s, changed_from = _since_change(at_s, values, warm, STEP_MOVES * moves)
    span_s = float(np.ptp(at_s))
    found = drift.trend(at_s, values, warm if np.isfinite(warm).any() else None)
    if found is None or found.readings < drift.Rules().fewest or span_s < drift.Rules().shortest_s:
        level = median(values[-5:])
        first = limits[0] if limits else None
        missing = drift.meets(found, 0.0, now_s).why or "too few readings"
        return Outlook(
            name,
            len(at_s),
            span_s,
            level,
            limit=first,
            passed=any(limit.is_passed_by(level) for limit in limits),
            why="it changed at once, and there is too little since" if changed_s is not None else missing,
            changed_s=changed_s,
            changed_from=changed_from,
        )
    whole = abs(reference or found.at(float(at_s[0])))
    sure, level = _is_sure(found), found.at(min(now_s, float(at_s[-1])))
    drifts = sure and abs(found.slope_per_s) * span_s > moves
    ahead = [limit for limit in limits if limit.low == (found.slope_per_s < 0.0)] if drifts else list(limits)
    beyond = [limit for limit in limits if limit.is_passed_by(level)]
    limit = next(iter([*beyond, *ahead, *limits]), None)
    met = drift.meets(found, limit.value, now_s) if limit is not None and drifts else drift.Meeting()
    why: Why | None = met.why
    if not drifts:
        why = "a healthy supply moves as much by itself" if sure else "the slope may as well be nothing"
    elif limit is None:
        why = "no limit is known for it"
    return Outlook(
        name,
        len(at_s),
        span_s,
        level,
        drifts,
        _per_year(found, 1.0),
        _per_year(found, whole) if whole and name != "headroom_v" else None,
        limit,
        bool(beyond),
        met.at_s,
        met.earliest_s,
        met.latest_s,
        why,
        changed_s,
        changed_from,
    )


def limits_of(name: str, commissioned: float | None, sheet: FitOut, basis: Basis | None) -> tuple[Limit, ...]:
    """The limits of a quantity, the likelier first, each with its reason; none where there is nothing to compare with.

    Shares and differences are those beyond which simulated healthy installations did not move (simulated surveys).

    >>> [limit.value for limit in limits_of("reservoir_f", 1e-3, FitOut(), None)]
    [0.00088]
    """
    if name == "headroom_v":
        return (Limit(0.0, True, "below it the regulator drops out"),)
    if commissioned is not None:
        if name == "reservoir_f":
            return (Limit(0.88 * commissioned, True, "88 % of what it was when it was commissioned"),)
        if name == "source_ohm":
            two, more = commissioned + 2.0, 1.35 * commissioned
            if two >= more:
                return (Limit(two, False, "2 ohm more than it was when it was commissioned"),)
            return (Limit(more, False, "1.35 times what it was when it was commissioned"),)
        if name == "open_circuit_v":
            return (
                Limit(0.945 * commissioned, True, "94.5 % of what it was when it was commissioned"),
                Limit(1.25 * commissioned, False, "1.25 times what it was when it was commissioned"),
            )
        if name == "idle_a":
            return (Limit(commissioned + 6e-3, False, "6 mA more than it was when it was commissioned"),)
        if name == "sound_a":
            return (Limit(1.22 * commissioned, False, "1.22 times what it was when it was commissioned"),)
        return ()
    if name == "reservoir_f" and sheet.reservoir_f:
        return (Limit(0.85 * sheet.reservoir_f, True, "85 % of what the fit-out sheet says"),)
    if basis is not None and name == "source_ohm":
        ohm = float(basis.source_ohm[TYPICAL]) + 3.0
        return (Limit(ohm, False, "3 ohm more than the fit-out sheet leads one to expect"),)
    if basis is not None and name == "open_circuit_v":
        return (
            Limit(
                0.88 * float(basis.open_circuit_v[TYPICAL]), True, "88 % of what the fit-out sheet leads one to expect"
            ),
        )
    return ()


def _per_year(found: Trend, whole: float) -> Measured:
    return Measured(*(slope * YEAR_S / whole for slope in (found.slope_per_s, found.slope_low, found.slope_high)))


def _is_sure(found: Trend) -> bool:
    slope = found.slope_per_s
    near = slope - found.slope_low if slope > 0.0 else found.slope_high - slope
    return found.is_sure and abs(slope) > SURER * near


def _daily(at_s: Floats, values: Floats, warm: Floats) -> tuple[Floats, Floats, Floats]:
    """Medians of a day each, or of as many days as leave `MOST_READINGS`, in order of time."""
    first_s = float(at_s.min())
    length_s = max(DAY_S, np.ceil(float(np.ptp(at_s)) / DAY_S / MOST_READINGS) * DAY_S)
    # half a day of grace, so that surveys at the same hour of each day never share one
    number = np.floor((at_s - first_s) / length_s + 0.5).astype(int)
    groups = [number == one for one in sorted(set(number.tolist()))]  # np.unique loads masked arrays
    return (
        np.array([median(at_s[group]) for group in groups]),
        np.array([median(values[group]) for group in groups]),
        np.array([median(warm[group]) for group in groups]),
    )


def _since_change(
    at_s: Floats, values: Floats, warm: Floats, least: float
) -> tuple[Floats, Floats, Floats, float | None, float | None]:
    """What comes after the last change at once; with when that was, and the level before."""
    changed_s = before = None
    for _ in range(MOST_STEPS):
        index = _step(at_s, values, least)
        if index is None:
            break
        changed_s, before = float(at_s[index]), median(values[:index])
        at_s, values, warm = at_s[index:], values[index:], warm[index:]
    return at_s, values, warm, changed_s, before


def _step(at_s: Floats, values: Floats, least: float) -> int | None:
    """The first reading after a change at once; None where a line explains the readings as well."""
    count = len(values)
    line = drift.trend(at_s, values, correlated=False) if count >= 2 * STEP_FEWEST + 2 else None
    if line is None:
        return None
    left = float(np.abs(values - line.middle_value - line.slope_per_s * (at_s - line.middle_s)).sum())
    splits = range(STEP_FEWEST, count - STEP_FEWEST + 1)
    off = [_deviation(values[:split]) + _deviation(values[split:]) for split in splits]
    best = int(np.argmin(off))
    split = splits[best]
    height = abs(median(values[split:]) - median(values[:split]))
    is_step = off[best] < STEP_SHARE * left and height > max(STEP_SPREADS * off[best] / count, least)
    return split if is_step else None


def _deviation(values: Floats) -> float:
    return float(np.abs(values - median(values)).sum())
