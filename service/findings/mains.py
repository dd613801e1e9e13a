"""Findings about the mains: dips and swells in the cycle maxima, beside what the chime itself did meanwhile. Knows no doors."""

from math import prod

import numpy as np

from service.findings.doors import runs_of
from service.findings.sides import Side
from service.findings.verdict import EvidenceLine, Finding
from service.supply import mains_events
from service.supply.mains_classes import MainsEvent
from service.supply.mains_steady import CycleMaxima, Doings

PROVEN, PAUSED = 0.94, 0.7
"""How likely an event of the mains is one: proven by its depth, or recharging that paused and sank the rail less than the limit."""


def findings(here: Side, then: Side | None) -> list[Finding]:
    """A finding each for dips and swells, where there were any."""
    found = []
    grouped: dict[str, list[MainsEvent]] = {}
    for event in events(here, then):
        if "own load" not in event.also_possible:
            name = "mains-swell" if event.kind in ("swell", "overvoltage") else "mains-dip"
            grouped.setdefault(name, []).append(event)
    for name, alike in grouped.items():
        worst = max(alike, key=lambda e: abs(1.0 - (e.residual if e.residual is not None else 1.0)))
        lines = [EvidenceLine("events", float(len(alike)), expected=0.0)]
        if worst.residual is not None:
            lines.append(EvidenceLine("residual_share", worst.residual, worst.residual_low, worst.residual_high, 1.0))
        lines.append(EvidenceLine("duration_s", worst.duration_s))
        likelihood = 1.0 - prod(1.0 - (PROVEN if event.proven else PAUSED) for event in alike)
        found.append(Finding(name, likelihood, None, (), alike[0].start_s, tuple(lines)))
    return found


def events(here: Side, then: Side | None) -> list[MainsEvent]:
    """The events, without those of a load whose usual level is not known."""
    evidence = here.evidence
    if not len(here.cycles.at_s):
        return []
    presses = [(float(run[0, 0]), float(run[-1, 1])) for pairs in evidence.pulses.values() for run in runs_of(pairs)]
    fit = here.fit or (then.fit if then else None)
    fall, drop, steady = {}, {}, {}
    if fit is not None:
        found = fit.identified
        peak = found.value("v") * float(np.sqrt(2.0))
        for kind, load in found.load_a.items():
            fall[kind] = load / found.value("c")
            drop[kind] = max(peak - found.rail_max_v[kind], 0.0)
            if fit is here.fit:
                steady[kind] = found.rail_max_v[kind]
    doings = Doings(
        loads=evidence.loads,
        radio=evidence.radio,
        presses=presses,
        power_ups=[powered.start_s for powered in evidence.powered],
        steady_v=steady,
        fall_v_per_s=fall,
        drop_v=drop,
    )
    series = CycleMaxima(here.cycles.at_s, here.cycles.maxima_v, here.cycles.cycle_s)
    # of a load whose level no survey tells, a few seconds of cycles prove nothing
    return [event for event in mains_events.events(series, doings) if event.load in steady or not steady]
