"""Installations of deploy/calibration with clear faults, read into what the judge is given. `calibration/` promises their physics."""

import json
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from deploy.calibration import drawing
from deploy.calibration.faults import FINDINGS, PAIRS, inflict
from deploy.calibration.parts import KINDS
from service import pack
from service.findings.testimony import Evidence, Told, evidence
from service.supply.fitout import FitOut, read_fitout

CLEAR = 0.7
"""Severity of a fault, from 0 (just noticeable) to 1 (severe)."""

CLEAR_IN_ITS_WAY = {"leak-across-button": 0.25, "source-resistance-high": 0.55, "mains-dip": 0.35}
"""A severe leak is of as few ohms as a lamp; a source of many ohms hardly feeds the chime at all; deep dips are drawn short, and a
reservoir rides through them."""

HEALTHY = 3
LATEST_S = 9.0  # a survey is over by then
DOUBLES = (PAIRS[0], PAIRS[7])  # aged reservoir and risen source resistance; bouncing contact and aged reservoir


class Clear:
    """A generator of chance whose first number, by which `inflict` draws the severity, is given."""

    def __init__(self, draw: Any, first: float) -> None:
        self._draw, self._first = draw, [first]

    def uniform(self, *limits: float) -> float:
        return self._first.pop() if self._first else self._draw.uniform(*limits)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._draw, name)


@dataclass(frozen=True)
class Case:
    name: str
    truth: dict[str, Any]
    sheet: FitOut
    commissioning: Evidence
    now: Evidence

    @property
    def faults(self) -> set[str]:
        return set(self.truth["faults"])


def drawn(folder: Path, seed: int) -> list[Case]:
    """Each finding on a house of either kind, healthy ones, and double faults; all stepped side by side."""
    labels = (*FINDINGS, *("healthy",) * HEALTHY, *("double",) * len(DOUBLES))
    begin = drawing._begin

    def of_either_kind(_: str, number: int, seed: int) -> drawing.Case:
        """The two halves of the deck hold the same labels in two orders; each is of one kind."""
        return begin(KINDS[number // len(labels)], number, seed)

    pairs = iter(2 * DOUBLES)

    def go_wrong(case: drawing.Case) -> None:
        names = [] if case.label == "healthy" else [case.label]
        if case.label == "double":
            names = list(next(pairs))
        case.faults = [
            inflict(Clear(case.draw, CLEAR_IN_ITS_WAY.get(name, CLEAR)), name, case.house, case.now, case.then)
            for name in names
        ]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(drawing, "DECK", labels)
        patch.setattr(drawing, "_begin", of_either_kind)
        patch.setattr(drawing, "_go_wrong", go_wrong)
        drawing.draw_cases(folder, KINDS[0], 2 * len(labels), seed, latest_s=LATEST_S)
    return [read(folder, path.name.removesuffix(".truth.json")) for path in sorted(folder.glob("*.truth.json"))]


def read(folder: Path, name: str) -> Case:
    """A pack's place in time: the chime's clock, laid on the earliest arrival of its power-up."""
    lines = [json.loads(line) for line in (folder / f"{name}.jsonl").read_text().splitlines()]
    packs = [(line, pack.decode(json.dumps(line["pack"]).encode(), None, line["at"])) for line in lines]
    started: dict[int, float] = defaultdict(lambda: float("inf"))
    for line, one in packs:
        assert one.boot is not None
        assert one.up_s is not None
        started[one.boot] = min(started[one.boot], line["at"] - one.up_s)
    sides: dict[bool, list[Told]] = {True: [], False: []}
    for line, one in packs:
        side = sides[bool(line.get("commissioning"))]
        side.append(Told(one, one.boot or 0, started[one.boot or 0] + (one.up_s or 0.0)))
    sheet = read_fitout((folder / f"{name}.fitout.json").read_text())
    truth = json.loads((folder / f"{name}.truth.json").read_text())
    return Case(name, truth, sheet, evidence(sides[True]), evidence(sides[False]))
