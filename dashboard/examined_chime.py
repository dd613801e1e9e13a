"""One chime of a recording: its rail drawn with what happened, its surveys folded on the fit, and the same in tables. Judges nothing."""

from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
from markupsafe import Markup

from dashboard import contexts, quantities, supply_contexts, words
from dashboard.folded import Floats, Folded, folded
from dashboard.recorded_rail import Happened, draw_folded, draw_rail
from dashboard.stretches import SILENCE_S, line_of
from dashboard.supply_tables import CAUSES
from service.examine import ExaminedChime
from service.findings.quantities import quantities as measured_of
from service.findings.testimony import Evidence
from service.model import LoadState, Press
from service.supply.unknowns import KINDS

TITLES = {"idle": "At rest", "test": "With the test load", "sound": "While it sounds"}
LOADS: dict[LoadState, str] = {"test": "the test load was on", "sound": "it sounded"}
DRIFTS_V_PER_S = 0.1
"""A drift that was taken out of a burst is told from here on."""

HAPPENED_LIMIT = 40


def make(chime: ExaminedChime, zone: ZoneInfo) -> supply_contexts.ExaminedChime:
    rail, rail_told = _rail(chime, zone)
    cycles, cycles_told = _cycles(chime, zone)
    return supply_contexts.ExaminedChime(
        name=words.sentence(name_of(chime)).rstrip("."),
        rail=rail,
        rail_told=rail_told,
        cycles=cycles,
        cycles_told=cycles_told,
        quantities=_quantities(chime),
        presses=_presses(chime, zone),
        happened=_happened(chime, zone),
    )


def name_of(chime: ExaminedChime) -> str:
    return f"{chime.chime.replace('-', ' ')} chime at {chime.site}"


def day(moment_s: float, zone: ZoneInfo) -> str:
    """As 25 November 2026."""
    then = words.local(moment_s, zone).date()
    return f"{words.day_and_month(then)} {then.year}"


def moment(moment_s: float, zone: ZoneInfo) -> str:
    """As 14.07.20 on 25 November 2026."""
    return f"{words.local(moment_s, zone):%H.%M.%S} on {day(moment_s, zone)}"


def _rail(chime: ExaminedChime, zone: ZoneInfo) -> tuple[Markup | None, str]:
    """The drawing, and in words what it shows."""
    evidence = chime.here.evidence
    at_s, maxima_v, silence_s, what = _maxima(evidence)
    if not np.isfinite(maxima_v).any():
        return None, "This recording has no maxima of the rail to draw."
    line = line_of(at_s.tolist(), silence_s)
    first = line.stretches[0].start_s
    happened = Happened(
        presses=_by_door(chime),
        soundings=_spans(evidence, "sound") or [(one.start_s, one.end_s or one.start_s) for one in chime.soundings],
        tests=_spans(evidence, "test"),
        starts=[one.start_s for one in evidence.powered],
        blind=[(one.start_s, one.end_s if one.end_s is not None else one.start_s) for one in chime.blind],
        events=_events(chime),
    )
    told = (
        f"{what}, from {moment(first, zone)}. On the wires below a stroke is a press; on that of the chime a dot and a bar are its "
        "sound, a bracket is the test load, and a foot is its start."
    )
    return draw_rail(line, at_s, maxima_v, happened, zone), told


def _maxima(evidence: Evidence) -> tuple[Floats, Floats, float, str]:
    """Of cycles, else of windows: moments, volts, the silence that parts two stretches, and what they are."""
    if len(evidence.cycle_at_s) and np.isfinite(evidence.maxima_v).any():
        return evidence.cycle_at_s, evidence.maxima_v, SILENCE_S, "The highest rail of every cycle, V"
    windows = [(end_s, one.max_v) for end_s, one in evidence.windows if one.max_v is not None]
    at_s, maxima_v = np.array([at for at, _ in windows]), np.array([value for _, value in windows])
    spacing = float(np.median(np.diff(at_s))) if len(at_s) > 1 else 0.0
    return at_s, maxima_v, max(SILENCE_S, 3.0 * spacing), "The highest rail of every window, V"


def _by_door(chime: ExaminedChime) -> dict[str, list[tuple[float, float]]]:
    found: dict[str, list[tuple[float, float]]] = {}
    for press in sorted(chime.presses, key=lambda one: (one.door, one.start_s)):
        found.setdefault(press.door, []).append((press.start_s, press.end_s or press.start_s))
    return found


def _spans(evidence: Evidence, load: LoadState) -> list[tuple[float, float]]:
    """Stretches under a load, by the chime's own log; the last ends when it was last heard."""
    last_s = max((one.last_heard_s for one in evidence.powered), default=0.0)
    found: list[tuple[float, float]] = []
    for (start_s, state), (end_s, _) in pairwise([*evidence.loads, (last_s, "idle")]):
        if state != load or end_s <= start_s:
            continue
        if found and start_s <= found[-1][1]:
            found[-1] = (found[-1][0], end_s)
        else:
            found.append((start_s, end_s))
    return found


