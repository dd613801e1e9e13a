"""Presses opened out on a line of seconds: a stroke where each begins, and a bar along the wire while it was held. Knows no page."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from dashboard import ink, words
from dashboard.language import figure
from dashboard.stretches import step_s
from dashboard.svg import at, drawing, label, line_across, line_down

LEFT, RIGHT = 0.012, 0.985
NUMERALS, WIRE = 1.0, 2.5  # [em]
TICKS = 5  # at most about so many, as there is room on a phone


@dataclass(frozen=True)
class Held:
    """A press that begins at `start_s`; `length_s` None where its release was not heard. [s]"""

    start_s: float
    length_s: float | None
    doubtful: bool = False


def length_of(presses: Sequence[Held]) -> float:
    """What a drawing of these presses must be long, at least a second [s]."""
    return max(1.0, 1.04 * max((one.start_s + (one.length_s or 0.0) for one in presses), default=0.0))


def draw(presses: Sequence[Held], whole_s: float, scale: bool = True) -> Markup:
    """The presses of one phrase on a line that is `whole_s` long; without `scale` there are no seconds above it."""
    wire = WIRE if scale else 0.8

    def x(moment_s: float) -> float:
        return LEFT + (RIGHT - LEFT) * min(max(moment_s / whole_s, 0.0), 1.0)

    ticks = _scale(whole_s, x, wire) if scale else []
    strokes = [mark for one in presses for mark in _press(one, x, wire)]
    return drawing(wire + 0.8, *ticks, line_across(0, 1, wire, "wire"), *strokes, class_="phrase")


def _scale(whole_s: float, x: Callable[[float], float], wire: float) -> list[Markup]:
    step = step_s(whole_s * 8 / TICKS)
    drawn = []
    for number in range(int(whole_s / step) + 1):
        moment_s = number * step
        text = figure(moment_s, ".0f" if step >= 1 or not number else ".1f")
        drawn += [
            label(
                x(moment_s),
                NUMERALS,
                text + (words.THIN + "s" if not number else ""),
                "numeral",
                "middle",
                4 if not number else 0,
            ),
            line_down(x(moment_s), NUMERALS + 0.4, wire + 0.7, "feint"),
        ]
    return drawn


def _press(one: Held, x: Callable[[float], float], wire: float) -> list[Markup]:
    place = x(one.start_s)
    stroke = at(place, wire, ink.strokes((one.doubtful,), False))
    if one.length_s is None:
        return [stroke, at(place, wire, ink.slashes(False), class_="loose")]
    if one.doubtful:
        return [stroke]
    return [line_across(place, x(one.start_s + one.length_s), wire, "held"), stroke]
