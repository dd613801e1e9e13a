"""A week of callers drawn as tallies: seven wires, a stroke for each visit in its hour, four and one across. Knows no record and no page.

What stands out is a heavy piece of wire, what was not watched is hatched, the usual quiet hours are a line with feet.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from dashboard.language import say
from dashboard.svg import at, drawing, element, hatch, label, line_across, line_down

HOURS = 24
TIER, MOST = 10, 20  # strokes on either side of a wire, and on both
PITCH, LENGTH, GATE = 3.0, 11.0, 16.0  # [px] from stroke to stroke; of a stroke; from gate to gate
INSET = 4.0  # [px] of the first stroke from the hour's line
NOTED = 0.01  # of an hour: what is unwatched of it and less than this is not drawn
SHALLOW, DEEP = 0.32, 0.9  # [em] of the hatch beside a wire, where an hour was hardly ever or always unwatched

DAY_SHARE, LANE_TOP, LANE_PITCH = 0.80, 2.95, 2.25
RATE_TOP, RATE_HEIGHT = 1.9, 3.4  # [em]

LEFT, ROW, HEAD = 0.13, 2.0, 1.9  # of the drawing down a sheet
NARROW = 22.0  # about so wide is a narrow sheet [em]


@dataclass(frozen=True)
class Cell:
    """An hour of the week. `unwatched`: the share of such hours in which no press could have been recorded."""

    strokes: int
    unwatched: float
    heavy: bool


@dataclass(frozen=True)
class Rate:
    """Visits per hour watched, with the interval that holds nine times in ten."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Week:
    """`cells[weekday][hour]`; `rates` by hour of the day, None where nothing was watched; `quiet`: runs of hours."""

    names: Sequence[str]
    cells: Sequence[Sequence[Cell]]
    remarks: Sequence[str]
    rates: Sequence[Rate | None]
    mean: float
    quiet: Sequence[tuple[int, int]]


def draw_across(week: Week) -> Markup:
    """For a wide sheet: a wire for each weekday, and below them the rates of the hours of all days."""
    hour, last = DAY_SHARE / HOURS, LANE_TOP + (len(week.cells) - 1) * LANE_PITCH
    bottom = last + RATE_TOP + RATE_HEIGHT
    drawn = []
    for n in range(HOURS + 1):
        if n % 2 == 0:
            drawn.append(label(n * hour, 1.0, f"{n:02d}", "numeral", "middle"))
        drawn.append(line_down(n * hour, 1.6, bottom, "feint"))
    for number, (cells, remark) in enumerate(zip(week.cells, week.remarks, strict=True)):
        y = LANE_TOP + number * LANE_PITCH
        drawn.append(line_across(0, DAY_SHARE, y, "wire"))
        for first, after, share in _unwatched(cells):
            drawn.append(hatch(first * hour, after * hour, y, y + _depth(share), "hatch small"))
            drawn += [line_down(n * hour, y, y + _depth(share), "hatch-end") for n in (first, after)]
        for n, cell in enumerate(cells):
            if cell.heavy:
                drawn.append(line_across(n * hour, (n + 1) * hour, y, "stroke"))
            if cell.strokes:
                drawn.append(at(n * hour, y, tally(cell.strokes, False)))
        drawn.append(label(DAY_SHARE, y + 0.33, remark, "said", "start", 16))
    return drawing(bottom + 1.5, *drawn, *_rates(week, hour, last + RATE_TOP, bottom), class_="across")


