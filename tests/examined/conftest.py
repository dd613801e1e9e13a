"""One recording examined once, and examinations made of findings that are given."""

from collections.abc import Callable

import pytest

from adapters.sql.work import SqlStore
from service import recordings
from service.examine import Examined, ExaminedChime, examine
from service.findings.advice import ADVICE
from service.findings.sides import sides_of
from service.findings.testimony import Evidence
from service.findings.verdict import EvidenceLine, Finding, Measured, Verdict
from service.intake import Understander
from service.model import Press, SetAside
from service.supply.fitout import FitOut
from tests.examined.recorded import NOW_S, SHEET, Line, aged, text_of

Given = Callable[..., Examined]


def examined(lines: list[Line], sheet: dict[str, object] | None = None) -> Examined:
    store = SqlStore("sqlite://")
    found = examine(store, recordings.read(text_of(lines).splitlines()), Understander(store), sheet)
    store.close()
    return found


@pytest.fixture(scope="session")
def of_aged() -> Examined:
    return examined(aged(), SHEET)


@pytest.fixture
def everything() -> Examined:
    """All eighteen findings at once, each with two figures of its own, at a door that tries to be markup."""
    findings = tuple(
        Finding(
            name,
            0.99 - 0.02 * number,
            HOSTILE,
            (),
            NOW_S,
            (
                EvidenceLine(
                    "reservoir_f", (1010 + number) * 1e-7, (905 + number) * 1e-7, (1105 + number) * 1e-7, 470e-6
                ),
                EvidenceLine("events", 300.0 + number),
            ),
        )
        for number, name in enumerate(ADVICE)
    )
    return given(findings, missing=("It isn't told, as <i>nothing</i> was sent.",))


def given(findings: tuple[Finding, ...] = (), missing: tuple[str, ...] = ()) -> Examined:
    """An examination that came to these findings."""
    here, _ = sides_of(Evidence(), None, FitOut())
    verdict = Verdict({"idle_a": Measured(0.0123, 0.0119, 0.0127)}, findings, frozenset(), missing)
    press = Press(1, 1, "tern-cottage", "hall", HOSTILE, NOW_S, NOW_S + 0.3, 0.01, "edges", 14, 2, True, False)
    chime = ExaminedChime("tern-cottage", "hall", verdict, here, None, FitOut(), (press,), (), ())
    hostile = f"bellcrank/1/{HOSTILE}\x1b[31m/hall/pack"
    aside = SetAside(1, NOW_S, hostile, None, None, "file", "quarantined", f"it says {HOSTILE}", 2, b"[]")
    return Examined((chime,), (), (press,), (), 3, (aside,), False, NOW_S, NOW_S + 9.0)


HOSTILE = "<script>alert(1)</script>\"'&"
