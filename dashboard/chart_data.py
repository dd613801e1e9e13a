"""A panel over time as figures, for the script that lets a hand look closer: what the drawing shows, at the same places.

Without script, on paper and in forced colours the drawing stands; with it `static/chart.js` draws these in its place.
"""

from collections.abc import Sequence
from typing import Any

from dashboard.rail_chart import AXIS, BOTTOM, HEIGHT, LANE, TOP, Panel, Scale, joined
from dashboard.trend_chart import BOTTOM as TREND_BOTTOM
from dashboard.trend_chart import HEIGHT as TREND_HEIGHT
from dashboard.trend_chart import TOP as TREND_TOP
from dashboard.trend_chart import Trend, scale_of_trend
from service.model import SupplyPoint

Moment = tuple[float, float | None, float | None, float | None, float | None]
"""A moment, the value there, the lowest and the highest about it, and the lowest while the chime sounded. Without any: a gap."""


def of_rail(panel: Panel, scale: Scale) -> dict[str, Any]:
    return _common(panel.start_s, panel.end_s, scale, panel.ticks, (TOP, BOTTOM, AXIS, HEIGHT)) | {
        "unit": "V",
        "points": [[_moment(one[0]), *map(_figure, one[1:])] for one in _moments(panel.points)],
        "joined": True,
        "lane": LANE,
        "now": panel.end_s if panel.until_now else None,
        "presses": [_moment(moment_s) for moment_s, doubtful in panel.presses if not doubtful],
        "doubtful": [_moment(moment_s) for moment_s, doubtful in panel.presses if doubtful],
        "sounds": [*map(_moment, panel.soundings)],
        "dips": [[_moment(moment_s), rose] for moment_s, rose in panel.dips],
        "starts": [*map(_moment, panel.boots)],
        "blind": [[_moment(start_s), _moment(end_s)] for start_s, end_s in panel.blind],
    }


def of_trend(trend: Trend, unit: str) -> dict[str, Any]:
    places = (TREND_TOP, TREND_BOTTOM, TREND_BOTTOM + 0.2, TREND_HEIGHT)
    return _common(trend.start_s, trend.end_s, scale_of_trend(trend), trend.ticks, places) | {
        "unit": unit,
        "points": [
            [_moment(one.at_s), _figure(one.value), _figure(one.low), _figure(one.high), None] for one in trend.readings
        ],
        "joined": False,
        "limit": _figure(trend.limit),
        "below": trend.low,
        "began": _figure(trend.commissioned),
    }


def _common(
    start_s: float, end_s: float, scale: Scale, ticks: Sequence[tuple[float, str]], places: tuple[float, ...]
) -> dict[str, Any]:
    """`places`: where the plot begins and ends, its axis and the whole height [em]."""
    return {
        "start": start_s,
        "end": end_s,
        "low": scale.low_v,
        "high": scale.high_v,
        "decimals": scale.decimals,
        "rungs": scale.ticks,
        "ticks": ticks,
        "places": places,
    }


def _moments(points: Sequence[SupplyPoint]) -> list[Moment]:
    """With a moment of nothing where the line is broken."""
    found: list[Moment] = []
    for point, whole in zip(points, joined(points), strict=True):
        middle_s = (point.start_s + point.end_s) / 2
        if found and not whole:
            found.append(((found[-1][0] + middle_s) / 2, None, None, None, None))
        found.append((middle_s, point.mean_v, point.min_v, point.max_v, point.low_v))
    return found


def _moment(at_s: float) -> float:
    return round(at_s, 1)


def _figure(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.5g}")
