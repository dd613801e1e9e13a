"""Whether what a rule watches is the case, from facts: the same computation for now and for history.

Gives the condition as it was before any delay; `conditioning.py` does the rest. Refuses to know the life of an alarm, and what
arrives after the facts end: it only says when the condition would change if nothing did.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.alarms.conditioning import beyond
from service.alarms.facts import Facts, Reading
from service.alarms.quantities import QUANTITIES
from service.alarms.rules import (
    BlindTime,
    HeldPress,
    ManyVisits,
    NoPack,
    OpenFinding,
    QuantityBeyond,
    QuietPress,
    Rule,
    Trend,
    Watch,
)
from service.alarms.stretches import Stretch, blind_for_longer, joined, too_many

DAY_S = 86_400.0
FEWEST_FOR_TREND, LEAST_SPAN = 3, 0.5

Floats = NDArray[np.floating[Any]]


class Sample(NamedTuple):
    """From this moment on: 0 as it should be, 1 the condition is present, 2 it is worse."""

    at_s: float
    severity: int
    why: str = ""


@dataclass(frozen=True, slots=True)
class Condition:
    """`samples` up to the end of the facts, `severity` there; `due_s`: when it changes if nothing more arrives."""

    samples: tuple[Sample, ...]
    severity: int = 0
    due_s: float | None = None


def evaluate(rule: Rule, facts: Facts, before: Sample | None = None) -> Condition:
    """The condition of a rule over the facts.

    `before` is the sample that was taken last, in live use: readings up to it are passed over, and a deadband goes on from
    it. The facts must reach back from there by `reach_s(rule.watch)`.
    """
    watch = rule.watch
    if isinstance(watch, QuantityBeyond | Trend):
        return _of_values(rule, watch, facts, before)
    samples = []
    for start_s, end_s, why in joined(_stretches(watch, facts)):
        samples.append(Sample(start_s, 1, why))
        if end_s < inf:
            samples.append(Sample(end_s, 0, "it is over"))
    past = tuple(sample for sample in samples if sample.at_s <= facts.to_s)
    ahead = samples[len(past) :]
    return Condition(past, past[-1].severity if past else 0, ahead[0].at_s if ahead else None)


def reach_s(watch: Watch) -> float:
    """How far back from a moment the facts must go, for what the rule watches to be judged then [s]."""
    match watch:
        case Trend(span_s=span_s):
            return span_s
        case ManyVisits(within_s=span_s) | BlindTime(within_s=span_s):
            return span_s
        case NoPack(longer_than_s=span_s) | HeldPress(longer_than_s=span_s):
            return span_s
        case _:
            return 0.0


def _stretches(watch: Watch, facts: Facts) -> Iterable[Stretch]:
    match watch:
        case OpenFinding():
            for found in facts.findings:
                start_s = found.confirmed_s if watch.confirmed else found.start_s
                if (
                    start_s is not None
                    and found.likelihood >= watch.likelihood
                    and (not watch.names or found.name in watch.names)
                    and watch.door in (None, found.door)
                ):
                    sure = f"{found.likelihood:.2g}"
                    at_door = f"{found.name} at {found.door}, likelihood {sure}"
                    why = at_door if found.door else f"{found.name}, likelihood {sure}"
                    yield Stretch(start_s, inf if found.end_s is None else found.end_s, why)
        case HeldPress():
            for press in facts.presses:
                start_s, end_s = press.start_s + watch.longer_than_s, inf if press.end_s is None else press.end_s
                if watch.door in (None, press.door) and end_s > start_s:
                    yield Stretch(start_s, end_s, f"{press.door} has been held for {watch.longer_than_s:g} s")
        case ManyVisits():
            starts_s = [visit.start_s for visit in facts.visits if watch.door in (None, visit.door)]
            yield from too_many(starts_s, watch.more_than, watch.within_s)
        case QuietPress():
            begins, ends = time_of_day_s(watch.begins), time_of_day_s(watch.ends)
            for press in facts.presses:
                local_s = (press.start_s + _offset_s(facts.local, press.start_s)) % DAY_S
                quiet = begins <= local_s < ends if begins < ends else local_s >= begins or local_s < ends
                if quiet and watch.door in (None, press.door):
                    end_s = press.start_s if press.end_s is None else press.end_s
                    yield Stretch(
                        press.start_s, end_s, f"{press.door} was pressed between {watch.begins} and {watch.ends}"
                    )
        case NoPack():
            known_s = facts.from_s if facts.packs_from_s is None else facts.packs_from_s
            heard_s = [known_s, *(at_s for at_s in facts.packs_s if at_s > known_s), inf]
            for last_s, next_s in pairwise(heard_s):
                if next_s > last_s + watch.longer_than_s:
                    why = f"nothing has been heard for {watch.longer_than_s:g} s"
                    yield Stretch(last_s + watch.longer_than_s, next_s, why)
        case BlindTime():
            unseen = joined(
                Stretch(one.start_s, inf if one.end_s is None else one.end_s, one.why)
                for one in facts.unseen
                if watch.why in (None, one.why)
            )
            if watch.up_to_s is not None:
                unseen = [one for one in unseen if min(one.end_s, facts.to_s) - one.start_s < watch.up_to_s]
            yield from blind_for_longer(unseen, watch.most_s, watch.within_s)


def time_of_day_s(clock: str) -> float:
    """Seconds after midnight of "22:30"."""
    hours, minutes = clock.split(":")
    return 3600.0 * int(hours) + 60.0 * int(minutes)


def _offset_s(local: Sequence[Reading], at_s: float) -> float:
    """What holds at a moment; before the first that is told, that one. UTC where nothing is."""
    known = [offset for since_s, offset in local if since_s <= at_s]
    return known[-1] if known else local[0].value if local else 0.0


def _of_values(rule: Rule, watch: QuantityBeyond | Trend, facts: Facts, before: Sample | None) -> Condition:
    times, values = arrays(facts.readings.get(watch.name, ()), facts.to_s)
    unit = QUANTITIES[watch.name].unit if watch.name in QUANTITIES else ""
    if isinstance(watch, Trend):
        values, unit = slopes_per_day(times, values, watch.span_s), f"{unit} a day"
        limits: tuple[float, ...] = (watch.per_day,)
    else:
        limits = (watch.limit,) if watch.worse is None else (watch.limit, watch.worse)
    newer = np.isfinite(values) & (times > (before.at_s if before is not None else -inf))
    times, values = times[newer], values[newer]
    was = before.severity if before is not None else 0
    if not len(times):
        return Condition((), was)
    severities = np.zeros(len(times), dtype=int)
    for level, limit in enumerate(limits, 1):
        severities[beyond(values, limit, watch.side, rule.deadband, was >= level)] = level
    told = np.diff(severities, prepend=was) != 0
    # the first and the last are told even where nothing changed, so that it is known how far the readings have been taken
    told[[0, -1]] = True
    samples = []
    for at_s, value, now in zip(times[told].tolist(), values[told].tolist(), severities[told].tolist(), strict=True):
        told_value = f"{value:.4g} {unit}"
        if not now:
            why = f"{watch.name} is {told_value}"
        elif watch.side == "above":
            why = f"{watch.name} is {told_value}, above {limits[now - 1]:.4g}"
        else:
            why = f"{watch.name} is {told_value}, below {limits[now - 1]:.4g}"
        samples.append(Sample(at_s, now, why))
    return Condition(tuple(samples), samples[-1].severity)


def arrays(readings: Sequence[Reading], to_s: float = inf) -> tuple[Floats, Floats]:
    """Moments and finite values up to `to_s`, (N,) each."""
    times = np.fromiter((one.at_s for one in readings), float, len(readings))
    values = np.fromiter((one.value for one in readings), float, len(readings))
    good = np.isfinite(values) & (times <= to_s)
    return times[good], values[good]


def slopes_per_day(times: Floats, values: Floats, span_s: float) -> Floats:
    """Slope of the least-squares line through the readings of the last `span_s`, at each reading; NaN where they are too few.

    Parameters
    ----------
    times, values : (N,), finite, in order of time [s]; the result is per day.

    Examples
    --------
    >>> slopes_per_day(np.array([0.0, 86400.0, 172800.0]), np.array([5.0, 4.9, 4.8]), 4 * 86400.0).round(3).tolist()
    [nan, nan, -0.1]
    """
    if not len(times):
        return values
    days = (times - times[0]) / DAY_S
    level = values - values.mean()
    first = np.searchsorted(times, times - span_s)
    until = np.arange(1, len(times) + 1)

    def within(terms: Floats) -> Floats:
        total = np.concatenate(([0.0], np.cumsum(terms)))
        return total[until] - total[first]

    count = (until - first).astype(float)
    x, y = within(days), within(level)
    spread = within(days**2) - x**2 / count
    enough = (count >= FEWEST_FOR_TREND) & (times - times[first] >= LEAST_SPAN * span_s)
    slope = (within(days * level) - x * y / count) / np.where(enough, spread, 1.0)
    return np.where(enough, slope, np.nan)
