"""Thirty days of the rail for the report: lowest to highest as uprights, the mean as a line, gaps left open. Asks no record."""

from collections.abc import Sequence

from markupsafe import Markup

from dashboard import words
from dashboard.language import figure, say
from dashboard.rail_chart import round_scale, scale_of
from dashboard.report_ink import inked, line, sheet, text
from service.model import SupplyPoint

WIDTH, HEIGHT = 660.0, 190.0
LEFT, RIGHT, TOP, BOTTOM = 62.0, 600.0, 10.0, 160.0
GAP = 3.0
"""Points further apart than so many steps are not joined."""


def draw_rail(
    points: Sequence[SupplyPoint],
    start_s: float,
    end_s: float,
    step_s: float,
    ticks: Sequence[tuple[float, str]],
    limit_v: float | None,
) -> Markup | None:
    """None where no point tells anything."""
    told = [point for point in points if point.mean_v is not None or point.min_v is not None]
    if not told:
        return None
    scale = scale_of(points)
    if limit_v is not None:
        scale = round_scale(min(scale.low_v, limit_v), scale.high_v)

    def y(value: float) -> float:
        return BOTTOM - (value - scale.low_v) / (scale.high_v - scale.low_v) * (BOTTOM - TOP)

    def x(moment_s: float) -> float:
        return LEFT + (moment_s - start_s) / (end_s - start_s) * (RIGHT - LEFT)

    drawn = [line(LEFT, y(tick), RIGHT, y(tick), "feint") for tick in scale.ticks]
    drawn += [
        text(LEFT - 8, y(tick) + 4, figure(tick, f".{scale.decimals}f"), "numeral", "end") for tick in scale.ticks
    ]
    drawn += [text(x(moment_s), BOTTOM + 18, name, "numeral", "middle") for moment_s, name in ticks if name]
    drawn.append(line(LEFT, BOTTOM + 4, RIGHT, BOTTOM + 4, "rule"))
    if limit_v is not None:
        drawn.append(line(LEFT, y(limit_v), RIGHT, y(limit_v), "limit"))
        drawn += [line(at, y(limit_v), at - 4, y(limit_v) + 5, "teeth") for at in _every(LEFT + 6, RIGHT, 9.0)]
        drawn.append(text(RIGHT + 6, y(limit_v) + 4, words.measured(limit_v, "V", 1), "said"))
    for point in told:
        if point.min_v is not None and point.max_v is not None:
            middle = x((point.start_s + point.end_s) / 2)
            drawn.append(line(middle, y(point.min_v), middle, y(point.max_v), "interval"))
    path, last_s = "", float("-inf")
    for point in told:
        if point.mean_v is not None:
            moment_s = (point.start_s + point.end_s) / 2
            path += f"{'M' if moment_s - last_s > GAP * step_s else 'L'}{x(moment_s):.1f} {y(point.mean_v):.1f}"
            last_s = moment_s
    drawn.append(inked("path", "trace", d=path))
    low, high = min(p.min_v for p in told if p.min_v is not None), max(p.max_v for p in told if p.max_v is not None)
    told_words = say(
        "The rail over thirty days: from {measured} to {measured2}.",
        measured=words.measured(low, "V"),
        measured2=words.measured(high, "V"),
    )
    return sheet(WIDTH, HEIGHT, *drawn, told=told_words)


def _every(start: float, end: float, step: float) -> list[float]:
    return [start + step * n for n in range(int((end - start) / step) + 1)]
