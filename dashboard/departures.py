"""How far the evidence of a finding departs from what is expected, drawn: a row for each figure, all on one scale of ratios.

Each row has what was measured, with the interval that holds nine times in ten, beside an upright line where it should be. Figures
of which nothing is expected are not drawn. Hidden from readers: the table below it tells the same. Knows no record and no page; its
inks go to paper too.
"""

from collections.abc import Callable, Mapping, Sequence
from math import log

from markupsafe import Markup

from dashboard import quantities, words
from dashboard.language import figure, say
from dashboard.report_ink import inked, line, text
from dashboard.svg import element
from dashboard.type_measure import shortened, width
from service.findings.verdict import EvidenceLine, Measured

SUPPLY = ("reservoir_f", "source_ohm", "open_circuit_v", "idle_a", "sound_a")
"""What a circuit is made of, as an examination fits it."""

WIDTH, ROW, TOP, FOOT = 340.0, 38.0, 15.0, 22.0
SIDE = 14.0  # room for half a numeral at either end
SIZE = 14.5  # of the words on a page, with what italics need more; on paper they are smaller [px]
WIRE = 15.0  # below the words of a row
LEAST, MOST = log(1.12), log(32.0)
"""The scale shows at least so much to either side, and no more [natural log of the ratio]."""

TICKS = (0.05, 0.1, 0.2, 0.5, 0.7, 0.8, 0.9, 0.95, 1.0, 1.05, 1.1, 1.25, 1.5, 2.0, 3.0, 5.0, 10.0, 20.0)
APART = 54.0
"""Ticks stand at least so far from each other [px]."""


def draw(lines: Sequence[EvidenceLine], now: Mapping[str, Measured], then: Mapping[str, Measured]) -> Markup | None:
    """None where nothing of the evidence can be compared. `now`, `then`: what the newest survey and the commissioning record measured;
    where the evidence is of the supply, the rest of it is drawn below, so that one sees what has moved and what has not."""
    told = [one for one in lines if one.expected and one.expected > 0.0 and one.value > 0.0]
    if {one.quantity for one in told} & {*SUPPLY, "ripple_v", "headroom_v"}:
        named = {one.quantity for one in told}
        told += [
            EvidenceLine(name, now[name].value, now[name].low, now[name].high, then[name].value)
            for name in SUPPLY
            if name not in named and name in now and name in then and then[name].value > 0.0
        ]
    if not told:
        return None
    ends = [end for one in told for end in _ends(one)]
    low, high = _clipped(min(*ends, -LEAST)), _clipped(max(*ends, LEAST))
    low, high = low - 0.04 * (high - low), high + 0.04 * (high - low)

    def x(logarithm: float) -> float:
        return SIDE + (min(max(logarithm, low), high) - low) / (high - low) * (WIDTH - 2.0 * SIDE)

    bottom = TOP + ROW * len(told) - 8.0
    ticks = _ticks(low, high, x)
    drawn = [text(x(log(tick)), bottom + 16.0, _named(tick), "numeral", "middle") for tick in ticks]
    for number, one in enumerate(told):
        y = TOP + ROW * number
        assert one.expected is not None
        said = quantities.compared(one.value, one.expected)
        free_em = (WIDTH - 8.0) / SIZE - width(said)
        drawn.append(text(0.0, y, shortened(quantities.name_of(one.quantity), free_em), "said"))
        if said != say("as expected"):  # which the drawing says by itself
            drawn.append(text(WIDTH, y, said, "said", "end"))
        drawn += [  # beside the words of a row nothing is drawn
            line(x(log(tick)), y + 5.0, x(log(tick)), y + 25.0, "axis" if tick == 1.0 else "feint") for tick in ticks
        ]
        drawn += _row([x(end) for end in _ends(one)], x(log(one.value / one.expected)), y + WIRE)
    return element(
        "svg", *drawn, class_="drawing departures", aria_hidden="true", focusable="false",
        viewBox=f"0 0 {WIDTH:g} {bottom + FOOT:g}", width=WIDTH, height=bottom + FOOT,
    )  # fmt: skip


def _ends(one: EvidenceLine) -> tuple[float, float]:
    """Of the interval, or the value itself where there is none."""
    assert one.expected is not None
    low, high = (max(end / one.expected, 1e-6) for end in (one.low or one.value, one.high or one.value))
    return log(low), log(high)


def _clipped(end: float) -> float:
    return min(max(end, -MOST), MOST)


def _row(ends: Sequence[float], at: float, y: float) -> list[Markup]:
    drawn = [line(0.0, y, WIDTH, y, "feint"), line(ends[0], y, ends[1], y, "trace")]
    drawn += [line(end, y - 6.0, end, y + 6.0, "trace") for end in ends if ends[1] - ends[0] > 1.0]
    return [*drawn, inked("circle", "dot", cx=at, cy=y, r=4.2)]


def _ticks(low: float, high: float, place: Callable[[float], float]) -> list[float]:
    """What is expected, and as many to either side as have room, the nearest round ones first."""
    found = [1.0]
    for tick in sorted(TICKS, key=lambda one: (round(one * 10, 6) % 5 != 0, abs(log(one)))):
        if low <= log(tick) <= high and all(abs(place(log(tick)) - place(log(one))) >= APART for one in found):
            found.append(tick)
    return sorted(found)


def _named(tick: float) -> str:
    if tick == 1.0:
        return say("expected")
    if tick >= 2.0:
        return f"×{figure(tick, 'g')}"
    share = round(100.0 * (tick - 1.0))
    return f"{'−' if share < 0 else '+'}{abs(share)}{words.THIN}%"
