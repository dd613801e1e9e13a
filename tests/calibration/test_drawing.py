"""A draw of invented installations is a set of good recordings with their truth, and the scorer counts what it says it counts."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from deploy.calibration import drawing, packing, scoring
from deploy.calibration.faults import FINDINGS
from service import commands
from service.supply.fitout import read_fitout

COUNT = 2


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("drawn")
    drawing.draw_cases(path, "retrofit", COUNT, seed=7, latest_s=4.5)
    return path


def truths(folder: Path) -> list[dict[str, Any]]:
    return [json.loads(path.read_text()) for path in sorted(folder.glob("*.truth.json"))]


def test_the_recordings_are_read_whole_and_nothing_is_set_aside(folder: Path) -> None:
    for number in range(COUNT):
        answer = commands.examine(folder / f"{number:04d}.jsonl", folder / f"{number:04d}.fitout.json")
        assert answer["packs"]["read"] > 6
        assert answer["packs"]["set_aside"] == []


def test_the_sheets_are_sheets_of_the_contract(folder: Path) -> None:
    for path in folder.glob("*.fitout.json"):
        assert read_fitout(path.read_text()).unknown == ()


def test_nobody_commissions_a_chime_whose_regulator_drops_out(folder: Path) -> None:
    for truth in truths(folder):
        assert truth["then"]["dropout"] == []


def test_currents_in_the_truth_are_those_of_the_sheet_within_its_tolerance(folder: Path) -> None:
    for number, truth in enumerate(truths(folder)):
        if truth["chime"]["regulator"] == "linear" and truth["chime"]["muted"]:
            sheet = json.loads((folder / f"{number:04d}.fitout.json").read_text())
            assert truth["then"]["idle_a"] == pytest.approx(sheet["idle_a"], rel=0.15)


def test_every_finding_is_dealt_once_in_each_deck_and_a_good_quarter_is_healthy() -> None:
    assert set(drawing.DECK) == {*FINDINGS, "healthy", "double"}
    assert drawing.DECK.count("healthy") / len(drawing.DECK) > 0.25
    assert len(FINDINGS) == 18  # the names of the contract


def test_a_burst_told_in_four_numbers_keeps_its_ripple_and_its_fall() -> None:
    """A sawtooth of 2 ms charge and 18 ms discharge by 3.6 codes: max, min, mean and slope are known in closed form."""
    t = np.arange(408) / 2000.0
    phase = t % 0.02
    saw = np.where(phase < 0.002, 996.4 + 1800.0 * phase, 1000.0 - 200.0 * (phase - 0.002))
    figures = packing.four_figures(np.rint(saw * 10).astype(np.int16), 2000.0, 50.0)
    assert figures["max"] == pytest.approx(10000, abs=1)
    assert figures["min"] == pytest.approx(9964, abs=3)
    assert figures["mean"] == pytest.approx(9982, abs=1)
    assert figures["fall"] == pytest.approx(2000, rel=0.03)


def answer(name: str | None, likelihood: float = 0.9, **quantities: float) -> dict[str, Any]:
    findings = [] if name is None else [{"name": name, "likelihood": likelihood, "also_possible": []}]
    figures = {key: {"value": value, "low": value * 0.9, "high": value * 1.1} for key, value in quantities.items()}
    return {"findings": findings, "quantities": figures}


def truth_of(*faults: str) -> dict[str, Any]:
    survey = {
        "presses": [],
        "dropout": [],
        "source_ohm": 4.0,
        "reservoir_f": 1e-3,
        "open_circuit_v": 18.0,
        "idle_a": 0.01,
    }
    return {
        "label": faults[0] if faults else "healthy", "faults": list(faults), "observable": dict.fromkeys(faults, True), "severity": {},
        "ambiguous_with": [], "door": None, "then": survey, "now": {**survey, "sound_a": 0.1, "mains_hz": 50.0}, "bases_s": [0.0, 1e6],
        "latency_s": 0.0, "chime": {"garden": False},
    }  # fmt: skip


def test_the_scorer_counts_right_wrong_false_and_extra() -> None:
    tally = scoring.Tally()
    tally.add("0", truth_of(), answer(None), "")
    tally.add("1", truth_of(), answer("mains-low"), "")
    tally.add("2", truth_of("contact-stuck"), answer("button-diode-shorted"), "")  # one circuit, two names
    tally.add("3", truth_of("reservoir-aged"), answer("reservoir-aged", reservoir_f=1.05e-3), "")
    tally.add("4", truth_of("reservoir-aged"), None, "it fell over")
    figures = tally.figures(wrong=True)
    assert figures["n"] == 5
    assert figures["top1"] == 0.6
    assert figures["false_on_healthy"] == "1/2"
    assert figures["crashes"] == 1
    assert figures["extra_findings_per_case"] == 0.2
    assert figures["quantities"]["reservoir_f"] == {
        "n": 4, "given": 1, "bias_pct": 5.0, "p50_pct": 5.0, "p95_pct": 5.0, "interval_holds": 1.0,
    }  # fmt: skip
    assert [mistake["case"] for mistake in figures["wrong"]] == ["1", "4"]


def test_likelihoods_stated_are_compared_with_the_share_that_was_right() -> None:
    tally = scoring.Tally()
    for number in range(4):
        tally.add(str(number), truth_of("mains-low"), answer("mains-low" if number else "load-high", 0.75), "")
    assert tally.figures(wrong=False)["likelihoods"] == [{"from": 0.7, "n": 4, "stated": 0.75, "right": 0.75}]


def test_a_draw_is_scored_by_what_examining_its_recordings_answers(folder: Path) -> None:
    figures = scoring.score(folder, 1)
    assert figures["n"] == COUNT
    assert figures["crashes"] == 0
    assert figures["packs_set_aside"] == 0
    assert figures["quantities"]["reservoir_f"]["given"] >= 1
