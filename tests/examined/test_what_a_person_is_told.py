"""Promise: text and page have every finding with its likelihood, its evidence in figures, its checks in order, and its caution."""

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from dashboard import examined, examined_chime, examined_text, finding_list, quantities, words
from service.examine import Examined
from service.findings.advice import ADVICE
from tests.examined.conftest import HOSTILE, given
from tests.examined.recorded import AGED_F, HEALTHY_F, NOW_S, PRESSED_S
from tests.pages.reading import words_of
from tests.pages.test_the_outlook_is_told import DRIFTING

ZONE = "Europe/London"


def flat(told: str) -> str:
    """Without line ends and the blanks of print: they differ between text and page."""
    return " ".join(told.replace(words.THIN, " ").replace(words.KEPT, " ").split())


def both(found: Examined) -> list[str]:
    return [
        flat(examined_text.text(found, ZONE)),
        flat(words_of(examined.page(found, "tern-cottage.jsonl", ZONE))),
    ]


def test_every_finding_is_told_with_its_likelihood_evidence_checks_and_caution(everything: Examined) -> None:
    assert len(everything.findings) == len(ADVICE) == 18  # the contract's
    for told in both(everything):
        for _, finding in everything.findings:
            advice = ADVICE[finding.name]
            assert flat(advice.title.rstrip(".").replace("'", "’")) in told
            assert finding_list.likely(finding.likelihood) in told
            assert f"({min(finding.likelihood, 0.999):.3g})" in told
            assert flat(advice.meaning.replace("'", "’")) in told
            assert flat(advice.caution.replace("'", "’")) in told
            places = [told.index(flat(check.text.replace("'", "’"))) for check in advice.checks]
            first = told.index(flat(advice.title.rstrip(".").replace("'", "’")))
            after = [told.index(flat(check.text.replace("'", "’")), first) for check in advice.checks]
            assert len(places) == len(advice.checks)
            assert after == sorted(after)
            for apart in advice.apart:
                assert flat(apart.check.replace("'", "’")) in told
            for line in finding.evidence:
                assert flat(quantities.figure(line.quantity, line.value)) in told
                assert flat(quantities.between(line.quantity, line.low, line.high)) in told


def test_what_could_not_be_told_and_what_was_set_aside_is_said(everything: Examined) -> None:
    for told in both(everything):
        assert "It isn’t told, as" in told
        assert "let go twice, bounced" in told
        assert "alert(1)" in told
        assert "11.9 to 12.7 mA" in told


def test_without_a_finding_the_cautions_stand_all_the_same() -> None:
    for told in both(given()):
        assert "Nothing was found." in told
        assert "licensed electrician" in told
        assert "no medical aid" in told


def test_the_text_steers_no_terminal(everything: Examined) -> None:
    text = examined_text.text(everything, ZONE)
    assert "\x1b" not in text
    assert all(len(line) < 220 for line in text.splitlines())
    assert HOSTILE in flat(text)  # as it is: a terminal knows no markup


def test_times_of_day_are_of_the_zone_that_was_asked_for() -> None:
    # 1 789 380 000 is 14 September 2026, 10.00 UTC (date -u), and London keeps summer time then
    assert examined_chime.moment(NOW_S, ZoneInfo("UTC")).startswith("10.00.00 on 14")
    assert examined_chime.moment(NOW_S, ZoneInfo(ZONE)).startswith("11.00.00 on 14")


def test_an_aged_reservoir_is_found_and_told(of_aged: Examined) -> None:
    (chime, finding), *_ = of_aged.findings
    assert finding.name == "reservoir-aged"
    line = next(line for line in finding.evidence if line.quantity == "reservoir_f")
    assert line.value == pytest.approx(AGED_F, rel=0.08)  # what the recording was made with
    assert line.expected == pytest.approx(HEALTHY_F, rel=0.08)
    for told in both(of_aged):
        assert "The reservoir capacitor has lost capacity. Almost certain" in told
        assert flat(quantities.between("reservoir_f", line.low, line.high)) in told
        assert "at commissioning" in told
        assert "the test load was on for 0.8 s" in told
        assert "No burst" not in told
    (press,) = [press for press in chime.presses if press.start_s > NOW_S]
    assert press.start_s == pytest.approx(NOW_S + PRESSED_S[0], abs=0.2)


def test_the_outlook_of_weeks_is_told_and_without_one_nothing_is_said_of_it(of_aged: Examined) -> None:
    assert all("The outlook" not in told for told in both(of_aged))
    chimes = tuple(replace(chime, outlooks=(DRIFTING,)) for chime in of_aged.chimes)
    for told in both(replace(of_aged, chimes=chimes)):
        assert "The outlook" in told
        assert "Reservoir: loses 4.1 % a year (3.0 to 5.2 %); reaches its limit of 880 µF" in told