def _events(chime: ExaminedChime) -> list[tuple[float, str]]:
    """Findings that began while the chime was watched."""
    starts = {one.start_s for one in chime.here.evidence.powered}
    return [
        (finding.since_s, finding.name.replace("-", " "))
        for finding in chime.verdict.findings
        if finding.since_s is not None and finding.since_s not in starts and finding.name.startswith("mains-")
    ]


def _happened(chime: ExaminedChime, zone: ZoneInfo) -> list[str]:
    """What the drawing shows beside presses, in sentences."""
    evidence, told = chime.here.evidence, list[tuple[float, str]]()
    for one in evidence.powered:
        cause = f" {CAUSES[one.cause]}" if one.cause in CAUSES else ""
        told.append((one.start_s, f"the chime started{cause}"))
    for load, what in LOADS.items():
        told += [
            (start_s, f"{what} for {words.duration(end_s - start_s)}") for start_s, end_s in _spans(evidence, load)
        ]
    told += [(at_s, f"a {name} began") for at_s, name in _events(chime)]
    return [f"At {moment(at_s, zone)} {text}." for at_s, text in sorted(told)[-HAPPENED_LIMIT:]]


def _cycles(chime: ExaminedChime, zone: ZoneInfo) -> tuple[list[supply_contexts.Cycle], str]:
    """A drawing of each burst of the survey, and one sentence for all."""
    fit = chime.here.fit
    if fit is None:
        return [], ""
    before = chime.then.fit if chime.then is not None else None
    found = [one for one in (folded(fit, kind, before) for kind in KINDS) if one is not None]
    drawn = [
        supply_contexts.Cycle(TITLES[one.kind], "V, over ms of one cycle", draw_folded(one), _told(one))
        for one in found
    ]
    chain = ", the chain line what was fitted at commissioning" if any(one.before is not None for one in found) else ""
    when = moment(fit.survey.at_s, zone)
    return (
        drawn,
        f"The survey of {when}, folded on one cycle of the mains: specks are samples, dots the fitted rail{chain}.",
    )


def _told(one: Folded) -> str:
    swing = f"from {words.measured(float(one.volts.min()), 'V')} to {words.measured(float(one.volts.max()), 'V')}"
    parts = [f"{len(one.volts)} samples of {one.cycles:.1f} cycles, {swing}"]
    if one.scatter_v is None:
        return f"{parts[0]}; this burst took no part in the fit."
    parts.append(f"they scatter by {quantities.figure('scatter_v', one.scatter_v)} about the fit")
    if abs(one.drift_v_per_s) >= DRIFTS_V_PER_S:
        parts.append(f"a drift of {quantities.figure('drift_v_per_s', one.drift_v_per_s)} is taken out")
    return words.sentence("; ".join(parts))


def _quantities(chime: ExaminedChime) -> contexts.Table:
    then = chime.then.fit if chime.then is not None else None
    before = measured_of(then, chime.sheet) if then is not None and chime.here.fit is not None else {}
    rows = []
    for name, one in chime.verdict.quantities.items():
        earlier = before[name].value if name in before else None
        rows.append(
            contexts.Row(
                (
                    quantities.name_of(name),
                    quantities.figure(name, one.value),
                    quantities.between(name, one.low, one.high),
                    quantities.figure(name, earlier),
                    quantities.compared(one.value, earlier),
                )
            )
        )
    caption = "What was measured" if chime.here.fit is not None else "What was measured at commissioning"
    return contexts.Table(caption, ("Quantity", "Measured", "Nine in ten", "When commissioned", "In words"), rows)


def _presses(chime: ExaminedChime, zone: ZoneInfo) -> contexts.Table:
    then = chime.then.evidence.powered if chime.then is not None else ()
    rows = [
        contexts.Row(
            (
                moment(press.start_s, zone),
                press.door,
                "–" if press.end_s is None else words.duration(press.end_s - press.start_s),
                "–" if press.pulses is None else str(press.pulses),
                _contact(press, any(one.start_s <= press.start_s <= one.last_heard_s for one in then)),
            )
        )
        for press in sorted(chime.presses, key=lambda one: one.start_s)
    ]
    return contexts.Table("Presses", ("Began", "Door", "Held", "Pulses", "In words"), rows)


def _contact(press: Press, at_commissioning: bool) -> str:
    said = ["at commissioning"] if at_commissioning else []
    said += [f"let go {words.times(press.drop_outs)}"] if press.drop_outs else []
    return ", ".join([*said, *(["bounced"] if press.bounce else [])])
