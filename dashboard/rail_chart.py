"""The rail over time as a drawing: uprights from lowest to highest, a line for the mean, gaps left open. Knows no page.

Two panels share one scale: thirty days, and the last day opened out. A panel is as wide as its place, so its traces are drawn in a
stretched frame of 1000 by 1000 whose lines keep their width.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from markupsafe import Markup

from dashboard import ink
from dashboard.cycle import Cycles
from dashboard.language import figure
from dashboard.svg import across, at, down, drawing, element, hatch, label, line_across, line_down
from service.model import SupplyPoint

TOP, BOTTOM, LANE, AXIS, HEIGHT = 0.6, 13.6, 15.4, 17.0, 18.6  # [em]
MONTH, DAY_AT, DAY = 0.37, 0.41, 0.59  # places of the two panels across the sheet; see .panels in supply.css
DAY_SHARE = 0.82
"""The last day takes this part of its panel, the rest is for the words at its end."""

LABEL_PITCH = 1.25  # [em]
DIP = 4  # half of a mark of the mains [px]
PARTED = 1.6
"""Points further apart than so many times what is usual are not joined."""

LEAST = 0.009  # of a panel: 3 px


@dataclass(frozen=True)
class Scale:
    low_v: float
    high_v: float
    ticks: tuple[float, ...]
    decimals: int

    def place(self, value_v: float) -> float:
        """[em]"""
        return BOTTOM - (value_v - self.low_v) / (self.high_v - self.low_v) * (BOTTOM - TOP)


@dataclass(frozen=True)
class Panel:
    """A stretch of the record. `presses`: (moment, doubtful). `blind`: stretches. `ticks`: (moment, words or nothing). `dips` of the
    mains: (moment, whether it rose instead)."""

    start_s: float
    end_s: float
    points: Sequence[SupplyPoint]
    presses: Sequence[tuple[float, bool]]
    soundings: Sequence[float]
    boots: Sequence[float]
    blind: Sequence[tuple[float, float]]
    ticks: Sequence[tuple[float, str]]
    until_now: bool = True
    dips: Sequence[tuple[float, bool]] = ()

    def fraction(self, moment_s: float) -> float:
        return min(max((moment_s - self.start_s) / (self.end_s - self.start_s), 0.0), 1.0)


def scale_of(points: Sequence[SupplyPoint]) -> Scale:
    """From the lowest to the highest figure, on round ticks."""
    values = [v for point in points for v in (point.mean_v, point.min_v, point.max_v, point.low_v) if v is not None]
    return round_scale(min(values), max(values)) if values else round_scale(0.0, 1.0)


def round_scale(low: float, high: float) -> Scale:
    """
    >>> round_scale(9.31, 14.42).ticks
    (9.0, 10.0, 11.0, 12.0, 13.0, 14.0, 15.0)
    """
    spread = max(high - low, 0.02)
    step = next(s for e in range(-3, 4) for s in (10.0**e, 2 * 10.0**e, 5 * 10.0**e) if spread / s <= 6)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    last = max(last, first + 1)
    ticks = tuple(round(n * step, 6) for n in range(first, last + 1))
    return Scale(ticks[0], ticks[-1], ticks, max(0, -math.floor(math.log10(step) + 1e-9)))


def draw_scale(scale: Scale) -> Markup:
    """The numerals that stand in the margin beside the panels."""
    return drawing(
        HEIGHT,
        *(label(1, scale.place(t) + 0.33, figure(t, f".{scale.decimals}f"), "numeral", "end") for t in scale.ticks),
        class_="scale",
    )


def draw_panel(panel: Panel, scale: Scale, share: float, ends: Sequence[tuple[float, str, str]] = ()) -> Markup:
    """`ends`: (value, words, class) to stand at the end of the traces."""
    grid = [line_across(0, share, scale.place(tick), "feint") for tick in scale.ticks]
    numerals = [
        label(0, scale.place(tick) + 0.33, figure(tick, f".{scale.decimals}f"), "numeral inside", "end", -7)
        for tick in scale.ticks
    ]
    marks = [line_across(0, share, AXIS, "axis"), line_across(0, share, LANE, "wire")]
    for moment_s, text in panel.ticks:
        x = panel.fraction(moment_s) * share
        marks.append(line_down(x, AXIS, AXIS + (0.3 if text else 0.18), "axis"))
        if text:
            marks.append(
                label(x, AXIS + 1.35, text, "numeral", "start" if x < 0.03 else "end" if x > share - 0.03 else "middle")
            )
    for start_s, end_s in panel.blind:
        x1, x2 = panel.fraction(start_s) * share, panel.fraction(end_s) * share
        broad = x2 - x1 > LEAST
        marks += [
            hatch(x1, x2 if broad else None, TOP - 0.3, LANE + 0.7),
            line_down(x1, TOP - 0.3, LANE + 0.7, "hatch-end"),
        ]
        if broad:
            marks.append(line_down(x2, TOP - 0.3, LANE + 0.7, "hatch-end"))
    for moment_s in panel.boots:
        marks.append(line_down(panel.fraction(moment_s) * share, LANE, LANE + 0.8, "boot"))
    for moment_s, rose in panel.dips:
        side = -DIP if rose else DIP
        notch = element("path", d=f"M{-DIP} {-side}L0 {side}L{DIP} {-side}", class_="dip")
        marks.append(at(panel.fraction(moment_s) * share, LANE - 0.9, notch))
    for moment_s in panel.soundings:
        middle = across(panel.fraction(moment_s) * share)
        marks.append(element("circle", cx=middle, cy=down(LANE + 0.75), r=2.6, class_="dot"))
    for moment_s, doubtful in panel.presses:
        if doubtful:
            marks.append(at(panel.fraction(moment_s) * share, LANE, ink.strokes((True,), False, 12, 3), class_="small"))
    marks.append(_strokes([panel.fraction(moment_s) * share for moment_s, doubtful in panel.presses if not doubtful]))
    now = [line_down(share, TOP - 0.3, LANE + 0.7, "now")] if panel.until_now else []
    return drawing(
        HEIGHT, *grid, *marks, _traces(panel, scale, share), *numerals, *now, *_ends(scale, share, ends), class_="panel"
    )


def _strokes(places: Sequence[float]) -> Markup:
    """All presses of a panel as one mark: a busy month has a thousand."""
    path = "".join(f"M{1000 * place:.2f} 0V10" for place in places)
    return element(
        "svg", element("path", d=path, class_="stroke thin"), x="0", y=down(LANE - 0.375), width="100%", height=down(0.75),
        viewBox="0 0 1000 10", preserveAspectRatio="none", overflow="visible",
    )  # fmt: skip


def _traces(panel: Panel, scale: Scale, share: float) -> Markup:
    def x(moment_s: float) -> str:
        return f"{panel.fraction(moment_s) * 1000:.1f}"

    def y(value_v: float) -> str:
        return f"{(1 - (value_v - scale.low_v) / (scale.high_v - scale.low_v)) * 1000:.1f}"

    uprights, means, lows = [], [], []
    for point, whole in zip(panel.points, joined(panel.points), strict=True):
        middle = x((point.start_s + point.end_s) / 2)
        if point.min_v is not None and point.max_v is not None:
            uprights.append(f"M{middle} {y(point.min_v)}V{y(point.max_v)}")
        if point.mean_v is not None:
            means.append(f"{'L' if whole else 'M'}{middle} {y(point.mean_v)}" + ("" if whole else "h.5"))
        if point.low_v is not None:
            centre = panel.fraction((point.start_s + point.end_s) / 2) * 1000
            lows.append(f"M{centre - 4:.1f} {y(point.low_v)}H{centre + 4:.1f}")
    return element(
        "svg",
        *(
            element("path", d="".join(d), class_=c)
            for d, c in ((uprights, "interval"), (means, "trace"), (lows, "low"))
            if d
        ),
        x="0",
        y=down(TOP),
        width=across(share),
        height=down(BOTTOM - TOP),
        viewBox="0 0 1000 1000",
        preserveAspectRatio="none",
        overflow="visible",
    )


def joined(points: Sequence[SupplyPoint]) -> list[bool]:
    """Whether the mean's line leads to each point from the one before it: not across more than is usual between two of them."""
    if len(points) < 2:
        return [False] * len(points)
    usual_s = median(after.start_s - before.start_s for before, after in pairwise(points))
    return [False] + [
        before.mean_v is not None and after.mean_v is not None and after.start_s - before.start_s <= PARTED * usual_s
        for before, after in pairwise(points)
    ]


