"""Marks of the report with their inks in the drawing itself, in plain units: for paper, where no style sheet reaches into a drawing.

On the page the style sheet overrides them, so that a dark sheet has light ink.
"""

from collections.abc import Mapping

from markupsafe import Markup

from dashboard.svg import Value, element

INKS: Mapping[str, Mapping[str, Value]] = {
    "feint": {"stroke": "#cccccc", "stroke-width": 0.8},
    "rule": {"stroke": "#777777", "stroke-width": 0.8},
    "axis": {"stroke": "#000000", "stroke-width": 1.0},
    "wire": {"stroke": "#333333", "stroke-width": 0.8},
    "stroke": {"stroke": "#000000", "stroke-width": 1.6},
    "open": {"stroke": "#000000", "stroke-width": 0.9, "fill": "#ffffff"},
    "hatch-line": {"stroke": "#333333", "stroke-width": 0.7},
    "hatch-end": {"stroke": "#333333", "stroke-width": 0.8},
    "dot": {"fill": "#000000"},
    "trace": {"stroke": "#000000", "stroke-width": 1.3, "fill": "none"},
    "upright": {"stroke": "#000000", "stroke-width": 0.9},
    "interval": {"stroke": "#333333", "stroke-width": 0.6},
    "limit": {"stroke": "#000000", "stroke-width": 1.3},
    "teeth": {"stroke": "#000000", "stroke-width": 0.7},
    "before": {"stroke": "#333333", "stroke-width": 0.9, "stroke-dasharray": "9 3 1.5 3", "fill": "none"},
    "begun": {"stroke": "#333333", "stroke-width": 1.6},
    "numeral": {"fill": "#333333", "font-size": 11},
    "said": {"fill": "#333333", "font-size": 11, "font-style": "italic"},
    "beyond": {"fill": "#000000", "font-size": 11, "font-style": "italic"},
    "beginning": {"fill": "#333333", "font-size": 11, "font-style": "italic"},
    "figure": {"fill": "#000000", "font-size": 11},
}
FAMILY = "Brygada 1918, Iowan Old Style, Charter, Cambria, Noto Serif, DejaVu Serif, Georgia, serif"


def inked(name: str, class_: str, words: str = "", **attributes: Value) -> Markup:
    """An element with the ink of its class."""
    return element(name, text=words, class_=class_, **{**attributes, **INKS[class_]})


def line(x1: float, y1: float, x2: float, y2: float, class_: str) -> Markup:
    return inked("line", class_, x1=x1, y1=y1, x2=x2, y2=y2)


def text(x: float, y: float, words: str, class_: str, anchor: str = "start") -> Markup:
    attributes = {"font-family": FAMILY, "text_anchor": anchor}
    return inked("text", class_, words, x=x, y=y, **attributes)


def hatched(x: float, y: float, width: float, height: float) -> list[Markup]:
    """A stretch in which nothing could be recorded: slanted lines, and a line at either end. At least three wide."""
    width = max(width, 3.0)
    lines = []
    at = -height + 4.0
    while at < width:
        # each rises to the right, cut where it would leave the stretch
        left, right = max(at, 0.0), min(at + height, width)
        lines.append(line(x + left, y + height - (left - at), x + right, y + height - (right - at), "hatch-line"))
        at += 4.0
    return [*lines, line(x, y, x, y + height, "hatch-end"), line(x + width, y, x + width, y + height, "hatch-end")]


def sheet(width: float, height: float, *children: Markup, told: str) -> Markup:
    """A drawing as wide as its place. `told`: in words, for whoever cannot see it."""
    return element(
        "svg", element("title", text=told), *children, viewBox=f"0 0 {width:g} {height:g}", width="100%",
        class_="paper-drawing",
        role="img",
    )  # fmt: skip
