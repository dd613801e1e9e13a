"""A supply as a point in the plane of its reservoir and its source resistance: where it was, and where the rail gives way.

Hidden from readers: `plane_words.py` tells the same. Knows no record and no page; its inks go to paper too.
"""

from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import pairwise
from math import hypot

import numpy as np
from markupsafe import Markup

from dashboard import plane_words
from dashboard.label_room import ASCENT, DESCENT, Box, Point, along, beside, first_free
from dashboard.language import figure, language, say
from dashboard.rail_chart import Scale, round_scale
from dashboard.report_ink import inked, line, text
from dashboard.svg import element
from dashboard.type_measure import width
from service.findings.standing_room import Place, Seen

WIDTH, HEIGHT, LEFT, RIGHT, TOP, FOOT = 340.0, 232.0, 30.0, 16.0, 6.0, 24.0
FRAME = Box(LEFT, WIDTH - RIGHT, TOP, HEIGHT - FOOT)
ROOM = Box(LEFT + 2.0, WIDTH - RIGHT - 2.0, TOP, HEIGHT - FOOT)
SIZE = 14.5  # of the words on a page; on paper they are smaller [px]
ROW = 15.0
TEETH, TOOTH = 8.0, 5.0  # apart, and long [px]
DOT, EARLIER, UPRIGHT, RATED = 2.6, 1.7, 5.5, 9.0
FAR = 4.0
"""The curve is drawn where it lies within so many times the resistance that was measured."""


def draw(one: Seen) -> Markup:
    """What is looked at again is not drawn again."""
    return _drawn(one, language())


@lru_cache(maxsize=64)
def _drawn(one: Seen, tongue: str) -> Markup:
    """`tongue`: in which the words are said."""
    across, up = (round_scale(0.0, end) for end in _ends(one))

    def at(place: Place) -> Point:
        """Where it stands in the drawing [px]."""
        wide, high = FRAME.right - FRAME.left, FRAME.bottom - FRAME.top
        return FRAME.left + 1e6 * place[0] / across.high_v * wide, FRAME.bottom - place[1] / up.high_v * high

    limit = _in_frame([at(place) for place in zip(one.limit.farad, one.limit.ohm, strict=True)] if one.limit else [])
    then, now = at(one.then) if one.then else None, at((one.farad.value, one.ohm.value))
    way = [*([then] if then else []), *(at(place) for place in one.track), now]
    teeth = _teeth(limit)
    marks, box = _now(now, at((one.farad.low, one.ohm.low)), at((one.farad.high, one.ohm.high)))
    taken = [box, *along(limit), *(end for tooth in teeth for end in along(tooth)[:2]), *along(way)]
    taken += [Box(x - 2.0, x + 2.0, y - 2.0, y + 2.0) for x, y in way]
    drawn = [*_grid(across, up, at)]
    drawn += [inked("path", "limit", d=_path(limit), fill="none")] if limit else []
    drawn += [line(*root, *tip, "teeth") for root, tip in teeth]
    begun = Box(0.0, 0.0, 0.0, 0.0)
    if then:
        x, y = then
        begun = Box(x - 3.0, x + 3.0, y - 8.0, y + 8.0)
        value = [[(x, begun.bottom), (x, FRAME.bottom)], [(begun.right, y), (FRAME.right, y)]]
        drawn += [line(*start, *end, "before") for start, end in value]
        drawn += [line(x + by, begun.top, x + by, begun.bottom, "begun") for by in (-2.0, 2.0)]
        taken += [begun, *along(value[0]), *along(value[1])]
    rated = at((one.rated_f, 0.0)) if one.rated_f and 1e6 * one.rated_f <= across.high_v else None
    drawn += [line(*earlier, *later, "interval") for earlier, later in pairwise(way)]
    between = [(x, y) for x, y in way[1 if then else 0 : -1] if not Box(x, x, y, y).meets(begun)]
    drawn += [inked("circle", "dot", cx=x, cy=y, r=EARLIER) for x, y in between]
    drawn += marks
    if rated:
        foot = Box(rated[0] - 1.0, rated[0] + 1.0, FRAME.bottom - RATED, FRAME.bottom)
        drawn.append(line(rated[0], foot.top, rated[0], foot.bottom, "axis"))
        taken.append(foot)
    names = [
        ((say("Now, {figure}", figure=plane_words.moved_most(one)), say("Now")), "figure", box),
        ((say("When commissioned"),), "beginning", begun if then else None),
        ((say("rated"), ""), "said", foot._replace(top=FRAME.bottom - 2.0 * RATED) if rated else None),
    ]
    for labels, class_, mark in names:
        if mark:
            label, place = _placed(labels, class_, mark, taken)
            drawn += [_set(label, place, class_)] if label else []
            taken += [place] if label else []
    return element(
        "svg", *drawn, *_named(limit, taken), class_="drawing departures plane", aria_hidden="true", focusable="false",
        viewBox=f"0 0 {WIDTH:g} {HEIGHT:g}", width=WIDTH, height=HEIGHT,
    )  # fmt: skip


def _ends(one: Seen) -> Place:
    """How far the drawing reaches [µF, Ω]."""
    places = [(one.farad.high, one.ohm.high), *([one.then] if one.then else []), *one.track]
    farad, ohm = (max(place[side] for place in places) for side in (0, 1))
    if one.rated_f and one.rated_f < 2.0 * farad:
        farad = max(farad, one.rated_f)
    if one.limit and (most := one.limit.ohm_at(one.farad.value)) <= FAR * one.ohm.value:
        ohm = max(ohm, most)
    return 1.08e6 * farad, 1.2 * ohm


