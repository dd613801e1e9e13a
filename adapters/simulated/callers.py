"""Who comes to Tern Cottage and when: invented visits, the same for the same seed, day by day.

Deliveries in the morning, visitors in the afternoon, a neighbour at dusk, nobody at night. Knows buttons, not circuits.
"""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from adapters.simulated.installation import TIME_ZONE

ZONE = ZoneInfo(TIME_ZONE)

VISITS_BY_WEEKDAY = (3.6, 3.9, 3.6, 4.3, 4.6, 3.8, 2.0)
"""Mean number of visits, Monday first."""

KINDS = (("delivery", 0.45, 10.4, 1.2), ("visitor", 0.35, 15.7, 1.5), ("neighbour", 0.20, 18.6, 0.8))
"""(who, share, middle [h], spread [h])"""

FIRST_HOUR, LAST_HOUR = 7.6, 21.2
GARDEN_SHARE = {"delivery": 0.06, "visitor": 0.18, "neighbour": 0.45}
PRESSES = (0.68, 0.23, 0.09)
"""Share of visits with one, two, three presses."""

APART_S = 420.0


@dataclass(frozen=True, slots=True)
class Stroke:
    """One press: at which door, from when [POSIX s], how long [s]."""

    door: str
    start_s: float
    hold_s: float


def visits(start_s: float, end_s: float, seed: int) -> list[list[Stroke]]:
    """Visits that begin in the stretch, each with its presses in order."""
    day, last = clock_of(start_s).date(), clock_of(end_s).date()
    found: list[list[Stroke]] = []
    while day <= last:
        found += [visit for visit in _of_day(day, seed) if start_s <= visit[0].start_s < end_s]
        day += timedelta(days=1)
    return found


def local_s(day: date, hour: float) -> float:
    """POSIX seconds of an hour of the clock at the cottage."""
    return (
        datetime(day.year, day.month, day.day, tzinfo=ZONE)
        .replace(hour=int(hour), minute=int(hour % 1 * 60), second=int(hour * 3600 % 60))
        .timestamp()
        + hour * 3600 % 1
    )


def clock_of(at_s: float) -> datetime:
    """The clock on the cottage's wall."""
    return datetime.fromtimestamp(at_s, ZONE)


def _of_day(day: date, seed: int) -> list[list[Stroke]]:
    rng = np.random.default_rng([seed, day.toordinal()])
    count = int(np.clip(rng.poisson(VISITS_BY_WEEKDAY[day.weekday()]), 1 if day.weekday() == 6 else 2, 6))
    found: list[list[Stroke]] = []
    for _ in range(count):
        who, _share, middle, spread = KINDS[int(rng.choice(len(KINDS), p=[kind[1] for kind in KINDS]))]
        hour = float(
            np.clip(rng.normal(middle, spread), FIRST_HOUR + rng.uniform(0, 0.5), LAST_HOUR - rng.uniform(0, 1.5))
        )
        at = local_s(day, hour)
        door = "garden" if rng.uniform() < GARDEN_SHARE[who] else "front"
        presses = int(rng.choice(3, p=PRESSES)) + 1
        if all(abs(at - other[0].start_s) > APART_S for other in found):
            found.append(_presses(door, at, presses, rng))
    return sorted(found, key=lambda visit: visit[0].start_s)


def _presses(door: str, at_s: float, count: int, rng: np.random.Generator) -> list[Stroke]:
    strokes = []
    for _ in range(count):
        hold = float(np.clip(rng.lognormal(np.log(0.24), 0.55), 0.06, 3.0))
        strokes.append(Stroke(door, at_s, hold))
        quick = rng.uniform() < 0.3
        at_s += hold + float(rng.uniform(0.12, 0.4) if quick else rng.uniform(4.0, 22.0))
    return strokes
