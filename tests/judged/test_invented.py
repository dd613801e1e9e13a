"""Promise: each finding of the contract is named first on installations with a clear fault; healthy ones are left in peace.

The circuits are stepped in time by deploy/calibration, which shares no code with the service; each finding stands on a house of either
kind: linear regulator and clean converter, or a retrofit. Clear faults only; how the judge does on slight ones, calibration tells.
"""

from dataclasses import replace

import numpy as np
import pytest

from deploy.calibration.faults import FINDINGS
from service.findings.judge import judge
from service.findings.testimony import evidence
from service.findings.verdict import Verdict
from service.supply.fitout import FitOut
from tests.judged.invented import Case

ONE_CIRCUIT = {"contact-stuck", "button-diode-shorted"}
"""Nothing remote tells these apart: either comes first and names the other."""

LOOKALIKE = {"lamp-in-button", "leak-across-button"}
"""Between 2 and 5 kohm either may be (common practice, no source): the right one comes first or beside the first."""

Verdicts = dict[str, Verdict]


def named_first(fault: str, verdict: Verdict) -> bool:
    if not verdict.findings:
        return False
    first = verdict.findings[0]
    alike = next((pair for pair in (ONE_CIRCUIT, LOOKALIKE) if fault in pair), set())
    return first.name == fault or (first.name in alike and fault in first.also_possible)


def test_the_contract_has_eighteen_findings() -> None:
    assert len(set(FINDINGS)) == 18


@pytest.mark.parametrize("fault", FINDINGS)
def test_each_finding_is_named_first(fault: str, cases: list[Case], verdicts: Verdicts) -> None:
    """On one house of the two at the least: what hides it in the other is the next test's to bound."""
    with_it = [case for case in cases if case.truth["label"] == fault]
    assert len(with_it) == 2
    said = {case.truth["kind"]: [f.name for f in verdicts[case.name].findings] for case in with_it}
    assert any(named_first(fault, verdicts[case.name]) for case in with_it), said


def test_four_of_five_are_named_first(cases: list[Case], verdicts: Verdicts) -> None:
    """Of those that left a trace. A simple set of rules reached 84 % on retrofits (design notes): the floor."""
    seen = [case for case in cases if len(case.faults) == 1 and all(case.truth["observable"].values())]
    assert len(seen) >= 30
    missed = [case.truth["label"] for case in seen if not named_first(*case.faults, verdicts[case.name])]
    assert len(missed) <= 0.2 * len(seen), missed


def test_the_door_is_the_right_one(cases: list[Case], verdicts: Verdicts) -> None:
    wrong = [
        case.name
        for case in cases
        if case.truth["door"] and len(case.faults) == 1 and named_first(*case.faults, verdicts[case.name])
        if verdicts[case.name].findings[0].door not in (None, case.truth["door"])
    ]
    assert wrong == []


def test_healthy_installations_give_no_finding(cases: list[Case], verdicts: Verdicts) -> None:
    healthy = [case for case in cases if not case.faults]
    assert len(healthy) == 6
    assert {c.name: [f.name for f in verdicts[c.name].findings] for c in healthy if verdicts[c.name].findings} == {}


def test_two_faults_are_both_named(cases: list[Case], verdicts: Verdicts) -> None:
    """Four houses with two faults: at least one is named first in each, and both in three of them."""
    double = [case for case in cases if len(case.faults) == 2]
    assert len(double) == 4
    names = [[f.name for f in verdicts[case.name].findings] for case in double]
    assert all(said and said[0] in case.faults for said, case in zip(names, double, strict=True)), names
    assert sum(case.faults <= set(said) for said, case in zip(names, double, strict=True)) >= 3, names


def test_a_healthy_installation_without_commissioning_record_is_left_in_peace(cases: list[Case]) -> None:
    for case in cases:
        if not case.faults:
            verdict = judge(case.now, None, case.sheet)
            assert verdict.findings == (), case.name
            assert any("commissioning" in said for said in verdict.missing)


@pytest.mark.parametrize("fault", ["reservoir-aged", "wrong-transformer", "button-diode-reversed", "contact-bounce"])
def test_a_strong_fault_is_found_against_the_sheet_alone(fault: str, cases: list[Case]) -> None:
    with_it = [case for case in cases if case.truth["label"] == fault]
    assert any(named_first(fault, judge(case.now, None, case.sheet)) for case in with_it)


def test_without_a_sheet_nothing_falls_over(cases: list[Case]) -> None:
    for case in cases[::9]:
        for verdict in (judge(case.now, None, FitOut()), judge(case.now, case.commissioning, FitOut())):
            assert all(0.0 < finding.likelihood <= 1.0 for finding in verdict.findings)
            assert "headroom_v" not in verdict.quantities  # it needs the sheet's drop-out voltage
        if not case.faults:
            assert verdict.findings == ()


def test_what_cannot_be_told_is_said(cases: list[Case]) -> None:
    assert judge(evidence([]), None, FitOut()).findings == ()
    assert judge(evidence([]), None, FitOut()).missing
    silent = replace(cases[0].now, surveys=(), windows=())
    verdict = judge(silent, None, cases[0].sheet)
    assert "reservoir_f" not in verdict.quantities
    assert verdict.missing


QUANTITIES = ("mains_hz", "reservoir_f", "source_ohm", "open_circuit_v", "idle_a", "sound_a")


def test_quantities_of_healthy_houses_lie_in_their_intervals(cases: list[Case], verdicts: Verdicts) -> None:
    """The interval is meant to hold nine times in ten; of 36 at least 28 must (the binomial's 1 % point is 27)."""
    held = []
    for case in cases:
        for name in QUANTITIES if not case.faults else ():
            measured, true = verdicts[case.name].quantities[name], case.truth["now"][name]
            held.append(measured.low <= true <= measured.high)
            assert measured.low <= measured.value <= measured.high
    assert len(held) == 36
    assert np.sum(held) >= 28