def _rates(week: Week, hour: float, top: float, bottom: float) -> list[Markup]:
    most = max((one.high for one in week.rates if one), default=0.0)
    if most <= 0.0:
        return []

    def y(rate: float) -> float:
        return bottom - rate / most * (bottom - top)

    drawn = [line_across(0, DAY_SHARE, bottom, "axis"), line_across(0, DAY_SHARE, y(week.mean), "mean")]
    drawn.append(label(DAY_SHARE, y(week.mean) + 0.3, say("mean of the house"), "said", "start", 16))
    for n, one in enumerate(week.rates):
        if one is not None:
            middle = (n + 0.5) * hour
            drawn.append(line_down(middle, y(one.high), y(one.low), "interval"))
            drawn.append(line_across((n + 0.2) * hour, (n + 0.8) * hour, y(one.value), "reading"))
    for first, after in week.quiet:
        drawn += [
            line_across(first * hour, after * hour, bottom + 0.9, "quiet"),
            *(line_down(n * hour, bottom + 0.65, bottom + 1.15, "quiet") for n in (first, after)),
        ]
    if week.quiet:
        drawn.append(label(DAY_SHARE, bottom + 1.2, say("usually quiet"), "said", "start", 16))
    return drawn


def draw_down(week: Week) -> Markup:
    """For a narrow sheet: the hours run down, and each weekday is a wire."""
    column = (1 - LEFT) / len(week.cells)
    wires = [LEFT + (number + 0.5) * column for number in range(len(week.cells))]
    bottom = HEAD + HOURS * ROW
    drawn = []
    for n in range(HOURS + 1):
        y = HEAD + n * ROW
        drawn.append(line_across(LEFT, 1, y, "feint"))
        if n % 2 == 0:
            drawn.append(label(LEFT - 0.035, y + 0.33, f"{n:02d}", "numeral", "end"))
    for name, x, cells in zip(week.names, wires, week.cells, strict=True):
        drawn.append(label(x, 0.95, name, "lane-label", "middle"))
        drawn.append(line_down(x, HEAD, bottom, "wire"))
        for first, after, share in _unwatched(cells):
            end = x + _depth(share) / NARROW
            drawn.append(hatch(x, end, HEAD + first * ROW, HEAD + after * ROW, "hatch small"))
            drawn += [line_across(x, end, HEAD + n * ROW, "hatch-end") for n in (first, after)]
        for n, cell in enumerate(cells):
            y = HEAD + n * ROW
            if cell.heavy:
                drawn.append(line_down(x, y, y + ROW, "stroke"))
            if cell.strokes:
                drawn.append(at(x, y, tally(cell.strokes, True)))
    for first, after in week.quiet:
        top, end = HEAD + first * ROW, HEAD + after * ROW
        drawn += [
            line_down(LEFT - 0.014, top, end, "quiet"),
            *(line_across(LEFT - 0.024, LEFT - 0.004, y, "quiet") for y in (top, end)),
        ]
    return drawing(bottom + 0.5, *drawn, class_="down")


def _unwatched(cells: Sequence[Cell]) -> list[tuple[int, int, float]]:
    """Runs of hours that were not always watched: first, the one after, and the largest share of them."""
    runs: list[tuple[int, int, float]] = []
    for hour, cell in enumerate(cells):
        if cell.unwatched < NOTED:
            continue
        if runs and runs[-1][1] == hour:
            runs[-1] = (runs[-1][0], hour + 1, max(runs[-1][2], cell.unwatched))
        else:
            runs.append((hour, hour + 1, cell.unwatched))
    return runs


def _depth(share: float) -> float:
    return SHALLOW + (DEEP - SHALLOW) * min(share, 1.0)


def tally(strokes: int, lying: bool) -> Markup:
    """Strokes along a wire from the origin on: in gates of five, four and one across them; beyond ten on the wire's other side."""
    parts = []
    for number in range(min(strokes, MOST)):
        tier, place = divmod(number, TIER)
        gate, within = divmod(place, 5)
        near, far = (-2.0, -2.0 - LENGTH) if tier == 0 else (2.0, 2.0 + LENGTH)
        begun = INSET + gate * GATE
        first, last = (begun + within * PITCH,) * 2 if within < 4 else (begun - 2.0, begun + 3 * PITCH + 2.0)
        parts.append(f"M{near:g} {first:g}L{far:g} {last:g}" if lying else f"M{first:g} {near:g}L{last:g} {far:g}")
    return element("path", d="".join(parts), class_="tally")
