"""Draws invented installations: a deck of labels, the houses, a trial of each, the two surveys, and the files."""

import json
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from deploy.calibration import chime, packing, truth
from deploy.calibration.circuit import KNOT_S, STEP_S, Bench, Change, Run, open_circuit_v
from deploy.calibration.conduction import Array
from deploy.calibration.faults import FINDINGS, PAIRS, Fault, inflict, suits
from deploy.calibration.houses import draw_house, draw_sheet, half_a_year_later
from deploy.calibration.parts import Circuit, Draw, House
from deploy.calibration.timetable import Habits, Timetable, draw_timetable

DECK = ("healthy",) * 8 + ("double",) * 2 + FINDINGS
LATEST_S = 12.0  # a survey is over by then
GROUP = 300  # installations stepped side by side
TRIAL_S = 0.9
SETTLE_S = 1.2


@dataclass(slots=True)
class Case:
    """One installation on its way."""

    number: int
    draw: Draw
    label: str
    house: House
    then: Circuit
    now: Circuit
    faults: list[Fault] = field(default_factory=list)


def draw_cases(
    folder: Path, kind: str, count: int, seed: int, level: str = "bursts", jobs: int = 1, latest_s: float = LATEST_S
) -> None:
    """Write NNNN.jsonl, NNNN.fitout.json and NNNN.truth.json for each."""
    folder.mkdir(parents=True, exist_ok=True)
    groups = [range(first, min(first + GROUP, count)) for first in range(0, count, GROUP)]
    if jobs == 1:
        for group in groups:
            _draw_group(folder, kind, group, seed, level, latest_s)
        return
    with ProcessPoolExecutor(jobs) as pool:
        for done in [pool.submit(_draw_group, folder, kind, group, seed, level, latest_s) for group in groups]:
            done.result()


def _draw_group(folder: Path, kind: str, numbers: range, seed: int, level: str, latest_s: float) -> None:
    cases = [_begin(kind, number, seed) for number in numbers]
    _make_sound_sustainable(cases)
    for case in cases:
        draw_sheet(case.draw, case.house, case.then)
        case.now = half_a_year_later(case.draw, case.house, case.then)
        _go_wrong(case)
    _drop_out([case for case in cases if any(f.name == "regulator-drops-out" for f in case.faults)])
    columns = [(case.house, circuit) for case in cases for circuit in (case.then, case.now)]
    tables = []
    for k, case in enumerate(cases):
        tables.append(draw_timetable(case.draw, case.house, case.then, Habits(), 2 * k, latest_s))
        tables.append(draw_timetable(case.draw, case.house, case.now, _habits(case.faults), 2 * k + 1, latest_s))
    end_s = max(table.end_s for table in tables) + 0.01
    bench = Bench(columns, *_mains(cases, end_s))
    bench.settle(SETTLE_S)
    run = bench.run([change for table in tables for change in table.changes], end_s)
    volts = open_circuit_v(columns)
    for k, case in enumerate(cases):
        _write(folder, case, level, run, tables[2 * k : 2 * k + 2], volts[2 * k : 2 * k + 2], 2 * k)


