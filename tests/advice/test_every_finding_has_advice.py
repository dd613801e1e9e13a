"""Promise: whatever is found, a person is told what it means, what to do in order of effort, and what to beware of."""

import re

import pytest

from service.findings.advice import ADVICE, CAUTIONS, Advice

# The contract's own list ("What examining a recording answers").
FINDINGS = [
    "button-diode-open",
    "button-diode-reversed",
    "button-diode-shorted",
    "contact-stuck",
    "lamp-in-button",
    "leak-across-button",
    "detector-dead",
    "contact-resistance",
    "contact-drops-out",
    "contact-bounce",
    "reservoir-aged",
    "source-resistance-high",
    "mains-low",
    "mains-dip",
    "mains-swell",
    "wrong-transformer",
    "load-high",
    "regulator-drops-out",
]
EFFORT = ["householder", "installer", "electrician"]

# Pairs nothing remote can separate; each side must name the other and the check that does.
PAIRS = [
    ("button-diode-shorted", "contact-stuck", "unhook"),
    ("lamp-in-button", "leak-across-button", "lamp|glow"),
]
ALONE = [
    ("source-resistance-high", "corroded joint", "section"),
    ("source-resistance-high", "too small", "with and without load"),
    ("source-resistance-high", "long or thin wire", "spread evenly"),
    ("mains-low", "transformer for a lower voltage", "licensed electrician.*input"),
    ("detector-dead", "needs more current", "series resistor"),
]


def words(advice: Advice) -> str:
    return " ".join(
        [advice.title, advice.meaning, advice.on_site, advice.caution]
        + [f"{apart.what}. {apart.check}" for apart in advice.apart]
    )


def test_all_eighteen_findings_and_no_other() -> None:
    assert list(ADVICE) != []
    assert sorted(ADVICE) == sorted(FINDINGS)
    assert all(advice.name == name for name, advice in ADVICE.items())


@pytest.mark.parametrize("name", FINDINGS)
def test_title_and_meaning_are_a_sentence_each(name: str) -> None:
    for sentence in (ADVICE[name].title, ADVICE[name].meaning):
        assert re.fullmatch(r"[A-Z][^.!?]*\.", sentence), sentence
    assert len(ADVICE[name].title) < 75


@pytest.mark.parametrize("name", FINDINGS)
def test_checks_come_in_order_of_who_can_do_them_and_begin_with_what_anybody_can(name: str) -> None:
    order = [EFFORT.index(check.who) for check in ADVICE[name].checks]
    assert order == sorted(order)
    assert order[0] == 0
    assert all(
        check.minutes > 0 and check.do.endswith(".") and check.expect.endswith(".") for check in ADVICE[name].checks
    )


@pytest.mark.parametrize("name", FINDINGS)
def test_all_four_cautions_stand_beside_every_advice(name: str) -> None:
    caution = ADVICE[name].caution
    assert all(sentence in caution for sentence in CAUTIONS)
    for needed in (
        "licensed electrician",
        "Switch the transformer's circuit off",
        "stays charged",
        "no alarm, no emergency call",
    ):
        assert needed in caution


@pytest.mark.parametrize("name", FINDINGS)
def test_what_touches_the_mains_is_left_to_a_licensed_electrician(name: str) -> None:
    mains_side = re.compile(
        r"distribution board|transformer's input|the mains at|supply conductor|neutral conductor|change the transformer|input beside"
    )
    for check in ADVICE[name].checks:
        if check.who == "electrician":
            assert check.text.startswith("For a licensed electrician, under the local code: ")
        else:
            harmless = check.text.replace("a larger transformer is a licensed electrician's work", "")
            harmless = re.sub(r"If some lights[^.]*\.", "", harmless)  # a warning, not a thing to do
            assert not mains_side.search(harmless), check.text
    for apart in ADVICE[name].apart:
        if mains_side.search(apart.check):
            assert "licensed electrician" in apart.check


@pytest.mark.parametrize("name", FINDINGS)
def test_work_on_wiring_begins_with_the_circuit_off_or_only_measures(name: str) -> None:
    for check in ADVICE[name].checks:
        if check.who == "installer" and re.search(
            r"\b(take one wire|take both wires|open the button|renew the button)", check.do
        ):
            assert re.search(r"[Cc]ircuit off", check.do), check.do


@pytest.mark.parametrize("name", FINDINGS)
def test_no_abbreviation_is_left_unexplained(name: str) -> None:
    # Symbols of units are no abbreviations: V, kΩ, MΩ, Ω, %, °C.
    plain = re.sub(r"\d[\d.]*\s(?:V|kΩ|MΩ|Ω|%|°C)|\bkΩ\b", "", words(ADVICE[name]))
    assert re.findall(r"\b[A-Z]{2,}\b", plain) == []
    jargon = r"\b(ESR|LED|RMS|rms|p-p|opto\w*|SELV|PSU|e\.g|i\.e|etc|d\.c|a\.c|secondary|primary|ADC)\b"
    assert re.findall(jargon, plain) == []
    assert "!" not in plain


@pytest.mark.parametrize(("one", "other", "check"), PAIRS)
def test_pairs_that_look_alike_from_afar_name_each_other_and_the_check(one: str, other: str, check: str) -> None:
    for name, looks_like in ((one, other), (other, one)):
        (apart,) = [apart for apart in ADVICE[name].apart if apart.finding == looks_like]
        assert re.search(check, apart.check.lower())


@pytest.mark.parametrize(("name", "what", "check"), ALONE)
def test_what_is_no_finding_of_its_own_is_named_with_its_check(name: str, what: str, check: str) -> None:
    (apart,) = [apart for apart in ADVICE[name].apart if what in apart.what]
    assert re.search(check, apart.check)


@pytest.mark.parametrize("name", FINDINGS)
def test_what_is_named_as_alike_is_a_finding_of_the_contract(name: str) -> None:
    assert {apart.finding for apart in ADVICE[name].apart} <= {None, *FINDINGS} - {name}
    assert ADVICE[name].apart
    assert ADVICE[name].rests_on


def test_a_transformer_that_is_too_strong_is_urgent() -> None:
    assert ADVICE["wrong-transformer"].cautions[0].startswith("Do not leave the chime on this supply")


def test_a_loose_supply_conductor_is_warned_of_wherever_the_mains_jumps() -> None:
    for name in ("mains-dip", "mains-swell"):
        assert "have it seen to at once" in ADVICE[name].cautions[0]