def _grid(across: Scale, up: Scale, at: Callable[[Place], Point]) -> list[Markup]:
    columns = [(at((1e-6 * tick, 0.0))[0], tick) for tick in across.ticks]
    rows = [(at((0.0, tick))[1], tick) for tick in up.ticks]
    drawn = [line(x, FRAME.top, x, FRAME.bottom, "feint") for x, _ in columns]
    drawn += [line(FRAME.left, y, FRAME.right, y, "feint") for y, _ in rows]
    drawn += [text(x, FRAME.bottom + 16.0, figure(tick, "g"), "numeral", "middle") for x, tick in columns]
    return drawn + [text(FRAME.left - 6.0, y + 4.0, figure(tick, "g"), "numeral", "end") for y, tick in rows]


def _in_frame(curve: Sequence[Point]) -> list[Point]:
    """As much of it as has room; it rises to the right."""
    shown: list[Point] = []
    for earlier, later in pairwise(curve):
        if earlier[1] < FRAME.top or earlier[0] > FRAME.right:
            break
        (x1, y1), (x2, y2) = earlier, later
        share = min(
            1.0,
            (y1 - FRAME.top) / (y1 - y2) if y2 < FRAME.top else 1.0,
            (FRAME.right - x1) / (x2 - x1) if x2 > FRAME.right else 1.0,
        )
        shown += [*([] if shown else [earlier]), (x1 + share * (x2 - x1), y1 + share * (y2 - y1))]
    return shown


def _path(curve: Sequence[Point]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in curve)


def _teeth(curve: Sequence[Point]) -> list[tuple[Point, Point]]:
    """On the side where the rail gives way."""
    teeth, due = [], TEETH / 2
    for (x1, y1), (x2, y2) in pairwise(curve):
        long = hypot(x2 - x1, y2 - y1)
        while due < long:
            ahead, aside = (x2 - x1) / long, (y2 - y1) / long
            x, y = x1 + due * ahead, y1 + due * aside
            teeth.append(((x, y), (x + TOOTH * (aside - 0.6 * ahead), y - TOOTH * (ahead + 0.6 * aside))))
            due += TEETH
        due -= long
    return teeth


def _now(place: Point, low: Point, high: Point) -> tuple[list[Markup], Box]:
    """A dot, and its uprights in both directions."""
    x, y = place
    drawn = [line(low[0], y, high[0], y, "trace"), line(x, low[1], x, high[1], "trace")]
    drawn += [line(end, y - UPRIGHT, end, y + UPRIGHT, "upright") for end in (low[0], high[0])]
    drawn += [line(x - UPRIGHT, end, x + UPRIGHT, end, "upright") for end in (low[1], high[1])]
    box = Box(min(low[0], x - UPRIGHT), max(high[0], x + UPRIGHT), min(high[1], y - UPRIGHT), max(low[1], y + UPRIGHT))
    return [*drawn, inked("circle", "dot", cx=x, cy=y, r=DOT)], box


def _named(limit: Sequence[Point], taken: Sequence[Box]) -> list[Markup]:
    """On the toothed side, in as few rows as have room there; else on the other."""
    if not limit:
        return []
    xs, ys = (np.array([place[side] for place in limit]) for side in (0, 1))
    said = say("On this side the regulator drops out").split(" ")
    for count in (1, 2, 3):
        each = -(-len(said) // count)
        rows = [" ".join(said[n : n + each]) for n in range(0, len(said), each)]
        boxes = _boxes(rows)
        edge = np.interp([box.right for box in boxes], xs, ys, FRAME.bottom, TOP)
        place = first_free([box for box, y in zip(boxes, edge, strict=True) if box.bottom < y], taken)
        if place:
            return [
                _set(row, place._replace(bottom=place.top + ROW * n + ASCENT + DESCENT), "beyond", "start")
                for n, row in enumerate(rows)
            ]
    other = say("Limit of the regulator")
    boxes = _boxes([other])
    edge = np.interp([box.left - 4.0 for box in boxes], xs, ys)
    place = first_free([box for box, y in zip(boxes, edge, strict=True) if box.top > y], taken)
    return [_set(other, place, "beyond", "start")] if place else []


def _placed(labels: Sequence[str], class_: str, mark: Box, taken: Sequence[Box]) -> tuple[str, Box]:
    """The first label that covers nothing, or the last; the sentence below the drawing has all of them."""
    for label in labels:
        place, free = beside(mark, _wide(label, class_ == "figure"), ROOM, taken)
        if free:
            break
    return label, place


def _boxes(rows: Sequence[str]) -> list[Box]:
    """Where they could stand, from the top left."""
    wide, high = max(map(_wide, rows)), ROW * (len(rows) - 1) + ASCENT + DESCENT
    lefts = np.arange(FRAME.left + 5.0, FRAME.right - wide, 8.0)
    tops = np.arange(FRAME.top + 3.0, FRAME.bottom - high, 8.0)
    return [Box(float(left), float(left) + wide, float(top), float(top) + high) for top in tops for left in lefts]


def _wide(words: str, semibold: bool = False) -> float:
    return (1.1 if semibold else 1.04) * SIZE * width(words, semibold)  # with what figures, or italics, need more


def _set(words: str, place: Box, class_: str, anchor: str = "middle") -> Markup:
    x = place.left if anchor == "start" else (place.left + place.right) / 2
    return text(x, place.bottom - DESCENT, words, class_, anchor)
