"""Many stretches of the house's past side by side: presses, examinations and mains events in one pass, and windows in another.

Answers what circuit, contacts and reflex made of each; the firmware tells it. Knows no boots, network or callers.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from math import inf

import numpy as np

from adapters.simulated import senses
from adapters.simulated.circuit import STEP_S, Bools, Circuit, Floats, State
from adapters.simulated.contacts import Span, pulses
from adapters.simulated.installation import DOORS, REAR_DOORS, Installation
from adapters.simulated.mains import Mains

BLOCK_STEPS = 120
"""The chime's reflex answers every 20 ms."""

SIDE_BY_SIDE = 160
WINDOW_CYCLES = 4
LEVEL_JITTER = 0.002
"""The cycles of a window stand for a minute: their level scatters as it does over a minute (0.3 % and less in the references)."""


@dataclass(slots=True)
class Happening:
    """A stretch worth stepping. Contacts and mains events in POSIX seconds; `plan_s`: the examination begins there."""

    start_s: float
    end_s: float
    closed: dict[str, list[Span]] = field(default_factory=dict)
    events: list[tuple[float, float, float]] = field(default_factory=list)  # (start, end, level)
    plan_s: float | None = None
    commissioning: bool = False
    pulsing: bool = False  # the front detector has seen pulses without end before it began


@dataclass(slots=True)
class Outcome:
    """What came of it. Rail at 2 kHz from `start_s` on; `running` and `sounded` are stretches in POSIX seconds."""

    start_s: float
    end_s: float
    hertz: float
    rail_v: Floats
    heard: list[tuple[float, float, str]]  # (fall, rise, door), in order
    running: list[Span]
    sounded: list[Span]


def step_all(house: Installation, circuit: Circuit, mains: Mains, happenings: Sequence[Happening]) -> list[Outcome]:
    """Outcomes in the order of the happenings; those of like length are stepped together."""
    by_length = sorted(range(len(happenings)), key=lambda i: happenings[i].end_s - happenings[i].start_s)
    outcomes: dict[int, Outcome] = {}
    for first in range(0, len(by_length), SIDE_BY_SIDE):
        chosen = by_length[first : first + SIDE_BY_SIDE]
        outcomes.update(zip(chosen, _step_group(house, circuit, mains, [happenings[i] for i in chosen]), strict=True))
    return [outcomes[i] for i in range(len(happenings))]


