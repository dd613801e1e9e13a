"""The predicted rail as a drawing of its own: an SVG file that carries its inks, light and dark. Knows no page.

Panels for rest, sounding and a held button share one height scale. Predicted at nominal mains: dots; at low and high mains: fine
bounds; the sheet before a change: a chain line; limits: teeth on the forbidden side; what the detector sees: bars on its wire.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from dashboard.language import figure, marked, pointed, resaid, say
from dashboard.rail_chart import Scale, round_scale
from dashboard.svg import element
from service.supply.envelope import State
from service.supply.fitout_curves import Curve, curves, pulses
from service.supply.fitout_rules import Check
from service.supply.remark import quantity

WIDTH, HEIGHT = 1000.0, 430.0
LEFT, RIGHT, GAP = 78.0, 154.0, 34.0
TOP, BOTTOM, LANE, AXIS = 84.0, 324.0, 352.0, 376.0
TOOTH, TOOTH_PITCH = 5.0, 8.0
LABEL_PITCH = 17.0
NEAR = 1.3
"""A reservoir's rating is drawn where it is within this of the highest rail; else it would flatten everything else."""

TITLES = {"idle": marked("At rest"), "sounding": marked("While it sounds"), "pressed": marked("While pressed")}
INKS = {
    "light": {"paper": "#e9eff1", "ink": "#15202b", "ink2": "#44525f", "madder": "#9b1c34", "prussian": "#1b4f80", "rule": "#76868f",
              "feint": "#c6d2d8"},
    "dark": {"paper": "#1a1917", "ink": "#ebe4d5", "ink2": "#b5ad9d", "madder": "#f29a91", "prussian": "#93bde6", "rule": "#7d776b",
             "feint": "#37342e"},
}  # fmt: skip


@dataclass(frozen=True)
class Place:
    """Where a panel stands, and its scales."""

    left: float
    width: float
    scale: Scale
    length_s: float

    @property
    def right(self) -> float:
        return self.left + self.width

    def x(self, moment_s: float) -> float:
        return self.left + self.width * moment_s / self.length_s

    def y(self, value_v: float) -> float:
        return BOTTOM - (value_v - self.scale.low_v) / (self.scale.high_v - self.scale.low_v) * (BOTTOM - TOP)


def plot(check: Check, before: Check | None = None) -> str:
    """A whole SVG file. `before`: the sheet without a change, drawn beside it."""
    shown = [curve for curve in curves(check) if curve.state in TITLES]
    earlier = {curve.state: curve for curve in curves(before)} if before else {}
    inner = _panels(check, shown, earlier) if shown else _nothing(check)
    told = _words(check, shown)
    return str(
        element(
            "svg",
            element("title", text=say("The predicted rail")),
            element("desc", text=told),
            Markup(f"<style>{_style()}</style>"),  # noqa: S704 - ours, without anything from outside
            element("rect", width=WIDTH, height=HEIGHT, class_="paper"),
            *inner,
            xmlns="http://www.w3.org/2000/svg",
            viewBox=f"0 0 {WIDTH:g} {HEIGHT:g}",
            width=WIDTH,
            height=HEIGHT,
            role="img",
        )
    )


def _panels(check: Check, shown: Sequence[Curve], earlier: dict[State, Curve]) -> list[Markup]:
    scale = _scale(check, [*shown, *(earlier[curve.state] for curve in shown if curve.state in earlier)])
    drawn = [_text(LEFT - 10, TOP - 16, say("Rail, V"), "label", "end")]
    width = (WIDTH - LEFT - RIGHT - GAP * (len(shown) - 1)) / len(shown)
    places = [
        Place(LEFT + number * (width + GAP), width, scale, float(curve.times_s[-1]))
        for number, curve in enumerate(shown)
    ]
    drawn += [
        _text(LEFT - 10, places[0].y(tick) + 5, figure(tick, f".{scale.decimals}f"), "numeral", "end")
        for tick in scale.ticks
    ]
    for place, curve in zip(places, shown, strict=True):
        drawn += _panel(check, place, curve, earlier.get(curve.state))
    drawn += _ends(places[-1], shown[-1])
    drawn += _lane(check, places, shown)
    if earlier:
        drawn += [
            element("line", x1=LEFT, x2=LEFT + 44, y1=HEIGHT - 14, y2=HEIGHT - 14, class_="before"),
            _text(LEFT + 52, HEIGHT - 9, say("As the sheet has it"), "said blue"),
        ]
    return drawn