def _ends(scale: Scale, share: float, ends: Sequence[tuple[float, str, str]]) -> list[Markup]:
    drawn: list[Markup] = []
    before = -10.0
    for value, text, class_ in sorted(ends, key=lambda end: -end[0]):
        before = max(scale.place(value) + 0.33, before + LABEL_PITCH)
        drawn.append(label(share, before, text, class_, "start", 9))
    return drawn


def draw_joint(days: int) -> Markup:
    """Brackets under the last day of the month and under the day opened out, and a line on two cranks from one to the other."""
    left = MONTH * (1 - 1 / days)
    first, last = (left + MONTH) / 2, DAY_AT
    return drawing(
        1.7,
        _bracket(left, MONTH),
        _bracket(DAY_AT, DAY_AT + DAY * DAY_SHARE),
        line_down(first, 0.4, 1.3, "leader", 0.01, -ink.CHAMFER),
        at(first, 1.3, ink.corner(0, -1, 1, 0)),
        line_across(first, last, 1.3, "leader", ink.CHAMFER, -ink.CHAMFER),
        at(last, 1.3, ink.corner(-1, 0, 0, -1)),
        line_down(last, 0.4, 1.3, "leader", 0.01, -ink.CHAMFER),
        class_="joint",
    )


def _bracket(start: float, end: float) -> Markup:
    return Markup("").join(
        (
            line_across(start, end, 0.4, "leader"),
            line_down(start, 0.1, 0.4, "leader"),
            line_down(end, 0.1, 0.4, "leader"),
        )
    )


