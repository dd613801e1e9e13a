"""A capture examined: one answer for the command line, the API and the page. Judges nothing itself."""

from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any

from service.errors import SettingError
from service.scope.capture import Capture, Floats, Trace
from service.scope.capture_file import read_capture
from service.scope.comparing import Comparison, compare
from service.scope.expected import aligned, predictions
from service.scope.frequency import HIGHEST_HZ
from service.scope.naming import POINTS, Named, Point, possible_points, stretches
from service.supply.fitout import FitOut

FEWEST_PER_CYCLE = 20
SHOWN = 1200
"""Points of a trace that are told for drawing: lowest and highest of as many parts."""

WHERE: dict[Point, str] = {
    "transformer": "across the transformer's secondary",
    "terminal": "at the chime's terminal, behind the button",
    "rectifier": "behind the rectifier, across the reservoir",
    "regulated": "on the regulated rail",
    "detector": "at the detector's output",
}
"""The five points, as an installer would say them."""

CAUTION = (
    "Never clip an oscilloscope to the mains side of the transformer: that is licensed work. The instrument's ground clip is earth; "
    "clip it to common only, and measure on one point at a time. A reservoir stays charged."
)


@dataclass(frozen=True, slots=True)
class Seen:
    """One stretch of a channel, named and compared."""

    named: Named
    comparison: Comparison | None


@dataclass(frozen=True, slots=True)
class Look:
    """One channel of a file at one point of the circuit. `point` None: nobody said; `possible`: where such a picture is usual."""

    capture: Capture
    trace: Trace
    point: Point | None
    possible: tuple[Point, ...]
    seen: tuple[Seen, ...]
    said: tuple[str, ...]
    sheet: FitOut | None


def look(
    data: bytes,
    point: str | None = None,
    *,
    channel: str | None = None,
    step_s: float | None = None,
    full_scale_v: float | None = None,
    sheet: FitOut | None = None,
) -> Look:
    """Raises SettingError with a sentence: no waveform, no such channel, no such point."""
    from service.supply.fitout_rules import check

    where = _point(point)
    capture = read_capture(data, step_s, full_scale_v)
    trace = capture.trace(channel)
    parts = stretches(trace.volts, capture.step_s, trace.scaled, where)
    mains = parts[0].figures.mains_hz
    predicted = predictions(check(sheet), where, mains) if sheet is not None and where is not None else []
    seen = tuple(Seen(part, compare(part, where, predicted) if where else None) for part in parts)
    return Look(capture, trace, where, possible_points(parts[0].shape), seen, _said(capture, trace, parts[0]), sheet)


def _point(point: str | None) -> Point | None:
    if not point:
        return None
    for known in POINTS:
        if point == known:
            return known
    raise SettingError(f"{point[:40]!r} is no point of the circuit; it is one of {', '.join(POINTS)}.")


def _said(capture: Capture, trace: Trace, first: Named) -> tuple[str, ...]:
    """What a person should know of the capture before believing it."""
    said = list(capture.said)
    if trace.lost:
        said.append(f"{trace.lost} samples are no numbers; the trace was drawn straight across them.")
    if capture.length_s < 0.03:
        said.append("The capture is shorter than two cycles of the mains; record 50 ms or more.")
    if 1.0 / capture.step_s < FEWEST_PER_CYCLE * 50.0:
        said.append(
            f"There are fewer than {FEWEST_PER_CYCLE} samples in a cycle of the mains; what is quicker than they are is lost."
        )
    if 0.5 / capture.step_s < HIGHEST_HZ / 4:
        said.append("The samples are too far apart to show a wave of the mains at all.")
    if first.shape == "none of these" and first.figures.wave is None:
        said.append(
            "No wave of the mains is in it. Was the probe connected, and the time base some 10 ms per division?"
        )
    return tuple(said)


def shown(look: Look) -> dict[str, list[float]]:
    """The trace for drawing: times [s] and volts, at most `SHOWN` points, with every extreme."""
    volts, step = look.trace.volts, look.capture.step_s
    if len(volts) <= SHOWN:
        return {"at_s": [round(n * step, 9) for n in range(len(volts))], "volts": [round(float(v), 5) for v in volts]}
    at, heights = [], []
    edges = [len(volts) * n // (SHOWN // 2) for n in range(SHOWN // 2 + 1)]
    for begin, end in pairwise(edges):
        part = volts[begin:end]
        for place in sorted((int(part.argmin()), int(part.argmax()))):
            at.append(round((begin + place) * step, 9))
            heights.append(round(float(part[place]), 5))
    return {"at_s": at, "volts": heights}


def told(look: Look) -> dict[str, Any]:
    """As JSON values."""
    return {
        "point": look.point,
        "possible_points": list(look.possible),
        "channel": look.trace.name,
        "channels": [trace.name for trace in look.capture.traces],
        "samples": len(look.trace.volts),
        "step_s": look.capture.step_s,
        "length_s": look.capture.length_s,
        "scaled": look.trace.scaled,
        "stretches": [_told(one) for one in look.seen],
        "trace": shown(look),
        "remarks": list(look.said),
        "caution": CAUTION,
    }


CYCLE_POINTS = 180
"""Of an average cycle, for drawing."""


def _thinned(cycle: Floats) -> list[float]:
    return [round(float(v), 4) for v in cycle.reshape(CYCLE_POINTS, -1).mean(axis=1)]


def _predicted(one: Seen) -> list[float]:
    """The predicted cycle laid over the measured one; empty where there is none."""
    wave = one.named.figures.wave
    if one.comparison is None or wave is None or not one.comparison.prediction.cycle.size:
        return []
    return _thinned(aligned(wave.cycle, one.comparison.prediction.cycle))


def _told(one: Seen) -> dict[str, Any]:
    figures = {name: value for name, value in asdict(one.named.figures).items() if name not in ("wave", "scaled")}
    return {
        "shape": one.named.shape,
        "pressed": one.named.pressed,
        "start_s": one.named.start_s,
        "end_s": one.named.end_s,
        "figures": figures,
        "cycle_v": _thinned(one.named.figures.wave.cycle) if one.named.figures.wave else [],
        "predicted_v": _predicted(one),
        "comparison": None
        if one.comparison is None
        else {
            "state": one.comparison.state,
            "lines": [
                {
                    "quantity": line.quantity,
                    "measured": line.measured,
                    "expected": asdict(line.expected),
                    "verdict": line.verdict,
                    "means": line.means,
                }
                for line in one.comparison.lines
            ],
        },
    }
