"""A day's wires drawn across a wide sheet, with leaders to the words below; and the small rows of earlier days. Knows no page."""

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from markupsafe import Markup

from dashboard import ink, words
from dashboard.house import hours_of
from dashboard.marks import Break, Day, Mark
from dashboard.placing import nested, spread
from dashboard.svg import at, drawing, hatch, label, line_across, line_down, slant

TRACKS = 144
"""Words stand on a grid of so many tracks; see sheet.css."""

DAY_SHARE = 0.76
"""The day takes this part of the sheet's width; the rest is for words at its end."""

LANE_TOP, LANE_PITCH = 3.5, 1.85
LEVEL, FIRST_LEVEL = 0.6, 1.6
STRAIGHT = 0.004  # of the width: a leader so nearly above its words runs straight
LEAST = 0.0045  # of the width: 3 px on the narrowest wide sheet
SLANTED = 0.02  # nearer than two chamfers on the narrowest wide sheet: it slants instead of turning


@dataclass(frozen=True)
class Across:
    """The drawing, and for each mark the grid place of its words: (row, track), row 1 being the one that leaders lead to."""

    picture: Markup
    places: tuple[tuple[int, int], ...]
    lane_labels: tuple[str, ...]


def draw(day: Day, zone: ZoneInfo, columns: int) -> Across:
    """`columns`: how many entries fit beside each other. When there are more marks the latest ones get the leaders."""
    share = DAY_SHARE
    span = TRACKS // columns
    led = list(range(max(0, len(day.marks) - columns), len(day.marks)))
    rest = led[0] if led else 0
    wants = [day.fraction(day.marks[i].at_s) * share for i in led]
    tracks = [round(place) for place in spread([want * TRACKS for want in wants], [span] * len(led), 0, TRACKS)]
    ends = [track / TRACKS for track in tracks]
    levels = nested(wants, ends)
    depth = max(levels, default=0)
    bottom = LANE_TOP + (len(day.lanes) - 1) * LANE_PITCH
    height = bottom + FIRST_LEVEL + depth * LEVEL + 1.3
    leaders = [
        _leader(day, day.marks[i], want, end, bottom + FIRST_LEVEL + level * LEVEL, height)
        for i, want, end, level in zip(led, wants, ends, levels, strict=True)
    ]
    rows = [(2 + i // columns, i % columns * span) for i in range(rest)]
    return Across(
        drawing(height, *_hours(day, zone, share, bottom), *_wires(day, share, LANE_TOP, LANE_PITCH), *leaders,
                *_marks(day, share), *_looked(day, zone, share, bottom), _now(day, share, bottom, zone), class_="across"),
        tuple(rows + [(1, track) for track in tracks]), tuple(lane.label for lane in day.lanes))


def draw_row(day: Day, zone: ZoneInfo) -> Markup:
    """An earlier day, small: no words, no numerals."""
    top, pitch = 0.75, 1.44 / max(1, len(day.lanes) - 1)
    bottom = top + pitch * (len(day.lanes) - 1)
    hours = [line_down(day.fraction(t), 0, bottom + 0.75, "feint") for t, n in hours_of(day.start_s, day.end_s, zone) if int(n) % 2 == 0]
    drawn = []
    for mark in day.marks:
        x, y = day.fraction(mark.at_s), top + mark.lane * pitch
        y_chime = top + mark.chime_lane * pitch
        if mark.kind == "unseen":
            drawn += [line_down(x, top - 0.3, y, "leader dotted"), at(x, y, ink.dot(3.2))]
        elif mark.kind != "blind":
            if mark.sounded is not None:
                drawn += [line_down(x, y, y_chime, "leader dotted" if mark.kind == "doubtful" else "leader"),
                          at(x, y_chime, ink.dot(3.2) if mark.sounded else ink.ring(2.8))]
            drawn.append(at(x, y, ink.strokes(mark.strokes, False, 10, 4), class_="small"))
    return drawing(bottom + 0.75, *hours, *_wires(day, 1.0, top, pitch), *drawn, class_="across row")


def _hours(day: Day, zone: ZoneInfo, share: float, bottom: float) -> list[Markup]:
    drawn = []
    for moment_s, numeral in hours_of(day.start_s, day.end_s, zone):
        x = day.fraction(moment_s) * share
        if int(numeral) % 2 == 0:
            drawn += [label(x, 1.0, numeral, "numeral", "middle"), line_down(x, 1.75, bottom + 1.1, "feint")]
        else:
            drawn.append(line_down(x, 1.75, 2.1, "feint"))
    return drawn


def _wires(day: Day, share: float, top: float, pitch: float) -> list[Markup]:
    """Each wire from when it was first listened to until now, but for its breaks; and the breaks."""
    drawn = []
    reach = min(0.95, pitch * 0.5 + 0.1)
    for number, lane in enumerate(day.lanes):
        y, begun = top + number * pitch, max(lane.from_s, day.start_s)
        for gap in sorted(_over(day.breaks, number), key=lambda one: one.start_s):
            if gap.start_s > begun:
                drawn.append(line_across(day.fraction(begun) * share, day.fraction(gap.start_s) * share, y, "wire"))
            begun = max(begun, gap.end_s)
            if gap.kind == "unheard":
                x1, x2 = day.fraction(gap.start_s) * share, day.fraction(gap.end_s) * share
                drawn += [line_across(x1, x2, y, "unheard", 10), at(x1, y, ink.slashes(False))]
        if begun < day.wires_end_s:
            drawn.append(line_across(day.fraction(begun) * share, day.fraction(day.wires_end_s) * share, y, "wire"))
    for gap in day.breaks:
        if gap.kind != "unheard":
            drawn += _hatch(day, gap, share, top + gap.first_lane * pitch - reach, top + gap.last_lane * pitch + reach, pitch < 1.0)
    return drawn


def _hatch(day: Day, gap: Break, share: float, top: float, bottom: float, small: bool) -> list[Markup]:
    x1, x2 = day.fraction(gap.start_s) * share, day.fraction(gap.end_s) * share
    class_ = "hatch small" if small else "hatch"
    if x2 - x1 < LEAST:
        return [hatch(x1, None, top, bottom, class_), line_down(x1, top, bottom, "hatch-end")]
    return [hatch(x1, x2, top, bottom, class_), line_down(x1, top, bottom, "hatch-end"), line_down(x2, top, bottom, "hatch-end")]


def _over(breaks: Sequence[Break], lane: int) -> list[Break]:
    return [gap for gap in breaks if gap.first_lane <= lane <= gap.last_lane]


def _marks(day: Day, share: float) -> list[Markup]:
    drawn = []
    for mark in day.marks:
        if mark.kind == "blind":
            continue
        x, y, y_chime = day.fraction(mark.at_s) * share, LANE_TOP + mark.lane * LANE_PITCH, LANE_TOP + mark.chime_lane * LANE_PITCH
        if mark.kind == "unseen":
            drawn += [line_down(x, LANE_TOP - 0.75, y, "leader dotted"), at(x, y, ink.dot())]
            continue
        dotted = "leader dotted" if mark.kind == "doubtful" else "leader"
        drawn.append(line_down(x, y, y_chime, dotted, 0, 0))
        if mark.sounded is not None:
            drawn.append(at(x, y_chime, ink.dot() if mark.sounded else ink.ring()))
        drawn.append(at(x, y, ink.strokes(mark.strokes, False)))
    return drawn


def _leader(day: Day, mark: Mark, x: float, end: float, level: float, height: float) -> Markup:
    """From a mark's chime wire down to its words at `end`."""
    start = LANE_TOP + mark.chime_lane * LANE_PITCH + (0.75 if mark.kind == "blind" else 0.0)
    if abs(end - x) < STRAIGHT:
        return line_down(x, start, height, "leader")
    if abs(end - x) < SLANTED:
        return Markup("").join((
            line_down(x, start, level, "leader"), slant(x, level, end, level + 0.6, "leader"), line_down(end, level + 0.6, height, "leader")))
    side = 1 if end > x else -1
    return Markup("").join((
        line_down(x, start, level, "leader", 0.01, -ink.CHAMFER), at(x, level, ink.corner(0, -1, side, 0)),
        line_across(x, end, level, "leader", side * ink.CHAMFER, -side * ink.CHAMFER),
        at(end, level, ink.corner(-side, 0, 0, 1)), line_down(end, level, height, "leader", ink.CHAMFER, -0.01),
    ))


def _looked(day: Day, zone: ZoneInfo, share: float, bottom: float) -> list[Markup]:
    if day.looked_s is None:
        return []
    x = day.fraction(day.looked_s) * share
    text = f"You last looked, {words.clock(day.looked_s, zone)}"
    crowded = any(x - 0.16 < day.fraction(mark.at_s) * share < x + 0.005 for mark in day.marks) or x < 0.17
    dots = line_down(x, 1.75, bottom + 1.2, "looked")
    if crowded:
        return [dots, label(x, 2.3, text, "looked-label", "start", 6)]
    return [dots, label(x, bottom + 1.55, text, "looked-label", "end", -7)]


def _now(day: Day, share: float, bottom: float, zone: ZoneInfo) -> Markup:
    if day.now_s is None:
        return Markup("")
    x = day.fraction(day.now_s) * share
    heading, text = day.ending
    time, _, rest = heading.partition(" ")
    said = f"{rest}. {text}" if text else f"{rest}."
    return Markup("").join((
        line_down(x, LANE_TOP - 0.95, bottom + 0.75, "now"), label(x, LANE_TOP + 0.2, time, "now-time", "start", 10),
        label(x, LANE_TOP + 1.3, said, "now-label", "start", 10)))