def draw_cycles(cycles: Cycles) -> Markup:
    """Two cycles of the mains, on a scale of their own."""
    height, top, bottom = 9.6, 0.6, 7.8
    scale = round_scale(cycles.low_v, cycles.high_v)
    length_s = float(cycles.times_s[-1]) or 1.0

    def place(value: float) -> float:
        return bottom - (value - scale.low_v) / (scale.high_v - scale.low_v) * (bottom - top)

    drawn = [line_across(0, 1, place(tick), "feint") for tick in scale.ticks]
    drawn += [
        label(0, place(tick) + 0.33, figure(tick, f".{scale.decimals}f"), "numeral", "end", -7) for tick in scale.ticks
    ]
    for millisecond in range(0, int(length_s * 1000) + 1, 10):
        x = millisecond / 1000 / length_s
        drawn += [
            line_down(x, top, bottom, "feint"),
            label(
                x,
                bottom + 1.3,
                f"{millisecond}",
                "numeral",
                "start" if millisecond == 0 else "end" if x > 0.95 else "middle",
            ),
        ]
    path = "".join(_points(cycles, scale, lambda t: t / length_s * 1000))
    trace = element(
        "svg",
        element("path", d=path, class_="trace"),
        x="0",
        y=down(top),
        width="100%",
        height=down(bottom - top),
        viewBox="0 0 1000 1000",
        preserveAspectRatio="none",
        overflow="visible",
    )
    return drawing(height, *drawn, trace, class_="cycle")


def _points(cycles: Cycles, scale: Scale, x: Callable[[float], float]) -> list[str]:
    found, broken = [], True
    for time_s, value in zip(cycles.times_s, cycles.volts, strict=True):
        if math.isnan(value):
            broken = True
            continue
        found.append(
            f"{'M' if broken else 'L'}{x(float(time_s)):.1f} {(1 - (value - scale.low_v) / (scale.high_v - scale.low_v)) * 1000:.1f}"
        )
        broken = False
    return found
