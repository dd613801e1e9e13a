"""A quantity over time as a drawing: each reading a short bar with fine uprights for the interval that holds nine times in ten, the value
at commissioning as a chain line, the limit with teeth on its forbidden side. Knows no record and no page."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from dashboard.language import figure
from dashboard.rail_chart import Scale, round_scale
from dashboard.svg import at, down, drawing, element, label, line_across

HEIGHT, TOP, BOTTOM = 9.4, 0.5, 7.4  # [em]
TEETH = 90
BAR = 0.004  # half of a reading's, of the drawing
SPARE = 1.6
"""A limit is drawn where the scale grows by no more than so many times for it."""


@dataclass(frozen=True, slots=True)
class Reading:
    at_s: float
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Trend:
    """Of one quantity from `start_s` to `end_s`, all in the unit that is drawn. `low`: the limit must not be fallen below."""

    start_s: float
    end_s: float
    readings: Sequence[Reading]
    commissioned: float | None
    limit: float | None
    low: bool
    ticks: Sequence[tuple[float, str]]


def draw_trend(trend: Trend) -> Markup:
    scale = scale_of_trend(trend)

    def place(value: float) -> float:
        return BOTTOM - (value - scale.low_v) / (scale.high_v - scale.low_v) * (BOTTOM - TOP)

    def share(moment_s: float) -> float:
        return min(max((moment_s - trend.start_s) / (trend.end_s - trend.start_s), 0.0), 1.0)

    drawn = [line_across(0, 1, place(tick), "feint") for tick in scale.ticks]
    drawn += [
        label(0, place(tick) + 0.33, figure(tick, f".{scale.decimals}f"), "numeral", "end", -7) for tick in scale.ticks
    ]
    drawn.append(line_across(0, 1, BOTTOM + 0.2, "axis"))
    for moment_s, text in trend.ticks:
        if text:
            x = share(moment_s)
            drawn.append(
                label(x, BOTTOM + 1.6, text, "numeral", "start" if x < 0.03 else "end" if x > 0.97 else "middle")
            )
    if trend.commissioned is not None and scale.low_v <= trend.commissioned <= scale.high_v:
        drawn.append(line_across(0, 1, place(trend.commissioned), "before"))
    if trend.limit is not None and scale.low_v <= trend.limit <= scale.high_v:
        height, side = place(trend.limit), 5 if trend.low else -5
        drawn.append(line_across(0, 1, height, "limit"))
        drawn += [
            at((n + 0.5) / TEETH, height, element("line", x1=0, y1=0, x2=-4, y2=side, class_="teeth"))
            for n in range(TEETH)
        ]

    def y(value: float) -> str:
        return f"{1000 * (1 - (min(max(value, scale.low_v), scale.high_v) - scale.low_v) / (scale.high_v - scale.low_v)):.1f}"

    uprights = "".join(f"M{1000 * share(one.at_s):.1f} {y(one.high)}V{y(one.low)}" for one in trend.readings)
    bars = "".join(
        f"M{1000 * max(share(one.at_s) - BAR, 0.0):.1f} {y(one.value)}H{1000 * min(share(one.at_s) + BAR, 1.0):.1f}"
        for one in trend.readings
    )
    frame = element(
        "svg", element("path", d=uprights, class_="interval"), element("path", d=bars, class_="low"), x="0", y=down(TOP),
        width="100%", height=down(BOTTOM - TOP), viewBox="0 0 1000 1000", preserveAspectRatio="none", overflow="visible",
    )  # fmt: skip
    return drawing(HEIGHT, *drawn, frame, class_="panel trend")


def scale_of_trend(trend: Trend) -> Scale:
    """Of the readings and what they began with; of the limit too, where that does not flatten them."""
    values = [value for one in trend.readings for value in (one.low, one.high)]
    values += [trend.commissioned] if trend.commissioned is not None else []
    low, high = min(values), max(values)
    if trend.limit is not None:
        wide_low, wide_high = min(low, trend.limit), max(high, trend.limit)
        if wide_high - wide_low <= SPARE * (high - low) + 0.3 * abs(high):
            low, high = wide_low, wide_high
    return round_scale(low, high)