def _panel(check: Check, place: Place, curve: Curve, earlier: Curve | None) -> list[Markup]:
    load = check.basis.loads_a["sounding" if curve.state == "sounding" else "idle"] if check.basis else 0.0
    nominal = curve.volts["nominal"]
    low, high = float(np.min(nominal)), float(np.max(nominal))
    drawn = [
        _text(place.left, 32, f"{say(TITLES[curve.state])}, {pointed(quantity(load, 'A'))}", "title"),
        _text(
            place.left,
            54,
            say("{low} to {high} V in every cycle", low=figure(low, ".1f"), high=figure(high, ".1f")),
            "said",
        ),
    ]
    drawn += [
        element("line", x1=place.left, x2=place.right, y1=place.y(tick), y2=place.y(tick), class_="feint")
        for tick in place.scale.ticks
    ]
    milliseconds = range(0, int(place.length_s * 1000 + 1e-6) + 1, 10)
    for millisecond in milliseconds:
        x = place.x(millisecond / 1000.0)
        numeral = f"{millisecond} ms" if millisecond == milliseconds[-1] else f"{millisecond}"
        drawn.append(element("line", x1=x, x2=x, y1=TOP, y2=BOTTOM, class_="feint"))
        drawn.append(_text(x, AXIS + 20, numeral, "numeral", "end" if x > place.right - 12 else "middle"))
    drawn.append(element("line", x1=place.left, x2=place.right, y1=AXIS, y2=AXIS, class_="axis"))
    drawn += _limits(check, place, named=curve.state == "idle")
    if earlier is not None:
        drawn.append(_path(place, earlier.times_s, earlier.volts["nominal"], "before"))
    drawn += [_path(place, curve.times_s, curve.volts[mains], "bound") for mains in ("low", "high")]
    drawn.append(_path(place, curve.times_s, nominal, "predicted"))
    return drawn


def _limits(check: Check, place: Place, named: bool) -> list[Markup]:
    drawn: list[Markup] = []
    dropout = check.basis.dropout_v if check.basis else None
    if dropout is not None:
        drawn += _limit(place, dropout, downwards=True)
        if named:
            drawn.append(
                _text(
                    place.left + 4,
                    place.y(dropout) - 6,
                    say("Drops out below {quantity}", quantity=pointed(quantity(dropout, "V"))),
                    "said red",
                )
            )
    rated = check.sheet.reservoir_rated_v
    if rated is not None and rated <= place.scale.high_v:
        drawn += _limit(place, rated, downwards=False)
        if named:
            drawn.append(
                _text(
                    place.left + 4,
                    place.y(rated) + 17,
                    say("Reservoir rated {quantity}", quantity=pointed(quantity(rated, "V"))),
                    "said red",
                )
            )
    return drawn


def _limit(place: Place, value_v: float, downwards: bool) -> list[Markup]:
    y = place.y(value_v)
    depth = TOOTH if downwards else -TOOTH
    teeth = "".join(
        f"M{x:.1f} {y:.1f}l{-TOOTH:g} {depth:g}" for x in np.arange(place.left + TOOTH, place.right + 0.1, TOOTH_PITCH)
    )
    return [
        element("line", x1=place.left, x2=place.right, y1=y, y2=y, class_="limit"),
        element("path", d=teeth, class_="teeth"),
    ]


def _ends(place: Place, curve: Curve) -> list[Markup]:
    """The names of the traces, at their ends, no two on one line."""
    names = {"high": say("mains 10 % high"), "nominal": say("nominal mains"), "low": say("mains 10 % low")}
    ends = sorted((place.y(float(volts[-1])), mains) for mains, volts in curve.volts.items())
    drawn, before = [], 0.0
    for y, mains in ends:
        before = max(y + 5.0, before + LABEL_PITCH)
        drawn.append(_text(place.right + 10, before, names[mains], "said blue" if mains == "nominal" else "said"))
    return drawn


def _lane(check: Check, places: Sequence[Place], shown: Sequence[Curve]) -> list[Markup]:
    """The detector's wire: bars where it is lit."""
    drawn = [_text(LEFT - 10, LANE + 5, say("Detector"), "label", "end")]
    lit = pulses(check)
    for place, curve in zip(places, shown, strict=True):
        drawn.append(element("line", x1=place.left, x2=place.right, y1=LANE, y2=LANE, class_="wire"))
        if curve.state == "pressed":
            drawn += [
                element("line", x1=place.x(start), x2=place.x(end), y1=LANE, y2=LANE, class_="lit")
                for start, end in lit
            ]
    sure = check.envelope.shortest_sure_press_s if check.envelope else None
    if lit and sure is not None and np.isfinite(sure.high):
        x = places[-1].right + 10
        drawn.append(
            _text(x, LANE - 4, say("a press of {quantity}", quantity=pointed(quantity(sure.high, "s"))), "said")
        )
        drawn.append(_text(x, LANE + 13, say("is always seen"), "said"))
    return drawn


