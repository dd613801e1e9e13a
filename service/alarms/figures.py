"""The published figures of alarm performance, and how one of them is met. Knows no alarm.

From ISA-18.2-2016 and IEC 62682 by way of secondary pages, unless a line says otherwise. They are meant for one person who does
nothing else; a house should stay far below them.
"""

from dataclasses import dataclass
from enum import StrEnum

MINUTE_S, HOUR_S, DAY_S = 60.0, 3600.0, 86_400.0

AT_LEAST_S = 30 * DAY_S
"""Figures hold over at least 30 days."""

ACCEPTABLE_PER_HOUR, MOST_PER_HOUR = 6.0, 12.0
"""About 6 an hour are acceptable, 12 the manageable maximum."""

FLOOD_WINDOW_S, FLOOD_ABOVE, FLOOD_ENDS_BELOW = 600.0, 10, 5
"""A flood starts above 10 in ten minutes and ends below about 5."""

FLOOD_SHARE = 0.01
"""Of the time, and of the stretches of ten minutes with more than ten (from memory)."""

CHATTERING, CHATTERING_WITHIN_S = 3, 60.0
"""Chattering: three or more a minute. None is acceptable (from memory)."""

FLEETING_S = 60.0
"""Gone before anybody could act (chosen). None is acceptable (from memory)."""

STALE_S, MOST_STALE = 24 * HOUR_S, 4
"""Stale: active for more than 24 h; fewer than five on any day (from memory)."""

MIX_LOW, MIX_MEDIUM, MIX_HIGH = 0.80, 0.15, 0.05
"""Shares of the priorities low, medium, and high or critical."""

MIX_SLACK, FEWEST_FOR_MIX = 2.0, 20
"""The published shares are "about": twice as many of the upper two are too many; of fewer annunciations no share is told (chosen)."""

TOP, TOP_ACCEPTABLE, TOP_MOST = 10, 0.01, 0.05
"""The ten most frequent rules should make up 1 %, at most 5 % (from memory)."""

RULES_FOR_TOP = round(TOP / TOP_MOST)
"""Among fewer rules even equal shares would be more than that, so nothing is said."""


class Verdict(StrEnum):
    """How a figure is met."""

    GOOD = "as it should be"
    MANAGEABLE = "more than it should be, and manageable"
    TOO_MUCH = "too much"
    NOT_ENOUGH_DATA = "not enough data"


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure beside what is published. Up to `acceptable` it is as it should be, up to `most` manageable."""

    name: str
    value: float
    unit: str
    acceptable: float
    most: float
    verdict: Verdict


def figure(
    name: str, value: float, unit: str, acceptable: float, most: float | None = None, enough: bool = True
) -> Figure:
    """`most`: the same as what is acceptable, where only one is published.

    >>> figure("rate", 7.0, "1/h", 6.0, 12.0).verdict
    <Verdict.MANAGEABLE: 'more than it should be, and manageable'>
    """
    most = acceptable if most is None else most
    verdict = Verdict.GOOD if value <= acceptable else Verdict.MANAGEABLE if value <= most else Verdict.TOO_MUCH
    return Figure(name, value, unit, acceptable, most, verdict if enough else Verdict.NOT_ENOUGH_DATA)