def _step_group(house: Installation, circuit: Circuit, mains: Mains, group: Sequence[Happening]) -> list[Outcome]:
    count = len(group)
    start = mains.crossing_before(np.array([h.start_s for h in group]))
    hertz, level = mains.hertz(start), mains.level(start)
    longest = max(h.end_s - s for h, s in zip(group, start, strict=True))
    blocks = int(np.ceil(longest / STEP_S / BLOCK_STEPS))
    steps = blocks * BLOCK_STEPS
    closed, factor = _switched(group, start, steps)
    heard = [
        _heard(circuit, h, s, s + steps * STEP_S, f, factor[:, i] * lv)
        for i, (h, s, f, lv) in enumerate(zip(group, start.tolist(), hertz.tolist(), level.tolist(), strict=True))
    ]
    falls = {
        door: _padded([[fall - s for fall, _, d in h if d == door] for h, s in zip(heard, start, strict=True)])
        for door in DOORS
    }
    reflex = senses.Reflex(house, count)
    reflex.plan_s = np.array([inf if h.plan_s is None else h.plan_s for h in group]) - start
    reflex.plan_s[np.isinf(reflex.plan_s)] = -inf
    reflex.pulse_s["front"][[h.pulsing for h in group]] = 0.0
    state = State.at(circuit.settled_v(level, house.idle_a), True)
    state.running = state.reservoir_v > 0.0
    rail = np.empty((steps // senses.SAMPLE_STEPS, count), np.float32)
    runs = np.empty((blocks + 1, count), bool)
    runs[0] = state.running
    sounded: list[list[Span]] = [[] for _ in group]
    for block in range(blocks):
        a, b = block * BLOCK_STEPS, (block + 1) * BLOCK_STEPS
        middle = ((np.arange(a, b) + 0.5) * STEP_S)[:, None]
        source = circuit.source_v(middle * hertz) * (level * factor[a:b])
        before = reflex.sound_s.copy()
        stepped = circuit.step(state, source, closed[a:b], reflex.demand_a(middle))
        rail[a // senses.SAMPLE_STEPS : b // senses.SAMPLE_STEPS] = stepped[
            senses.SAMPLE_STEPS - 1 :: senses.SAMPLE_STEPS
        ]
        for door, moments in falls.items():
            now = (moments >= a * STEP_S) & (moments < b * STEP_S)
            if now.any():
                first, last = np.where(now, moments, inf).min(axis=1), np.where(now, moments, -inf).max(axis=1)
                reflex.hear(door, first, last, state.running)
        runs[block + 1] = state.running
        if not (state.running.all() and runs[block].all()):
            reflex.powered(b * STEP_S, runs[block], state.running)
        for k in np.flatnonzero(reflex.sound_s > before):
            begins_s = float(start[k] + reflex.sound_s[k])
            sounded[k].append((begins_s, begins_s + senses.SOUND_FOR_S))
    result: list[Outcome] = []
    for i, happening in enumerate(group):
        length = int((happening.end_s - start[i]) * senses.SAMPLE_HZ)
        result.append(
            Outcome(
                float(start[i]),
                happening.end_s,
                float(hertz[i]),
                rail[:length, i].astype(float),
                [pulse for pulse in heard[i] if pulse[0] < happening.end_s],
                _spans(runs[:, i], float(start[i]), happening.end_s),
                [span for span in sounded[i] if span[1] < happening.end_s],
            )
        )
    return result


def windows(
    house: Installation,
    circuit: Circuit,
    mains: Mains,
    at_s: Floats,
    rng: np.random.Generator,
) -> Iterator[tuple[float, float, float, float]]:
    """(moment, mean, lowest, highest rail [V]) of the minutes that end at these moments, as the chime converts them."""
    if not len(at_s):
        return
    hertz, level = mains.hertz(at_s), mains.level(at_s)
    state = State.at(circuit.settled_v(level, house.idle_a), True)
    per_cycle = round(1.0 / (house.parts.mains_hz * STEP_S))
    taken = []
    radio_cycle = rng.integers(1, WINDOW_CYCLES, len(at_s))
    for cycle in range(WINDOW_CYCLES):
        into = ((np.arange(per_cycle) + 0.5) * STEP_S)[:, None]
        scattered = level * (1.0 + rng.normal(0.0, LEVEL_JITTER, len(at_s)))
        demand = np.full((per_cycle, len(at_s)), house.idle_a)
        demand += house.radio_a * ((into < senses.RADIO_FOR_S) & (radio_cycle == cycle))
        rail = circuit.step(state, circuit.source_v(into * hertz) * scattered, None, demand)
        if cycle:  # the first one settles
            taken.append(rail[senses.SAMPLE_STEPS - 1 :: senses.SAMPLE_STEPS])
    volts = senses.convert(np.concatenate(taken), rng) * senses.LSB_V
    columns = (volts.mean(axis=0), volts.min(axis=0), volts.max(axis=0))
    yield from zip(at_s.tolist(), *(column.tolist() for column in columns), strict=True)


def _switched(group: Sequence[Happening], start: Floats, steps: int) -> tuple[Bools, Floats]:
    """The front contact and the factor on the level, (steps, N)."""
    closed = np.zeros((steps, len(group)), bool)
    factor = np.ones((steps, len(group)))
    for i, happening in enumerate(group):
        for door, spans in happening.closed.items():
            for a, b in spans if door not in REAR_DOORS else ():
                closed[_step(a - start[i], steps) : _step(b - start[i], steps), i] = True
        for a, b, level in happening.events:
            factor[_step(a - start[i], steps) : _step(b - start[i], steps), i] = level
    return closed, factor


def _padded(rows: Sequence[Sequence[float]]) -> Floats:
    table = np.full((len(rows), max(map(len, rows), default=0) + 1), inf)
    for i, row in enumerate(rows):
        table[i, : len(row)] = row
    return table


def _step(since_s: float, steps: int) -> int:
    return int(min(max(round(min(since_s / STEP_S, steps)), 0), steps))


def _heard(
    circuit: Circuit,
    happening: Happening,
    start_s: float,
    end_s: float,
    hertz: float,
    level: Floats,
) -> list[tuple[float, float, str]]:
    found = []
    for door in DOORS:
        spans = [(a - start_s, b - start_s) for a, b in happening.closed.get(door, ())]
        seen = pulses(circuit, 0.0, end_s - start_s, 0.0, hertz, level, spans, door in REAR_DOORS)
        found += [(start_s + fall, start_s + rise, door) for rise, fall in seen]
    return sorted(found)


def _spans(runs: Bools, start_s: float, end_s: float) -> list[Span]:
    """Stretches in which the chime ran, from its state at the end of each block."""
    block_s, at, spans = BLOCK_STEPS * STEP_S, 0, []
    for on, group in groupby(runs.tolist()):
        length = len(list(group))
        if on and start_s + at * block_s < end_s:
            spans.append((start_s + at * block_s, min(start_s + (at + length) * block_s, end_s)))
        at += length
    return spans