def _begin(kind: str, number: int, seed: int) -> Case:
    deck = np.random.default_rng([seed, 0, number // len(DECK)]).permutation(len(DECK))
    draw = np.random.default_rng([seed, 1, number])
    label = DECK[deck[number % len(DECK)]]
    house, then = draw_house(draw, kind)
    while not suits(label, house, then):
        house, then = draw_house(draw, kind)
    return Case(number, draw, label, house, then, then)


def _go_wrong(case: Case) -> None:
    names = [] if case.label == "healthy" else [case.label]
    if case.label == "double":
        names = list(PAIRS[case.draw.integers(len(PAIRS))])
    case.faults = [inflict(case.draw, name, case.house, case.now, case.then) for name in names]


def _habits(faults: list[Fault]) -> Habits:
    merged = Habits()
    for fault in faults:
        h = fault.habits
        merged = Habits(merged.opens | h.opens, merged.chatter | h.chatter, merged.mains + h.mains)
    return merged


def lowest_rail(columns: list[tuple[House, Circuit]], load: str) -> Array:
    """Rail minimum [V] of each, once the load (`idle`, `sound`) is steady, the regulator never letting go."""
    held = [(replace(house, off_v=-1.0, on_v=-1.0), circuit) for house, circuit in columns]
    bench = Bench(held, np.zeros(len(held)), np.zeros((2, len(held))))
    changes = [Change(0.0, j, "demand", getattr(c, load)) for j, (_, c) in enumerate(columns)]
    if load == "sound":
        changes += [Change(0.0, j, "share", h.sound_share) for j, (h, _) in enumerate(columns)]
    kept = bench.run(changes, TRIAL_S).rail
    lowest: Array = kept[-round(0.25 / STEP_S / 2) : -1].min(axis=0).astype(float)
    return lowest


def _make_sound_sustainable(cases: list[Case]) -> None:
    """Nobody commissions a chime whose regulator drops out: less sound, or a regulator that needs less."""
    weak = cases
    for attempt in range(12):
        trial = [(case.house, replace(case.then, level=case.then.level * 0.95)) for case in weak]
        low = lowest_rail(trial, "sound")
        short = [
            (case, float(volts))
            for case, volts in zip(weak, low, strict=True)
            if volts < max(case.house.dropout_v, case.house.on_v) + (0.6 if case.house.muted else 1.3)
        ]
        if not short:
            return
        for case, volts in short:
            draws_a = case.then.sound / (1.0 if case.house.linear else case.house.rated_rail_v)
            if draws_a > max(0.06, 4.0 * case.then.idle) and attempt < 5:
                case.then.sound *= 0.75
            elif volts > 5.5 and case.house.dropout_v > 4.7:
                lower = max(volts - 1.1, 4.6) - max(case.house.dropout_v, case.house.on_v)
                lower = min(round(lower, 2), 0.0)
                case.house.dropout_v = round(case.house.dropout_v + lower, 2)
                case.house.off_v += lower
                case.house.on_v += lower
            else:
                case.then.sound, case.then.transformer_ohm = case.then.sound * 0.85, case.then.transformer_ohm * 0.5
        weak = [case for case, _ in short]


def _drop_out(cases: list[Case]) -> None:
    """A louder sound (and in a retrofit a softer, weaker transformer) until the rail falls short while sounding by as much as
    was meant. The chime may turn out to be one whose regulator needs more than was drawn, if it was well at commissioning."""
    if not cases:
        return
    steps = np.linspace(0.05, 2.5, 30)
    columns = [(case.house, _strained(case, float(step))) for case in cases for step in steps]
    low = lowest_rail(columns, "sound").reshape(len(cases), len(steps))
    silent = lowest_rail(columns, "idle").reshape(low.shape)
    before = lowest_rail([(c.house, replace(c.then, level=c.then.level * 0.96)) for c in cases], "sound")
    for case, volts, idle_v, then_v in zip(cases, low, silent, before, strict=True):
        house, fault = case.house, next(f for f in case.faults if f.name == "regulator-drops-out")
        needs = volts + fault.notes["below_dropout_v"]
        margin = max(house.on_v - house.dropout_v, 0.0) + (0.5 if house.muted else 1.0)
        possible = (needs > 4.6) & (needs < 8.8) & (needs < then_v - margin) & (needs < idle_v - margin)
        cost = np.abs(needs - house.dropout_v) + 2.0 * np.maximum(steps - 1.0, 0.0) + 100.0 * ~possible
        enough = volts < house.dropout_v - 0.03  # constant power has no in-between: the first step that is too much
        best = int(np.argmin(cost)) if possible.any() else int(np.argmax(enough)) if enough.any() else len(steps) - 1
        case.now = _strained(case, float(steps[best]))
        fault.notes["strain"] = float(steps[best])
        if possible[best]:
            more = round(float(needs[best]), 2) - house.dropout_v
            house.dropout_v, house.off_v, house.on_v = house.dropout_v + more, house.off_v + more, house.on_v + more
            house.sheet["dropout_v"] = house.dropout_v = round(house.dropout_v, 2)


def _strained(case: Case, step: float) -> Circuit:
    """The later circuit, `step` times as far gone as is usual."""
    now = case.now
    if case.house.kind == "current":
        return replace(now, sound=now.sound * (1.0 + 2.0 * step))
    ohm = now.transformer_ohm * (1.0 + 1.3 * step)
    return replace(
        now, sound=now.sound * (1.0 + 0.35 * step), transformer_ohm=ohm, emf_v=now.emf_v * (1.0 - 0.04 * step)
    )


def _mains(cases: list[Case], end_s: float) -> tuple[Array, Array]:
    """Phases at the start, and the slow wander of the level (first order, from knot to knot)."""
    knots = int(end_s / KNOT_S) + 3
    phases, wander = [], []
    for case in cases:
        for circuit in (case.then, case.now):
            phases.append(case.draw.uniform(0, 2 * np.pi))
            series, value = [], case.draw.normal(0, circuit.wander)
            for _ in range(knots):
                value = 0.8 * value + case.draw.normal(0, 0.6 * circuit.wander)
                series.append(value)
            wander.append(series)
    return np.array(phases), np.array(wander).T.copy()


def _write(folder: Path, case: Case, level: str, run: Run, tables: list[Timetable], volts: Array, column: int) -> None:
    house, draw = case.house, case.draw
    bases = [1.7e9 + float(draw.uniform(0, 3e7))]
    bases.append(bases[0] + float(draw.uniform(100, 260)) * 86400.0)
    bases = [round(base, 3) for base in bases]
    latency_s = round(float(draw.uniform(0.02, 0.06)), 3)
    seen, lines = [], []
    for later, circuit in ((False, case.then), (True, case.now)):
        k = int(later)
        told = chime.tell(draw, house, tables[k], run, column + k, later)
        seen.append(truth.Seen(house, circuit, tables[k], run, column + k, told, float(volts[k])))
        lines += packing.recording(draw, house, told, level, bases[k], 100 * k + 1, latency_s, not later)
    said = truth.truth(house, case.faults, *seen) | {"bases_s": bases, "latency_s": latency_s, "level": level}
    name = f"{case.number:04d}"
    (folder / f"{name}.jsonl").write_text("".join(json.dumps(line) + "\n" for line in lines))
    (folder / f"{name}.fitout.json").write_text(json.dumps(house.sheet))
    (folder / f"{name}.truth.json").write_text(json.dumps(said, default=lambda number: number.item()))
