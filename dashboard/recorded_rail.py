"""The rail of a recording as a drawing: its maxima over time, and on wires below who pressed and what the chime did. Knows no page."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from dashboard import ink, words
from dashboard.folded import Folded
from dashboard.language import figure
from dashboard.rail_chart import Scale, round_scale
from dashboard.stretches import Line, Stretch, step_s
from dashboard.svg import across, at, down, drawing, element, hatch, label, line_across, line_down

Floats = NDArray[np.floating[Any]]

TOP, BOTTOM, LANE, PITCH = 0.6, 11.0, 12.9, 2.1  # [em]
POINTS = 800
"""More cycles than this are drawn as the range of several together."""

SPARSE_S, BAR = 0.1, 4.0
"""Values further apart are drawn as short bars, so wide on either side [1/1000 of the width], and never joined."""

GAP_CYCLES = 2.5
"""Cycles without a value, from here on, are a gap in the trace."""

SPECK = "h.01"


@dataclass(frozen=True)
class Happened:
    """`presses`: by door, (start, end). `soundings` and `tests`: under which load the chime was. `events`: what was found, when."""

    presses: Mapping[str, Sequence[tuple[float, float]]]
    soundings: Sequence[tuple[float, float]]
    tests: Sequence[tuple[float, float]]
    starts: Sequence[float]
    blind: Sequence[tuple[float, float]]
    events: Sequence[tuple[float, str]]


def draw_rail(line: Line, at_s: Floats, maxima_v: Floats, happened: Happened, zone: ZoneInfo) -> Markup:
    """`maxima_v` at `at_s`; NaN: no value."""
    good = np.isfinite(maxima_v)
    scale = round_scale(float(maxima_v[good].min()), float(maxima_v[good].max()))
    lanes = [*happened.presses, "chime"]
    last = LANE + PITCH * (len(lanes) - 1)
    axis = last + 1.4

    def place(value: float) -> float:
        return BOTTOM - (value - scale.low_v) / (scale.high_v - scale.low_v) * (BOTTOM - TOP)

    drawn: list[Markup] = []
    for one in line.stretches:
        drawn += [line_across(one.left, one.right, place(tick), "feint") for tick in scale.ticks]
        drawn += [line_across(one.left, one.right, LANE + PITCH * n, "wire") for n in range(len(lanes))]
        drawn += _ticks(one, axis, len(line.stretches) == 1, zone)
        if one is not line.stretches[-1]:
            drawn += [at(one.right, LANE + PITCH * n, ink.slashes(lying=False)) for n in range(len(lanes))]
    drawn += [
        label(0, place(tick) + 0.33, figure(tick, f".{scale.decimals}f"), "numeral", "end", -7) for tick in scale.ticks
    ]
    drawn += [label(0, LANE + PITCH * n - 0.45, name, "lane-label") for n, name in enumerate(lanes)]
    for start_s, end_s in happened.blind:
        for left, right in line.spans(start_s, end_s):
            broad = right - left > 0.005
            drawn += [
                hatch(left, right if broad else None, LANE - 0.9, last + 0.9, "hatch small"),
                line_down(left, LANE - 0.9, last + 0.9, "hatch-end"),
            ]
    for n, presses in enumerate(happened.presses.values()):
        drawn += [mark for press in presses for mark in _press(line, *press, LANE + PITCH * n)]
    drawn += _chime(line, happened, last)
    for moment_s, name in happened.events:
        x = line.place(moment_s)
        if x is not None:
            drawn += [
                line_down(x, TOP - 0.3, last + 0.9, "event"),
                label(x, TOP + 0.5, name, "said", "end" if x > 0.6 else "start", -6 if x > 0.6 else 6),
            ]
    return drawing(axis + 2.2, *drawn, _maxima(line, at_s, maxima_v, scale), class_="recorded")


def _press(line: Line, start_s: float, end_s: float, em: float) -> list[Markup]:
    """A stroke where it began; a long one drawn to its length."""
    x = line.place(start_s)
    if x is None:
        return []
    held = [line_across(left, right, em, "reading") for left, right in line.spans(start_s, end_s)]
    return [*held, at(x, em, ink.strokes((False,), False, 14, 3), class_="small")]


def _chime(line: Line, happened: Happened, em: float) -> list[Markup]:
    drawn: list[Markup] = []
    for start_s, end_s in happened.soundings:
        drawn += [line_across(left, right, em, "reading") for left, right in line.spans(start_s, end_s)]
        x = line.place(start_s)
        if x is not None:
            drawn.append(at(x, em, ink.dot(4)))
    for start_s, end_s in happened.tests:
        for left, right in line.spans(start_s, end_s):
            drawn += [
                line_across(left, right, em - 0.35, "leader"),
                line_down(left, em - 0.35, em, "leader"),
                line_down(right, em - 0.35, em, "leader"),
            ]
    for moment_s in happened.starts:
        x = line.place(moment_s)
        if x is not None:
            drawn.append(line_down(x, em, em + 0.8, "boot"))
    return drawn


def _ticks(one: Stretch, axis: float, alone: bool, zone: ZoneInfo) -> list[Markup]:
    """Seconds from the start of a short stretch, times of day on a long one; of several only where each begins."""
    drawn = [line_across(one.left, one.right, axis, "axis")]
    step = step_s(one.end_s - one.start_s)
    if not alone:
        return [
            *drawn,
            line_down(one.left, axis, axis + 0.3, "axis"),
            _numeral(one.left, axis, words.clock(one.start_s, zone)),
        ]
    if step < 60.0:
        count = int((one.end_s - one.start_s) / step + 1e-6)
        decimals = 0 if step >= 1.0 else 1
        ticks = [(one.start_s + n * step, figure(n * step, f".{decimals}f")) for n in range(count + 1)]
        ticks[-1] = (ticks[-1][0], f"{ticks[-1][1]}{words.THIN}s")
    else:
        first = ceil(one.start_s / step)
        ticks = [(n * step, words.clock(n * step, zone)) for n in range(first, int(one.end_s // step) + 1)]
    for moment_s, text in ticks:
        x = one.place(moment_s)
        drawn += [line_down(x, axis, axis + 0.3, "axis"), _numeral(x, axis, text)]
    return drawn


def _numeral(x: float, axis: float, text: str) -> Markup:
    return label(x, axis + 1.4, text, "numeral", "start" if x < 0.02 else "end" if x > 0.97 else "middle")


def _maxima(line: Line, at_s: Floats, maxima_v: Floats, scale: Scale) -> Markup:
    """A trace through every cycle, or, of many, their ranges and a trace through the middles; of windows, bars."""
    uprights, trace, bars = list[str](), list[str](), list[str]()
    spacing_s = float(np.median(np.diff(at_s))) if len(at_s) > 1 else SPARSE_S
    together = max(1, ceil(len(at_s) / POINTS))

    def y(value: float) -> str:
        return f"{(1 - (value - scale.low_v) / (scale.high_v - scale.low_v)) * 1000:.1f}"

    for one in line.stretches:
        inside = np.flatnonzero((at_s >= one.start_s - 1e-6) & (at_s <= one.end_s + 1e-6))
        before_s = -np.inf
        for group in np.split(inside, range(together, len(inside), together)):
            some = maxima_v[group][np.isfinite(maxima_v[group])]
            if not len(some):
                continue
            centre, middle = one.place(float(at_s[group].mean())) * 1000, y(float(np.median(some)))
            if together > 1:
                uprights.append(f"M{centre:.1f} {y(float(some.min()))}V{y(float(some.max()))}")
            if spacing_s >= SPARSE_S:
                bars.append(f"M{centre - BAR:.1f} {middle}h{2 * BAR:g}")
            elif at_s[group[0]] - before_s > GAP_CYCLES * spacing_s:
                trace.append(f"M{centre:.1f} {middle}{SPECK}")
            else:
                trace.append(f"L{centre:.1f} {middle}")
            before_s = at_s[group[-1]]
    return _frame(
        *(
            element("path", d="".join(d), class_=c)
            for d, c in ((uprights, "interval"), (trace, "trace"), (bars, "low"))
            if d
        ),
        top=TOP,
        bottom=BOTTOM,
    )


def draw_folded(one: Folded) -> Markup:
    """One cycle: samples as specks, the fitted rail as dots through them, the fit at commissioning as a chain line."""
    height, top, bottom = 11.2, 0.6, 9.4
    values = [one.volts, *(wave for wave in (one.fitted, one.before) if wave is not None)]
    scale = round_scale(min(float(v.min()) for v in values), max(float(v.max()) for v in values))
    length_ms = 1000.0 / one.mains_hz

    def place(value: float) -> float:
        return bottom - (value - scale.low_v) / (scale.high_v - scale.low_v) * (bottom - top)

    def y(value: float) -> float:
        return (1 - (value - scale.low_v) / (scale.high_v - scale.low_v)) * 1000

    drawn = [line_across(0, 1, place(tick), "feint") for tick in scale.ticks]
    drawn += [
        label(0, place(tick) + 0.33, figure(tick, f".{scale.decimals}f"), "numeral", "end", -7) for tick in scale.ticks
    ]
    for millisecond in range(0, int(length_ms + 1e-6) + 1, 5):
        x = min(millisecond / length_ms, 1.0)
        drawn += [
            line_down(x, top, bottom, "feint"),
            label(
                x, bottom + 1.3, f"{millisecond}", "numeral", "start" if x < 0.02 else "end" if x > 0.97 else "middle"
            ),
        ]
    specks = "".join(f"M{t * 1000:.1f} {y(float(v)):.1f}{SPECK}" for t, v in zip(one.turns, one.volts, strict=True))
    paths = [element("path", d=specks, class_="speck")]
    for wave, class_ in ((one.before, "before"), (one.fitted, "predicted")):
        if wave is not None:
            step = 1000.0 / (len(wave) - 1)
            points = " ".join(f"{n * step:.1f} {y(float(v)):.1f}" for n, v in enumerate(wave))
            paths.append(element("path", d=f"M{points}", class_=class_))
    return drawing(height, *drawn, _frame(*paths, top=top, bottom=bottom), class_="cycle")


def _frame(*paths: Markup, top: float, bottom: float) -> Markup:
    """Stretched to its place; lines keep their width."""
    return element(
        "svg",
        *paths,
        x="0",
        y=down(top),
        width=across(1),
        height=down(bottom - top),
        viewBox="0 0 1000 1000",
        preserveAspectRatio="none",
        overflow="visible",
    )
