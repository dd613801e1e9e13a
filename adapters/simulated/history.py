"""The past of Tern Cottage, as the packs that its chime would have sent: power cuts, a network outage and callers included.

`history` yields arrivals lazily, in order; thirty days take seconds. Knows no store and no clock: it is given both ends.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import timedelta
from math import inf
from pathlib import Path

import numpy as np

from adapters.simulated import callers, faults
from adapters.simulated.air import Air
from adapters.simulated.batch import Happening
from adapters.simulated.callers import Stroke
from adapters.simulated.contacts import Span, closures
from adapters.simulated.installation import CHIME, SITE, Installation
from adapters.simulated.lives import Epoch, Past, Timeline, epoch_at
from adapters.simulated.senses import PLAN_S, SOUND_FOR_S
from service import topics
from service.model import Address, Arrival

DAY_S = 86400.0
EXAMINED_AT_H = 3.5
FIRST_BOOT_H = 11.7
COMMISSIONED_AFTER_S = 600.0

POWER_CUTS = ((0.31, 47 * 60.0), (0.74, 18 * 60.0))
"""(where in the stretch, how long [s])"""

NETWORK_OUTAGE = (0.55, 4.6 * 3600.0)
FAULT_FROM = 0.7
"""A fault sets in after this share of the stretch, so that the record holds what was before."""

BEFORE_S, AFTER_S = 0.4, 0.9
TOGETHER_S = 3.5
"""Presses closer than this are stepped as one stretch."""


def history(
    *,
    start_s: float,
    end_s: float,
    seed: int = 1,
    fault: str | None = None,
    severity: float = 0.5,
    house: Installation | None = None,
    later: Sequence[tuple[float, Installation]] = (),
    prefix: str = "bellcrank",
    data_dir: Path | None = None,
) -> Iterator[Arrival]:
    """Arrivals from `start_s` to `end_s` [POSIX s], in order, via "file".

    A fault sets in at seven tenths of the stretch. `house`: what it is before, None for the cottage as it was built. `later`: in
    place of a fault, what it is from each moment on [POSIX s], in order, such as one that ages; no button sticks then. With
    `data_dir` it is left there how the last power-up goes on, so that the live chime can go on with it, or with the next. Raises
    SettingError for an unknown fault or a severity outside 0..1.
    """
    time = _timeline(start_s, end_s, fault is not None)
    built = house or Installation()
    changes = later or [(time.fault_s, faults.apply(fault, severity, built))]
    epochs = [Epoch.of(built, seed), *(Epoch.of(changed, seed, from_s) for from_s, changed in changes)]
    rng = np.random.default_rng([seed, 7])
    happenings, time = _happenings(time, epochs, rng, seed)
    past = Past(time, epochs, happenings, seed)
    base_topic = topics.build(Address(SITE, CHIME, "pack"), prefix).removesuffix("/pack")
    last = b"[]"
    for arrival in Air(base_topic, time.outages, rng).deliver(past.notes(), end_s):
        yield arrival
        last = arrival.payload if arrival.topic.endswith("/pack") else last
    if data_dir is not None:
        told = {record["n"]: record.get("v", 0) for record in json.loads(last)}
        life = past.life_after(told["boot"], told["seq"], told["up"]) if told else None
        left = {"boot": past.boot} | ({} if life is None else {"goes_on": life._asdict()})
        (data_dir / f"simulated-{CHIME}.json").write_text(json.dumps(left))


def estimate(start_s: float, end_s: float) -> int:
    """About how many arrivals `history` yields, for a progress bar."""
    days = max(end_s - _timeline(start_s, end_s, False).start_s, 0.0) / DAY_S
    return round(days * (DAY_S / Installation().window_s + 30.0)) + 40


def _timeline(start_s: float, end_s: float, faulty: bool) -> Timeline:
    span = end_s - start_s
    if span < 2 * DAY_S:
        return Timeline(start_s, end_s, [], [], start_s + FAULT_FROM * span if faulty else inf)
    day = callers.clock_of(start_s).date()
    first = callers.local_s(day, FIRST_BOOT_H)
    first = first if first >= start_s else callers.local_s(day + timedelta(days=1), FIRST_BOOT_H)
    cuts = [(start_s + share * span, start_s + share * span + length) for share, length in POWER_CUTS]
    share, length = NETWORK_OUTAGE
    middle = callers.local_s(callers.clock_of(start_s + share * span).date(), 13.2)
    return Timeline(
        first,
        end_s,
        cuts if span > 7 * DAY_S else [],
        [(middle, middle + length)],
        start_s + FAULT_FROM * span if faulty else inf,
    )


def _happenings(
    time: Timeline,
    epochs: list[Epoch],
    rng: np.random.Generator,
    seed: int,
) -> tuple[list[Happening], Timeline]:
    """All that is worth stepping, in order of time; and the timeline, corrected to when the fault really sets in."""
    installer_s = time.start_s + COMMISSIONED_AFTER_S
    callers_s = installer_s + 300.0
    visits = callers.visits(callers_s, time.end_s - 30.0, seed)
    strokes = [[stroke] for stroke in _installer(installer_s)] + visits
    stuck_s = inf
    if epochs[1].house.front.stuck:
        fronts = [s.start_s for visit in visits for s in visit if s.door == "front" and s.start_s >= time.fault_s]
        stuck_s = min([s for s in fronts if not _within(s, time.cuts)], default=inf)
        time = time._replace(fault_s=min(stuck_s, time.end_s))
        shorted = replace(epochs[1].house, parts=replace(epochs[1].house.parts, button_diode="shorted"))
        epochs[1] = Epoch.of(shorted, seed, time.fault_s)  # the same to the circuit, from then on
    found = [Happening(installer_s, installer_s + PLAN_S, plan_s=installer_s, commissioning=True)]
    day = callers.clock_of(installer_s).date()
    while (at := callers.local_s(day, EXAMINED_AT_H)) < time.end_s - 10.0:
        if at > callers_s:
            found.append(Happening(at, at + PLAN_S, plan_s=at))
        day += timedelta(days=1)
    for visit in strokes:
        commissioning = visit[0].start_s < callers_s
        found += [_pressed(together, epochs, rng, stuck_s, commissioning) for together in _together(visit)]
    for epoch, end_s in zip(epochs, [*(one.from_s for one in epochs[1:]), time.end_s], strict=True):
        begin_s, end_s = max(epoch.from_s, time.start_s), min(end_s, time.end_s)
        found += _mains_events(begin_s, end_s, epoch, rng)
        if epoch.pulses_steadily and stuck_s == inf and begin_s < end_s:
            found.append(Happening(begin_s, begin_s + 12.0))
    found = [
        h
        for h in found
        if h.end_s < time.end_s and not _within(h.start_s, time.cuts) and not _within(h.end_s, time.cuts)
    ]
    return _apart(sorted(found, key=lambda h: h.start_s)), time


def _installer(at_s: float) -> list[Stroke]:
    holds = (0.35, 0.5, 0.2, 0.8, 0.4)
    fronts = [Stroke("front", at_s + 8.0 + 6.0 * number, hold) for number, hold in enumerate(holds)]
    return [*fronts, Stroke("garden", at_s + 45.0, 0.4), Stroke("garden", at_s + 52.0, 0.3)]


def _together(visit: list[Stroke]) -> list[list[Stroke]]:
    groups = [[visit[0]]]
    for stroke in visit[1:]:
        if stroke.start_s - groups[-1][-1].start_s - groups[-1][-1].hold_s < TOGETHER_S:
            groups[-1].append(stroke)
        else:
            groups.append([stroke])
    return groups


def _pressed(
    strokes: list[Stroke],
    epochs: list[Epoch],
    rng: np.random.Generator,
    stuck_s: float,
    commissioning: bool,
) -> Happening:
    closed: dict[str, list[Span]] = {}
    house = epoch_at(epochs, strokes[0].start_s).house
    last_s = strokes[-1].start_s + strokes[-1].hold_s
    for stroke in strokes:
        contact = house.contact(stroke.door)
        contact = replace(contact, stuck=contact.stuck and stroke.start_s == stuck_s)
        closed.setdefault(stroke.door, []).extend(closures(stroke.start_s, stroke.hold_s, contact, rng))
    long = 12.0 if strokes[0].start_s == stuck_s else SOUND_FOR_S + AFTER_S
    return Happening(strokes[0].start_s - BEFORE_S, last_s + long, closed, commissioning=commissioning)


def _mains_events(begin_s: float, end_s: float, epoch: Epoch, rng: np.random.Generator) -> list[Happening]:
    events, found, at = epoch.house.events, [], begin_s
    while events is not None and at < end_s:
        at += float(rng.exponential(events.every_s))
        length = int(rng.integers(events.shortest_cycles, events.longest_cycles + 1)) / epoch.house.parts.mains_hz
        found.append(Happening(at - BEFORE_S, at + length + AFTER_S, events=[(at, at + length, events.level)]))
    return found


def _within(at_s: float, spans: list[Span]) -> bool:
    return any(start <= at_s < end + 5.0 for start, end in spans)


def _apart(happenings: list[Happening]) -> list[Happening]:
    """Without those that begin while another one lasts."""
    kept = happenings[:1]
    for happening in happenings[1:]:
        if happening.start_s > kept[-1].end_s:
            kept.append(happening)
    return kept
