"""One chime of a recording: its rail drawn with what happened, its surveys folded on the fit, and the same in tables. Judges nothing."""

from collections.abc import Mapping
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
from markupsafe import Markup

from dashboard import contexts, outlook_lines, quantities, supply_contexts, words
from dashboard.folded import Floats, Folded, folded
from dashboard.language import figure, marked, say
from dashboard.recorded_rail import Happened, draw_folded, draw_rail
from dashboard.stretches import SILENCE_S, line_of
from dashboard.supply_tables import CAUSES
from service.examine import ExaminedChime
from service.findings.quantities import quantities as measured_of
from service.findings.testimony import Evidence
from service.findings.verdict import Measured
from service.model import LoadState, Press
from service.supply.unknowns import KINDS

TITLES = {"idle": marked("At rest"), "test": marked("With the test load"), "sound": marked("While it sounds")}
LOADS: dict[LoadState, str] = {"test": marked("the test load was on"), "sound": marked("it sounded")}
DRIFTS_V_PER_S = 0.1
"""A drift that was taken out of a burst is told from here on."""

HAPPENED_LIMIT = 40


def make(chime: ExaminedChime, now_s: float, zone: ZoneInfo) -> supply_contexts.ExaminedChime:
    """`now_s`: when the recording ends."""
    rail, rail_told = _rail(chime, zone)
    cycles, cycles_told = _cycles(chime, zone)
    return supply_contexts.ExaminedChime(
        name=words.sentence(name_of(chime)).rstrip("."),
        rail=rail,
        rail_told=rail_told,
        cycles=cycles,
        cycles_told=cycles_told,
        quantities=_quantities(chime),
        outlook=outlook_lines.lines(chime.outlooks, now_s, zone) if chime.outlooks else (),
        presses=_presses(chime, zone),
        happened=_happened(chime, zone),
    )


def name_of(chime: ExaminedChime) -> str:
    return say("{chime} chime at {site}", chime=chime.chime.replace("-", " "), site=chime.site)


def day(moment_s: float, zone: ZoneInfo) -> str:
    """As 25 November 2026."""
    then = words.local(moment_s, zone).date()
    return f"{words.day_and_month(then)} {then.year}"


def moment(moment_s: float, zone: ZoneInfo) -> str:
    """As 14.07.20 on 25 November 2026."""
    return say(
        "{clock} on {day}", clock=words.in_hours(words.local(moment_s, zone), seconds=True), day=day(moment_s, zone)
    )


def _rail(chime: ExaminedChime, zone: ZoneInfo) -> tuple[Markup | None, str]:
    """The drawing, and in words what it shows."""
    evidence = chime.here.evidence
    at_s, maxima_v, silence_s, what = _maxima(evidence)
    if not np.isfinite(maxima_v).any():
        return None, say("This recording has no maxima of the rail to draw.")
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
    told = say(
        "{what}, from {moment}. On the wires below a stroke is a press; on that of the chime a dot and a "
        "bar are its sound, a bracket is the test load, and a foot is its start.",
        what=what,
        moment=moment(first, zone),
    )
    return draw_rail(line, at_s, maxima_v, happened, zone), told


def _maxima(evidence: Evidence) -> tuple[Floats, Floats, float, str]:
    """Of cycles, else of windows: moments, volts, the silence that parts two stretches, and what they are."""
    if len(evidence.cycle_at_s) and np.isfinite(evidence.maxima_v).any():
        return evidence.cycle_at_s, evidence.maxima_v, SILENCE_S, say("The highest rail of every cycle, V")
    windows = [(end_s, one.max_v) for end_s, one in evidence.windows if one.max_v is not None]
    at_s, maxima_v = np.array([at for at, _ in windows]), np.array([value for _, value in windows])
    spacing = float(np.median(np.diff(at_s))) if len(at_s) > 1 else 0.0
    return at_s, maxima_v, max(SILENCE_S, 3.0 * spacing), say("The highest rail of every window, V")


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
        cause = f" {say(CAUSES[one.cause])}" if one.cause in CAUSES else ""
        told.append((one.start_s, say("the chime started{cause}", cause=cause)))
    for load, what in LOADS.items():
        told += [
            (start_s, say("{what} for {duration}", what=say(what), duration=words.duration(end_s - start_s)))
            for start_s, end_s in _spans(evidence, load)
        ]
    told += [(at_s, say("a {name} began", name=name)) for at_s, name in _events(chime)]
    return [
        say("At {moment} {text}.", moment=moment(at_s, zone), text=text)
        for at_s, text in sorted(told)[-HAPPENED_LIMIT:]
    ]


def _cycles(chime: ExaminedChime, zone: ZoneInfo) -> tuple[list[supply_contexts.Cycle], str]:
    """A drawing of each burst of the survey, and one sentence for all."""
    fit = chime.here.fit
    if fit is None:
        return [], ""
    before = chime.then.fit if chime.then is not None else None
    found = [one for one in (folded(fit, kind, before) for kind in KINDS) if one is not None]
    drawn = [
        supply_contexts.Cycle(say(TITLES[one.kind]), say("V, over ms of one cycle"), draw_folded(one), _told(one))
        for one in found
    ]
    chain = (
        say(", the chain line what was fitted at commissioning") if any(one.before is not None for one in found) else ""
    )
    when = moment(fit.survey.at_s, zone)
    return (
        drawn,
        say(
            "The survey of {when}, folded on one cycle of the mains: specks are samples, dots the fitted rail{chain}.",
            when=when,
            chain=chain,
        ),
    )


def _told(one: Folded) -> str:
    swing = say(
        "from {measured} to {measured2}",
        measured=words.measured(float(one.volts.min()), "V"),
        measured2=words.measured(float(one.volts.max()), "V"),
    )
    parts = [
        say(
            "{volts} samples of {cycles} cycles, {swing}",
            volts=len(one.volts),
            cycles=figure(one.cycles, ".1f"),
            swing=swing,
        )
    ]
    if one.scatter_v is None:
        return say("{parts}; this burst took no part in the fit.", parts=parts[0])
    parts.append(say("they scatter by {figure} about the fit", figure=quantities.figure("scatter_v", one.scatter_v)))
    if abs(one.drift_v_per_s) >= DRIFTS_V_PER_S:
        parts.append(
            say("a drift of {figure} is taken out", figure=quantities.figure("drift_v_per_s", one.drift_v_per_s))
        )
    return words.sentence("; ".join(parts))


def commissioned(chime: ExaminedChime) -> Mapping[str, Measured]:
    """What was measured at commissioning, where there is something to compare with it."""
    then = chime.then.fit if chime.then is not None else None
    return measured_of(then, chime.sheet) if then is not None and chime.here.fit is not None else {}


def _quantities(chime: ExaminedChime) -> contexts.Table:
    before = commissioned(chime)
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
    caption = say("What was measured") if chime.here.fit is not None else say("What was measured at commissioning")
    return contexts.Table(
        caption, (say("Quantity"), say("Measured"), say("Nine in ten"), say("When commissioned"), say("In words")), rows
    )


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
    return contexts.Table(
        say("Presses"), (say("Began"), say("Door"), say("Held"), say("Pulses"), say("In words")), rows
    )


def _contact(press: Press, at_commissioning: bool) -> str:
    said = [say("at commissioning")] if at_commissioning else []
    said += [say("let go {times}", times=words.times(press.drop_outs))] if press.drop_outs else []
    return ", ".join([*said, *(["bounced"] if press.bounce else [])])
