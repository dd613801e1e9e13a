"""A day's wires drawn across a wide sheet, with leaders to the words below; and the small rows of earlier days. Knows no page."""

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from markupsafe import Markup

from dashboard import ink, type_measure, words
from dashboard.house import hours_of
from dashboard.language import say
from dashboard.marks import Break, Day, Mark
from dashboard.placing import nested, onward
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
class Width:
    """For a sheet of some least width: the track's width there [em], columns of entries without leaders, and room for one entry."""

    track_em: float
    columns: int
    least: int  # tracks
    most: int


MEDIUM = Width(0.3, 4, 30, 44)
WIDE = Width(0.5, 6, 18, 30)


@dataclass(frozen=True)
class Place:
    """Of words on the grid; row 1 is the one that leaders lead to."""

    row: int
    track: int
    span: int


@dataclass(frozen=True)
class Across:
    picture: Markup
    places: tuple[Place, ...]  # one per mark


def draw(day: Day, zone: ZoneInfo, width: Width) -> Across:
    """When there are more marks than room, the latest ones get the leaders; the words of the others stand in rows below."""
    share = DAY_SHARE
    sizes = [_size(mark, width) for mark in day.marks]
    first = len(sizes)
    while first and sum(sizes[first - 1 :]) <= TRACKS:
        first -= 1
    led, sizes = day.marks[first:], sizes[first:]
    wants = [day.fraction(mark.at_s) * share for mark in led]
    tracks = [round(place) for place in onward([want * TRACKS for want in wants], sizes, TRACKS)]
    ends = [track / TRACKS for track in tracks]
    levels = nested(wants, ends)
    bottom = LANE_TOP + (len(day.lanes) - 1) * LANE_PITCH
    height = bottom + FIRST_LEVEL + max(levels, default=0) * LEVEL + 1.3
    leaders = [
        _leader(mark, want, end, bottom + FIRST_LEVEL + level * LEVEL, height)
        for mark, want, end, level in zip(led, wants, ends, levels, strict=True)
    ]
    taken = [(min(pair), max(pair)) for pair in zip(wants, ends, strict=True)]
    column = TRACKS // width.columns
    rows = [Place(2 + i // width.columns, i % width.columns * column, column) for i in range(first)]
    spans = [min(after - track, width.most) for track, after in zip(tracks, [*tracks[1:], TRACKS], strict=False)]
    return Across(
        drawing(
            height,
            *_hours(day, zone, share, bottom),
            *_wires(day, share, LANE_TOP, LANE_PITCH),
            *leaders,
            *_marks(day, share),
            *_looked(day, zone, share, bottom, taken),
            _now(day, share, bottom),
            class_="across",
        ),
        (*rows, *(Place(1, track, span) for track, span in zip(tracks, spans, strict=True))),
    )


def _size(mark: Mark, width: Width) -> int:
    """Tracks that the heading needs in one line, within bounds."""
    needed = (type_measure.width(mark.heading, True) * 0.90625 + 0.8) / width.track_em
    return min(max(width.least, int(needed) + 1), width.most)


def draw_row(day: Day, zone: ZoneInfo) -> Markup:
    """An earlier day, small: no words, no numerals."""
    top, pitch = 0.75, 1.44 / max(1, len(day.lanes) - 1)
    bottom = top + pitch * (len(day.lanes) - 1)
    hours = [
        line_down(day.fraction(t), 0, bottom + 0.75, "feint")
        for t, n in hours_of(day.start_s, day.end_s, zone)
        if int(n) % 2 == 0
    ]
    drawn = []
    for mark in day.marks:
        x, y = day.fraction(mark.at_s), top + mark.lane * pitch
        y_chime = top + mark.chime_lane * pitch
        if mark.kind == "unseen":
            drawn += [line_down(x, top - 0.3, y, "leader dotted"), at(x, y, ink.dot(3.2))]
        elif mark.kind != "blind":
            if mark.sounded is not None:
                drawn += [
                    line_down(x, y, y_chime, "leader dotted" if mark.kind == "doubtful" else "leader"),
                    at(x, y_chime, ink.dot(3.2) if mark.sounded else ink.ring(2.8)),
                ]
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
                drawn += [line_across(x1, x2, y, "unheard"), at(x1, y, ink.slashes(False))]
        if begun < day.wires_end_s:
            drawn.append(line_across(day.fraction(begun) * share, day.fraction(day.wires_end_s) * share, y, "wire"))
    for gap in day.breaks:
        if gap.kind != "unheard":
            drawn += _hatch(
                day, gap, share, top + gap.first_lane * pitch - reach, top + gap.last_lane * pitch + reach, pitch < 1.0
            )
    return drawn


def _hatch(day: Day, gap: Break, share: float, top: float, bottom: float, small: bool) -> list[Markup]:
    x1, x2 = day.fraction(gap.start_s) * share, day.fraction(gap.end_s) * share
    class_ = "hatch small" if small else "hatch"
    if x2 - x1 < LEAST:
        return [hatch(x1, None, top, bottom, class_), line_down(x1, top, bottom, "hatch-end")]
    return [
        hatch(x1, x2, top, bottom, class_),
        line_down(x1, top, bottom, "hatch-end"),
        line_down(x2, top, bottom, "hatch-end"),
    ]


def _over(breaks: Sequence[Break], lane: int) -> list[Break]:
    return [gap for gap in breaks if gap.first_lane <= lane <= gap.last_lane]


def _marks(day: Day, share: float) -> list[Markup]:
    drawn = []
    for mark in day.marks:
        if mark.kind == "blind":
            continue
        x, y, y_chime = (
            day.fraction(mark.at_s) * share,
            LANE_TOP + mark.lane * LANE_PITCH,
            LANE_TOP + mark.chime_lane * LANE_PITCH,
        )
        if mark.kind == "unseen":
            drawn += [line_down(x, LANE_TOP - 0.75, y, "leader dotted"), at(x, y, ink.dot())]
            continue
        dotted = "leader dotted" if mark.kind == "doubtful" else "leader"
        drawn.append(line_down(x, y, y_chime, dotted, 0, 0))
        if mark.sounded is not None:
            drawn.append(at(x, y_chime, ink.dot() if mark.sounded else ink.ring()))
        drawn.append(at(x, y, ink.strokes(mark.strokes, False)))
    return drawn


def _leader(mark: Mark, x: float, end: float, level: float, height: float) -> Markup:
    """From a mark's chime wire down to its words at `end`."""
    start = LANE_TOP + mark.chime_lane * LANE_PITCH + (0.75 if mark.kind == "blind" else 0.0)
    if abs(end - x) < STRAIGHT:
        return line_down(x, start, height, "leader")
    if abs(end - x) < SLANTED:
        return Markup("").join(
            (
                line_down(x, start, level, "leader"),
                slant(x, level, end, level + 0.6, "leader"),
                line_down(end, level + 0.6, height, "leader"),
            )
        )
    side = 1 if end > x else -1
    return Markup("").join(
        (
            line_down(x, start, level, "leader", 0.01, -ink.CHAMFER),
            at(x, level, ink.corner(0, -1, side, 0)),
            line_across(x, end, level, "leader", side * ink.CHAMFER, -side * ink.CHAMFER),
            at(end, level, ink.corner(-side, 0, 0, 1)),
            line_down(end, level, height, "leader", ink.CHAMFER, -0.01),
        )
    )


def _looked(
    day: Day, zone: ZoneInfo, share: float, bottom: float, taken: Sequence[tuple[float, float]]
) -> list[Markup]:
    """`taken`: stretches across the sheet that leaders run over."""
    if day.looked_s is None:
        return []
    x = day.fraction(day.looked_s) * share
    text = say("You last looked, {clock}", clock=words.clock(day.looked_s, zone))
    crowded = x < 0.19 or any(first < x + 0.005 and last > x - 0.19 for first, last in taken)
    dots = line_down(x, -0.6 if crowded else 1.75, bottom + 1.2, "looked")
    if crowded:  # above the hours, where nothing runs
        return [dots, label(x, -0.15, text, "looked-label", "start", 6)]
    return [dots, label(x, bottom + 1.55, text, "looked-label", "end", -7)]


def _now(day: Day, share: float, bottom: float) -> Markup:
    if day.now_s is None:
        return Markup("")
    x = day.fraction(day.now_s) * share
    heading, text = day.ending
    time, _, rest = heading.partition(" ")
    said = f"{rest}. {text}" if text else f"{rest}."
    return Markup("").join(
        (
            line_down(x, LANE_TOP - 0.95, bottom + 0.75, "now"),
            label(x, LANE_TOP + 0.2, time, "now-time", "start", 10),
            label(x, LANE_TOP + 1.3, said, "now-label", "start", 10),
        )
    )
