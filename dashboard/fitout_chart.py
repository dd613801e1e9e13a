"""The predicted rail as small drawings on one height scale, for the Fit-out sheet. As wide as their place. Knows no page.

Predicted at nominal mains: dots; at low and high mains: fine bounds; the sheet before a change: a chain line; the limit: teeth below it.
"""

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from dashboard.bench_chart import path_of
from dashboard.language import figure, marked
from dashboard.rail_chart import Scale, round_scale
from dashboard.svg import at, down, drawing, element, label, line_across, line_down
from service.supply.fitout_curves import Curve

HEIGHT, TOP, BOTTOM = 11.5, 0.6, 9.6  # [em]
TEETH = 22
TITLES = {"idle": marked("At rest"), "sounding": marked("While it sounds"), "pressed": marked("While pressed")}


def scale_of(shown: Sequence[Curve], earlier: Mapping[str, Curve], limit_v: float | None) -> Scale:
    values = [
        float(v)
        for curve in (*shown, *earlier.values())
        for volts in curve.volts.values()
        for v in (volts.min(), volts.max())
    ]
    values += [limit_v] if limit_v is not None else []
    return round_scale(min(values), max(values))


def draw(curve: Curve, scale: Scale, before: Curve | None, limit_v: float | None, numerals: bool) -> Markup:
    def place(value: float) -> float:
        return BOTTOM - (value - scale.low_v) / (scale.high_v - scale.low_v) * (BOTTOM - TOP)

    drawn = [line_across(0, 1, place(tick), "feint") for tick in scale.ticks]
    if numerals:
        drawn += [
            label(0, place(tick) + 0.33, figure(tick, f".{scale.decimals}f"), "numeral", "end", -7)
            for tick in scale.ticks
        ]
    length_s = float(curve.times_s[-1])
    for millisecond in range(0, round(length_s * 1000) + 1, 20):
        x = min(millisecond / 1000 / length_s, 1.0)
        text = f"{millisecond} ms" if millisecond + 20 > length_s * 1000 else f"{millisecond}"
        drawn += [
            line_down(x, TOP, BOTTOM, "feint"),
            label(x, BOTTOM + 1.4, text, "numeral", "start" if millisecond == 0 else "end" if x > 0.9 else "middle"),
        ]
    if limit_v is not None:
        drawn.append(line_across(0, 1, place(limit_v), "limit"))
        drawn += [
            at((n + 0.5) / TEETH, place(limit_v), element("line", x1=0, y1=0, x2=-4, y2=5, class_="teeth"))
            for n in range(TEETH)
        ]
    lines = [
        element("path", d=path_of(curve.volts[mains], scale), class_="bound")
        for mains in ("low", "high")
        if mains in curve.volts
    ]
    if before is not None:
        lines.append(element("path", d=path_of(before.volts["nominal"], scale), class_="before"))
    lines.append(element("path", d=path_of(curve.volts["nominal"], scale), class_="predicted"))
    frame = element(
        "svg", *lines, x="0", y=down(TOP), width="100%", height=down(BOTTOM - TOP),
        viewBox="0 0 1000 1000", preserveAspectRatio="none", overflow="visible",
    )  # fmt: skip
    return drawing(HEIGHT, *drawn, frame, class_="cycle")
