"""A supply as a point in the plane of its reservoir and its source resistance: where it was, and where the rail gives way.

Hidden from readers: the sentence below it tells the same. Knows no record and no page; its inks go to paper too.
"""

from collections.abc import Sequence
from itertools import pairwise
from math import hypot
from typing import NamedTuple

import numpy as np
from markupsafe import Markup

from dashboard import quantities, words
from dashboard.language import figure, say
from dashboard.rail_chart import round_scale
from dashboard.report_ink import inked, line, text
from dashboard.svg import element
from dashboard.type_measure import width
from service.findings.standing_room import Limit, Place, Seen
from service.supply.boundary import MOST_OHM

WIDTH, HEIGHT, LEFT, RIGHT, TOP, FOOT = 340.0, 232.0, 30.0, 16.0, 6.0, 24.0
SIZE = 14.5  # of the words on a page; on paper they are smaller [px]
TEETH, TOOTH = 8.0, 5.0  # apart, and long [px]
DOT = 4.2
FAR = 4.0
"""The curve is drawn where it lies within so many times the resistance that was measured."""


class Box(NamedTuple):
    """Of a mark or of words, in the drawing [px]."""

    left: float
    right: float
    top: float
    bottom: float

    def covers(self, place: Place) -> bool:
        return self.left - 3.0 <= place[0] <= self.right + 3.0 and self.top - 2.0 <= place[1] <= self.bottom + 2.0

    def is_inside(self, left: float, right: float, top: float, bottom: float) -> bool:
        return left <= self.left and self.right <= right and top <= self.top and self.bottom <= bottom

    def corners(self) -> list[Place]:
        """With points along its edges, closer together than words are high."""
        across = [self.left + n * (self.right - self.left) / 8 for n in range(9)]
        return [(x, y) for x in across for y in (self.top, (self.top + self.bottom) / 2, self.bottom)]


def told(one: Seen) -> str:
    """The same in sentences."""
    said = say("Now {place}", place=_place((one.farad.value, one.ohm.value)))
    said += say("; as commissioned {place}.", place=_place(one.then)) if one.then else "."
    return f"{said} {_room(one, one.limit)}" if one.limit else said


def draw(one: Seen) -> Markup:
    across, up = (round_scale(0.0, end) for end in _ends(one))

    def at(place: Place) -> Place:
        """Where it stands in the drawing [px]."""
        wide, high = WIDTH - LEFT - RIGHT, HEIGHT - FOOT - TOP
        return LEFT + 1e6 * place[0] / across.high_v * wide, HEIGHT - FOOT - place[1] / up.high_v * high

    foot, right = HEIGHT - FOOT, WIDTH - RIGHT
    columns = [(at((1e-6 * tick, 0.0))[0], tick) for tick in across.ticks]
    rows = [(at((0.0, tick))[1], tick) for tick in up.ticks]
    drawn = [line(x, TOP, x, foot, "feint") for x, _ in columns] + [line(LEFT, y, right, y, "feint") for y, _ in rows]
    drawn += [text(x, foot + 16.0, figure(tick, "g"), "numeral", "middle") for x, tick in columns]
    drawn += [text(LEFT - 6.0, y + 4.0, figure(tick, "g"), "numeral", "end") for y, tick in rows]
    curve = _smooth([at(place) for place in zip(one.limit.farad, one.limit.ohm, strict=True)]) if one.limit else []
    drawn += _limited(curve) if curve else []
    past = [at(place) for place in ([one.then] if one.then else []) + [*one.track]]
    now = at((one.farad.value, one.ohm.value))
    drawn += [line(*earlier, *later, "interval") for earlier, later in pairwise([*past, now])]
    drawn += [inked("circle", "dot", cx=x, cy=y, r=1.7) for x, y in past[1 if one.then else 0 :]]
    mark, box = _now(now, at((one.farad.low, one.ohm.low)), at((one.farad.high, one.ohm.high)))
    taken = [*_along(curve), *_along([*past, now])]
    label, words_box = _label(say("Now"), "figure", box, taken)
    drawn += [*mark, label]
    if one.then:
        mark, begun = _begun(past[0])
        drawn += [
            *mark,
            _label(say("When commissioned"), "beginning", begun, [*taken, *box.corners(), *words_box.corners()])[0],
        ]
    return element(
        "svg", *drawn, class_="drawing departures plane", aria_hidden="true", focusable="false",
        viewBox=f"0 0 {WIDTH:g} {HEIGHT:g}", width=WIDTH, height=HEIGHT,
    )  # fmt: skip


def _ends(one: Seen) -> Place:
    """How far the drawing reaches [µF, Ω]."""
    places = [(one.farad.high, one.ohm.high), *([one.then] if one.then else []), *one.track]
    farad, ohm = (max(place[side] for place in places) for side in (0, 1))
    if one.limit and (most := one.limit.ohm_at(one.farad.value)) <= FAR * one.ohm.value:
        ohm = max(ohm, most)
    return 1.08e6 * farad, 1.2 * ohm


def _room(one: Seen, limit: Limit) -> str:
    """How far it is to the limit, one way and the other."""
    load = words.sentence(say("while it sounds") if limit.sounding else say("at rest")).rstrip(".")
    needed = words.measured(limit.dropout_v, "V", 1)
    most = limit.ohm_at(one.farad.value)
    if one.ohm.value > most:
        return say(
            "That is beyond the limit: {load} the rail falls below {needed}.", load=words.within(load), needed=needed
        )
    least = limit.farad_at(one.ohm.value)
    farad = quantities.figure("reservoir_f", least)
    said = say("{load} the rail stays above {needed} down to {farad}", load=load, needed=needed, farad=farad)
    if most < MOST_OHM:
        said += say(", or up to {ohm}", ohm=quantities.figure("source_ohm", most))
    return said + "."


