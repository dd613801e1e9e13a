"""A day's wires drawn down a narrow sheet, with words to the right. Knows no page.

The words are a list in the page, each as high as the way to the next; so, should they take more lines than thought, they push each
other down and never overlap.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from zoneinfo import ZoneInfo

from markupsafe import Markup

from dashboard import ink, type_measure, words
from dashboard.house import hours_of
from dashboard.language import say
from dashboard.marks import Break, Day, Mark
from dashboard.placing import nested, spread
from dashboard.svg import at, down, drawing, element, hatch, label, line_across, line_down, slant

Place = Callable[[float], float]  # a moment to its place down the drawing [em]

STEP = 0.25
"""Heights of entries are whole steps of this [em]; see sheet.css."""

STEPS_LIMIT = 400
HEAD = 2.6  # room for the names of the lanes [em]
HOUR, HOUR_LIMIT = 3.0, 9.0  # [em]
LINE = 1.2  # leading of an entry, 1.28 of its 0.9375 [em]
COLUMN = 12.1  # width of the narrowest column of words [em of an entry's own size]
NUMERAL, MARGIN, FIRST_LANE, LAST_LANE = 0.14, 0.205, 0.31, 0.85  # places across the drawing
BUNDLE = 3  # more leaders than this beside each other, and the words may run on below the end of the wires
FIRST_LINE = 0.62  # middle of an entry's first line below its top [em]


@dataclass(frozen=True)
class Down:
    """The drawing; `steps[i]` is the height of entry i in `STEP`s, and `before` the room above the first one.

    The entries are the marks, with where one last looked among them, and the end of the wires.
    """

    picture: Markup
    told: tuple[Mark, ...]
    before: int
    steps: tuple[int, ...]
    starts_at: str  # numeral of the first hour drawn


def draw(day: Day, zone: ZoneInfo) -> Down:
    """Begins with the first hour that has anything to tell."""
    told = _told(day, zone)
    entries = [(mark.heading, mark.text) for mark in told] + [day.ending]
    sizes = [_height(heading, text) for heading, text in entries]
    first_s = _first_s(day, zone)
    hours = (day.wires_end_s - first_s) / 3600
    hour = min(HOUR_LIMIT, max(HOUR, sum(sizes) / max(hours, 0.5)))

    def y(time_s: float) -> float:
        return HEAD + (min(max(time_s, first_s), day.wires_end_s) - first_s) / 3600 * hour

    wants = [y(mark.at_s) for mark in told] + [y(day.wires_end_s)]
    tops = _tops(wants, sizes, wants[-1] - FIRST_LINE + sizes[-1])
    if max(nested(wants, [top + FIRST_LINE for top in tops])) > BUNDLE:
        tops = _tops(wants, sizes, wants[-1] + sum(sizes))
    arrivals = [top + FIRST_LINE for top in tops]
    height = max(wants[-1] + 1.0, tops[-1] + sizes[-1])
    lanes = _lanes(len(day.lanes))
    steps = [round((after - top) / STEP) for top, after in zip(tops, [*tops[1:], tops[-1] + sizes[-1]], strict=True)]
    picture = drawing(
        height,
        *_frame(day, zone, y, first_s, height, lanes),
        *_wires(day, y, first_s, lanes),
        *_leaders(told, wants, arrivals, lanes),
        *_marks(day, y, lanes),
        line_across(
            MARGIN + 0.06,
            1 if arrivals[-1] - wants[-1] < STEP else LAST_LANE + 0.05,
            wants[-1],
            "now" if day.now_s is not None else "wire",
        ),
        class_="down",
    )
    first = hours_of(first_s, day.wires_end_s, zone)
    return Down(picture, told, round(tops[0] / STEP), tuple(steps), first[0][1] if first else "00")


def _tops(wants: Sequence[float], sizes: Sequence[float], high: float) -> list[float]:
    return [round(top / STEP) * STEP for top in spread([want - FIRST_LINE for want in wants], sizes, HEAD - 1.0, high)]


def _told(day: Day, zone: ZoneInfo) -> tuple[Mark, ...]:
    if day.looked_s is None:
        return tuple(day.marks)
    looked = Mark(
        "looked",
        day.looked_s,
        0,
        0,
        (),
        None,
        say("You last looked, {clock}", clock=words.clock(day.looked_s, zone)),
        "",
    )
    return tuple(sorted([*day.marks, looked], key=lambda mark: mark.at_s))


def _height(heading: str, text: str) -> float:
    count = type_measure.lines(heading, COLUMN, True) + type_measure.lines(text, COLUMN)
    return -(-(count * LINE + 0.4) // STEP) * STEP


def _first_s(day: Day, zone: ZoneInfo) -> float:
    """The full hour before the first thing to tell, but at least three hours before the end."""
    told = [mark.at_s - 1200 for mark in day.marks] + [gap.start_s for gap in day.breaks] + [day.wires_end_s - 3 * 3600]
    begun = min((lane.from_s for lane in day.lanes), default=day.start_s)
    if begun > day.start_s:
        told.append(begun)
    if day.looked_s is not None:
        told.append(day.looked_s)
    earliest = min(told)
    return max([day.start_s, *(hour for hour, _ in hours_of(day.start_s, day.end_s, zone) if hour <= earliest)])


def _lanes(count: int) -> list[float]:
    if count <= 2:
        return [0.45, LAST_LANE][-count:] if count else []
    return [FIRST_LANE + (LAST_LANE - FIRST_LANE) * n / (count - 1) for n in range(count)]


def _frame(day: Day, zone: ZoneInfo, y: Place, first_s: float, height: float, lanes: Sequence[float]) -> list[Markup]:
    drawn = [
        at(
            MARGIN,
            0,
            element("line", y2=down(height), class_="margin"),
            element("line", x1=4, x2=4, y2=down(height), class_="margin"),
        ),
        label(NUMERAL, 1.2, say("Hour"), "lane-label", "end"),
    ]
    room = 12.8 * (lanes[1] - lanes[0]) if len(lanes) > 1 else 5.0  # in em of a label, of a drawing 10.4 em wide
    widths = [type_measure.width(lane.label) for lane in day.lanes]
    staggered = any((one + other) / 2 + 0.1 > room for one, other in pairwise(widths))
    for number, (lane, x) in enumerate(zip(day.lanes, lanes, strict=True)):
        text = type_measure.shortened(lane.label, room * (1.8 if staggered else 1.3))
        drawn.append(label(x, 0.3 if staggered and number % 2 == 0 else 1.3, text, "lane-label", "middle"))
    for moment_s, numeral in hours_of(first_s, day.wires_end_s, zone):
        drawn += [
            label(NUMERAL, y(moment_s) + 0.33, numeral, "numeral", "end"),
            line_across(MARGIN + 0.04, 0.93, y(moment_s), "feint"),
        ]
    return drawn


def _wires(day: Day, y: Place, first_s: float, lanes: Sequence[float]) -> list[Markup]:
    drawn = []
    for number, (lane, x) in enumerate(zip(day.lanes, lanes, strict=True)):
        begun = max(lane.from_s, first_s)
        for gap in sorted(
            (g for g in day.breaks if g.first_lane <= number <= g.last_lane), key=lambda one: one.start_s
        ):
            if gap.start_s > begun:
                drawn.append(line_down(x, y(begun), y(gap.start_s), "wire"))
            begun = max(begun, gap.end_s)
            if gap.kind == "unheard":
                drawn += [
                    line_down(x, y(gap.start_s), y(gap.end_s), "unheard"),
                    at(x, y(gap.start_s), ink.slashes(True)),
                ]
        if begun < day.wires_end_s:
            drawn.append(line_down(x, y(begun), y(day.wires_end_s), "wire"))
    for gap in day.breaks:
        if gap.kind != "unheard":
            drawn += _hatch(gap, y(gap.start_s), y(gap.end_s), lanes)
    return drawn


def _hatch(gap: Break, top: float, bottom: float, lanes: Sequence[float]) -> list[Markup]:
    left, right = lanes[gap.first_lane] - 0.1, lanes[gap.last_lane] + 0.1
    bottom = max(bottom, top + 3 / 16)  # under 3 px: 3 px are drawn
    return [
        hatch(left, right, top, bottom),
        line_across(left, right, top, "hatch-end"),
        line_across(left, right, bottom, "hatch-end"),
    ]


def _marks(day: Day, y: Place, lanes: Sequence[float]) -> list[Markup]:
    drawn = []
    for mark in day.marks:
        if mark.kind == "blind":
            continue
        x, x_chime, place = lanes[mark.lane], lanes[mark.chime_lane], y(mark.at_s)
        if mark.kind == "unseen":
            drawn += [line_across(lanes[0] - 0.1, x_chime, place, "leader dotted"), at(x_chime, place, ink.dot())]
            continue
        drawn.append(line_across(x, x_chime, place, "leader dotted" if mark.kind == "doubtful" else "leader"))
        if mark.sounded is not None:
            drawn.append(at(x_chime, place, ink.dot() if mark.sounded else ink.ring()))
        drawn.append(at(x, place, ink.strokes(mark.strokes, True)))
    return drawn


def _leaders(
    told: Sequence[Mark], wants: Sequence[float], arrivals: Sequence[float], lanes: Sequence[float]
) -> list[Markup]:
    levels = nested(wants, arrivals)
    deepest = max(levels, default=0)
    drawn = []
    if arrivals[-1] - wants[-1] >= STEP:
        drawn.append(_leader(LAST_LANE + 0.05, wants[-1], arrivals[-1], levels[-1], deepest, "leader"))
    for mark, want, end, level in zip(told, wants[:-1], arrivals[:-1], levels[:-1], strict=True):
        if mark.kind == "looked":
            drawn.append(line_across(MARGIN + 0.04, 0.88, want, "looked"))
        start = {"blind": lanes[mark.chime_lane] + 0.1, "looked": 0.88}.get(mark.kind, lanes[mark.chime_lane])
        drawn.append(_leader(start, want, end, level, deepest, "looked" if mark.kind == "looked" else "leader"))
    return drawn


def _leader(start: float, want: float, end: float, level: int, deepest: int, class_: str) -> Markup:
    turn = 0.94 if deepest == 0 else 0.915 + 0.06 * level / deepest  # further out for the outer of two
    if abs(end - want) < 0.12:
        return line_across(start, 1, want, class_)
    if abs(end - want) * 16 < 2 * ink.CHAMFER + 1:
        return Markup("").join((line_across(start, 0.92, want, class_), slant(0.92, want, 1, end, class_)))
    side = 1 if end > want else -1
    return Markup("").join(
        (
            line_across(start, turn, want, class_, 0.01, -ink.CHAMFER),
            at(turn, want, ink.corner(-1, 0, 0, side)),
            line_down(turn, want, end, class_, side * ink.CHAMFER, -side * ink.CHAMFER),
            at(turn, end, ink.corner(0, -side, 1, 0)),
            line_across(turn, 1, end, class_, ink.CHAMFER, -0.01),
        )
    )
