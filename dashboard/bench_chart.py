"""A capture as a drawing: two average cycles as a trace, the predicted ones dotted through it. Knows no page and no circuit."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import isnan

from markupsafe import Markup

from dashboard.language import figure
from dashboard.rail_chart import Scale, round_scale
from dashboard.svg import down, drawing, element, label, line_across, line_down

HEIGHT, TOP, BOTTOM = 15.0, 0.7, 13.0  # [em]
CYCLES = 2


@dataclass(frozen=True, slots=True)
class Wave:
    """`volts` and `predicted` (empty: nothing is) over `length_s`, both in equal steps."""

    volts: Sequence[float]
    predicted: Sequence[float]
    length_s: float


def of_cycle(cycle: Sequence[float], predicted: Sequence[float], mains_hz: float) -> Wave:
    """An average cycle, as often as is drawn."""
    return Wave([*cycle] * CYCLES, [*predicted] * CYCLES, CYCLES / mains_hz)


def common_scale(waves: Sequence[Wave]) -> Scale:
    values = [value for wave in waves for value in (*wave.volts, *wave.predicted) if not isnan(value)]
    return round_scale(min(values), max(values)) if values else round_scale(0.0, 1.0)


def draw(wave: Wave, scale: Scale, numerals: bool = True) -> Markup:
    """On a height scale that it may share with others; `numerals` at its left edge."""

    def place(value: float) -> float:
        return BOTTOM - (value - scale.low_v) / (scale.high_v - scale.low_v) * (BOTTOM - TOP)

    drawn = [line_across(0, 1, place(tick), "axis" if tick == 0.0 else "feint") for tick in scale.ticks]
    if numerals:
        drawn += [
            label(0, place(tick) + 0.33, figure(tick, f".{scale.decimals}f").replace("-", "−"), "numeral", "end", -7)
            for tick in scale.ticks
        ]
    whole = round(wave.length_s * 1000)
    for millisecond in range(0, whole + 1, 10):
        x = min(millisecond / 1000 / wave.length_s, 1.0)
        anchor = "start" if millisecond == 0 else "end" if x > 0.93 else "middle"
        text = f"{millisecond} ms" if millisecond + 10 > whole else f"{millisecond}"
        drawn += [line_down(x, TOP, BOTTOM, "feint"), label(x, BOTTOM + 1.4, text, "numeral", anchor)]
    curves = [element("path", d=path_of(wave.volts, scale), class_="trace")]
    if wave.predicted:
        curves.append(element("path", d=path_of(wave.predicted, scale), class_="predicted"))
    frame = element(
        "svg", *curves, x="0", y=down(TOP), width="100%", height=down(BOTTOM - TOP),
        viewBox="0 0 1000 1000", preserveAspectRatio="none", overflow="visible",
    )  # fmt: skip
    return drawing(HEIGHT, *drawn, frame, class_="cycle")


def path_of(values: Iterable[float], scale: Scale) -> str:
    """Values in equal steps in a frame of 1000 by 1000; where one is no number the line is broken."""
    values = list(values)
    last = max(len(values) - 1, 1)
    drawn, broken = [], True
    for n, value in enumerate(values):
        if isnan(value):  # not taken
            broken = True
            continue
        height = (1 - (value - scale.low_v) / (scale.high_v - scale.low_v)) * 1000
        drawn.append(f"{'M' if broken else 'L'}{1000 * n / last:.1f} {height:.1f}")
        broken = False
    return "".join(drawn)