def _scale(check: Check, drawn: Sequence[Curve]) -> Scale:
    values = [float(limit(volts)) for curve in drawn for volts in curve.volts.values() for limit in (np.min, np.max)]
    if check.basis and check.basis.dropout_v is not None:
        values.append(check.basis.dropout_v)
    rated = check.sheet.reservoir_rated_v
    if rated is not None and rated <= NEAR * max(values):
        values.append(rated)
    return round_scale(min(values), max(values))


def _path(place: Place, times_s: NDArray[np.float64], volts: NDArray[np.float64], class_: str) -> Markup:
    within = times_s <= place.length_s + 1e-9
    pairs = zip(times_s[within], volts[within], strict=True)
    points = " ".join(f"{place.x(float(t)):.1f},{place.y(float(v)):.1f}" for t, v in pairs)
    return element("polyline", points=points, class_=class_)


def _nothing(check: Check) -> list[Markup]:
    lines = [say("There is no rail to draw."), *(resaid(assumption.cost) for assumption in check.assumptions[:8])]
    return [_text(48, 60 + 28 * number, line, "said" if number else "title") for number, line in enumerate(lines)]


def _words(check: Check, shown: Sequence[Curve]) -> str:
    """The drawing in words, for who cannot see it."""
    if not shown:
        return say("There is no rail to draw: the sheet names too little.")
    told = [
        say(
            "Predicted from the fit-out sheet at {mains_hz} Hz, nominal mains.",
            mains_hz=figure(shown[0].mains_hz, "g"),
        )
    ]
    for curve in shown:
        volts = curve.volts["nominal"]
        told.append(
            say(
                "{state}: {low} to {high} V in every cycle.",
                state=say(TITLES[curve.state]),
                low=figure(np.min(volts), ".2f"),
                high=figure(np.max(volts), ".2f"),
            )
        )
    if check.basis and check.basis.dropout_v is not None:
        told.append(say("The regulator drops out below {dropout_v} V.", dropout_v=figure(check.basis.dropout_v, ".2f")))
    return " ".join(told)


def _text(x: float, y: float, text: str, class_: str, anchor: str | None = None) -> Markup:
    return element("text", x=x, y=y, text=text, class_=class_, text_anchor=anchor)


def _style() -> str:
    """The inks of the pages, in the file itself, so that it reads anywhere. No variables: not every viewer knows them."""

    def inks(ink: dict[str, str]) -> str:
        return (
            f".paper{{fill:{ink['paper']}}}text{{fill:{ink['ink2']}}}.title{{fill:{ink['ink']}}}"
            f".blue{{fill:{ink['prussian']}}}.red{{fill:{ink['madder']}}}"
            f".feint{{stroke:{ink['feint']}}}.axis{{stroke:{ink['rule']}}}.wire,.bound{{stroke:{ink['ink2']}}}"
            f".lit{{stroke:{ink['ink']}}}.limit,.teeth{{stroke:{ink['madder']}}}.predicted,.before{{stroke:{ink['prussian']}}}"
        )

    fixed = (
        'text{font-family:"Brygada 1918","Iowan Old Style",Charter,"Sitka Text",Cambria,"Noto Serif","DejaVu Serif",Georgia,serif;'
        "font-size:14px;font-variant-numeric:lining-nums tabular-nums}"
        ".title{font-size:16px;font-weight:600}.said,.label{font-style:italic}"
        "line,polyline,path{fill:none}.feint,.axis,.wire{stroke-width:1}.bound{stroke-width:.7}.limit{stroke-width:1.5}"
        ".teeth{stroke-width:.9}.lit{stroke-width:7}.before{stroke-width:1;stroke-dasharray:9 3 1.5 3}"
        ".predicted{stroke-width:4;stroke-dasharray:0 8;stroke-linecap:round}"
    )
    return f"{fixed}{inks(INKS['light'])}@media (prefers-color-scheme:dark){{{inks(INKS['dark'])}}}"