def _place(place: Place) -> str:
    farad, ohm = quantities.figure("reservoir_f", place[0]), quantities.figure("source_ohm", place[1])
    return say("{farad} and {ohm}", farad=farad, ohm=ohm)


def _limited(curve: Sequence[Place]) -> list[Markup]:
    """As much of the curve as has room, its teeth on the side where the rail gives way, and what it is."""
    shown = _below_top(curve)
    if len(shown) < 2:
        return []
    path = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in shown)
    return [inked("path", "limit", d=path, fill="none"), *_teeth(shown), *_named(shown)]


def _smooth(curve: Sequence[Place]) -> list[Place]:
    """With points between, on a Catmull-Rom spline."""
    points = np.array([curve[0], *curve, curve[-1]])
    share = np.linspace(0.0, 1.0, 6, endpoint=False)[:, np.newaxis]
    parts = []
    for a, b, c, d in zip(points, points[1:], points[2:], points[3:], strict=False):
        bend = (2 * a - 5 * b + 4 * c - d) * share**2 + (3 * b - a - 3 * c + d) * share**3
        parts.append(b + 0.5 * ((c - a) * share + bend))
    return [(float(x), float(y)) for x, y in np.vstack([*parts, points[-1:]])]


def _below_top(curve: Sequence[Place]) -> list[Place]:
    shown = [curve[0]] if curve[0][1] >= TOP else []
    for (x1, y1), (x2, y2) in pairwise(curve):
        if y1 < TOP:
            break
        share = 1.0 if y2 >= TOP else (y1 - TOP) / (y1 - y2)
        shown.append((x1 + share * (x2 - x1), y1 + share * (y2 - y1)))
    return shown


def _teeth(curve: Sequence[Place]) -> list[Markup]:
    drawn, due = [], TEETH / 2
    for (x1, y1), (x2, y2) in pairwise(curve):
        long = hypot(x2 - x1, y2 - y1)
        along = (x2 - x1) / long, (y2 - y1) / long
        while due < long:
            x, y = x1 + due * along[0], y1 + due * along[1]
            side = along[1] - 0.6 * along[0], -along[0] - 0.6 * along[1]
            drawn.append(line(x, y, x + TOOTH * side[0], y + TOOTH * side[1], "teeth"))
            due += TEETH
        due -= long
    return drawn


def _named(curve: Sequence[Place]) -> list[Markup]:
    """In one line or two, where the curve leaves room above itself."""
    said = say("On this side the regulator drops out").split(" ")
    xs, ys = (np.array([place[side] for place in curve]) for side in (0, 1))
    for count in (1, 2):
        middle = -(-len(said) // count)
        rows = [" ".join(said[n : n + middle]) for n in range(0, len(said), middle)]
        end = LEFT + 6.0 + SIZE * max(map(width, rows))
        foot = TOP + 14.0 * len(rows) + 8.0
        if end < curve[-1][0] and float(np.interp(end, xs, ys)) > foot:
            return [text(LEFT + 6.0, TOP + 14.0 * (n + 1), row, "beyond") for n, row in enumerate(rows)]
    return []


def _now(place: Place, low: Place, high: Place) -> tuple[list[Markup], Box]:
    """Its uprights as far as the dot does not cover them."""
    x, y = place
    drawn = []
    if high[0] - low[0] > 2.0 * DOT:
        drawn += [line(low[0], y, high[0], y, "trace")]
        drawn += [line(end, y - 4.0, end, y + 4.0, "trace") for end in (low[0], high[0])]
    if low[1] - high[1] > 2.0 * DOT:
        drawn += [line(x, low[1], x, high[1], "trace")]
        drawn += [line(x - 4.0, end, x + 4.0, end, "trace") for end in (low[1], high[1])]
    dot = inked("circle", "dot", cx=x, cy=y, r=DOT)
    return [*drawn, dot], Box(min(low[0], x - DOT), max(high[0], x + DOT), min(high[1], y - DOT), max(low[1], y + DOT))


def _begun(place: Place) -> tuple[list[Markup], Box]:
    x, y = place
    strokes = [line(x + by, y - 8.0, x + by, y + 8.0, "begun") for by in (-2.0, 2.0)]
    return strokes, Box(x - 3.0, x + 3.0, y - 8.0, y + 8.0)


def _label(words: str, class_: str, mark: Box, taken: Sequence[Place]) -> tuple[Markup, Box]:
    """Words beside a mark, on the first side where they cover nothing that is `taken`."""
    wide = 1.05 * SIZE * width(words)
    middle, level = (mark.left + mark.right) / 2, (mark.top + mark.bottom) / 2 + 4.0
    sides = [
        (mark.right + 6.0, level, "start", 0.0),
        (mark.left - 6.0, level, "end", wide),
        (middle, mark.top - 6.0, "middle", wide / 2),
        (middle, mark.bottom + 14.0, "middle", wide / 2),
    ]
    boxes = [Box(x - before, x - before + wide, y - 10.0, y + 3.0) for x, y, _, before in sides]
    inside = [n for n, box in enumerate(boxes) if box.is_inside(LEFT, WIDTH, TOP, HEIGHT - FOOT)] or [0]
    best = min(inside, key=lambda n: sum(boxes[n].covers(place) for place in taken))
    x, y, anchor, _ = sides[best]
    return text(x, y, words, class_, anchor), boxes[best]


def _along(places: Sequence[Place]) -> list[Place]:
    """Points close together on the lines from place to place."""
    shares = [n / 24 for n in range(25)]
    return [
        (x1 + share * (x2 - x1), y1 + share * (y2 - y1)) for (x1, y1), (x2, y2) in pairwise(places) for share in shares
    ]
