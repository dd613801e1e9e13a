"""The marks of the drawing language, in pixels around a point (see svg.at). Knows no record and no time."""

from collections.abc import Sequence

from markupsafe import Markup

from dashboard.svg import element

CHAMFER = 5.5
STROKE_LENGTH = 18.0
STROKE_PITCH = 5.4


def strokes(
    doubtful: Sequence[bool], lying: bool, length: float = STROKE_LENGTH, pitch: float = STROKE_PITCH
) -> Markup:
    """One stroke per press across a wire; an open one where the press is doubtful. `lying`: the wire runs down."""
    drawn = []
    for number, open_stroke in enumerate(doubtful):
        offset = (number - (len(doubtful) - 1) / 2) * pitch
        if open_stroke:
            broad = min(6.0, pitch + 0.6)
            x, y, width, height = (
                (-length / 2, offset - broad / 2, length, broad)
                if lying
                else (offset - broad / 2, -length / 2, broad, length)
            )
            drawn.append(element("rect", x=x, y=y, width=width, height=height, class_="stroke open"))
        elif lying:
            drawn.append(element("line", x1=-length / 2, x2=length / 2, y1=offset, y2=offset, class_="stroke"))
        else:
            drawn.append(element("line", y1=-length / 2, y2=length / 2, x1=offset, x2=offset, class_="stroke"))
    return Markup("").join(drawn)


def dot(radius: float = 5.2) -> Markup:
    """The chime sounded."""
    return element("circle", r=radius, class_="dot")


def ring(radius: float = 4.6) -> Markup:
    """The chime kept silent."""
    return element("circle", r=radius, class_="ring")


def slashes(lying: bool) -> Markup:
    """A wire broken off: two slashes across it."""
    steps = (-2.6, 2.6)
    return Markup("").join(
        element("line", x1=-5, x2=5, y1=s + 3, y2=s - 3, class_="slash")
        if lying
        else element("line", x1=s - 3, x2=s + 3, y1=5, y2=-5, class_="slash")
        for s in steps
    )


def corner(from_x: float, from_y: float, to_x: float, to_y: float) -> Markup:
    """A bell crank: a chamfer round a corner at the origin, and a dot on its inside. The arguments are directions, -1, 0 or 1."""
    return Markup("").join(
        (
            element(
                "line", x1=from_x * CHAMFER, y1=from_y * CHAMFER, x2=to_x * CHAMFER, y2=to_y * CHAMFER, class_="leader"
            ),
            element("circle", cx=(from_x + to_x) * 4.6, cy=(from_y + to_y) * 4.6, r=1.8, class_="pivot"),
        )
    )
