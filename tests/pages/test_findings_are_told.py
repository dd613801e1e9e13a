"""The Supply sheet says what was found, how likely it is, why, and what to check on the spot, useful without script."""

import re
from dataclasses import replace

import pytest

from dashboard import finding_list
from service.finding_ports import Commissioning, KeptSheet
from service.findings.advice import ADVICE, CAUTIONS
from service.findings.verdict import Finding
from tests.pages.conftest import Opened
from tests.pages.reading import headline, lead, words_of
from tests.pages.tern_cottage import Record, at, empty_house, usual_house, with_findings, with_supply

SUPPLY = "/house/tern-cottage/supply"


def examined(found: bool = True) -> Record:
    record = with_findings(with_supply(usual_house(), days=1.0))
    if not found:
        record.finding_list.clear()
    return record


def test_the_answer_is_the_most_likely_finding_and_the_rail_qualifies_it(opened: Opened) -> None:
    page = opened(examined()).get(SUPPLY).text
    assert headline(page) == "The reservoir capacitor has lost capacity."
    assert lead(page).startswith("Very likely, about nine in ten. The rail stands at 14.")
    assert lead(page).endswith("Two findings open, examined at 18.02.")


def test_a_finding_is_told_with_its_evidence_in_figures_and_words(opened: Opened) -> None:
    words = words_of(opened(examined()).get(SUPPLY).text)
    # 310 of 470 µF are 34 % less; 0.92 of 0.60 V are 53 % more
    assert re.search(r"Capacity of the reservoir 310 µF 300 to 320 µF 470 µF 34 % less", words)
    assert re.search(r"Ripple 920 mV|Ripple 0\.920 V 0\.900 to 0\.940 V 0\.600 V 53 % more", words)
    assert re.search(r"No\. 7 since 2.September, confirmed", words)


def test_checks_come_in_order_of_effort_with_who_can_do_them_and_the_cautions(opened: Opened) -> None:
    words = words_of(opened(examined()).get(SUPPLY).text)
    places = [words.index(check.text.replace("'", "’")) for check in ADVICE["reservoir-aged"].checks]
    assert places == sorted(places)
    assert "One minute, without a tool" in words
    assert "40 minutes, for an installer" in words
    assert all(words.count(caution.replace("'", "’")) >= 2 for caution in CAUTIONS)  # at each of the two findings


def test_a_finding_of_a_door_names_it_and_what_looks_the_same(opened: Opened) -> None:
    words = words_of(opened(examined()).get(SUPPLY).text)
    title = ADVICE["button-diode-shorted"].title.rstrip(".").replace("'", "’")
    assert f"{title}, Front Likely, about six in ten" in words
    assert re.search(r"No\. 9 since today, found once", words)
    assert any(one.what.lower() in words.lower() for one in ADVICE["button-diode-shorted"].apart)


def test_what_could_not_be_judged_is_said(opened: Opened) -> None:
    words = words_of(opened(examined()).get(SUPPLY).text)
    assert "The fit-out sheet has no dropout_v: headroom cannot be told." in words


def test_a_sound_house_says_so_as_far_as_it_was_judged(opened: Opened) -> None:
    page = opened(examined(found=False)).get(SUPPLY).text
    assert headline(page).startswith("The rail stands at 14.")
    assert lead(page).endswith("No finding is open; examined at 18.02, as far as it could be judged.")
    assert "finding-" not in page


def test_a_failed_examination_is_told_and_what_stood_still_stands(opened: Opened) -> None:
    record = examined()
    record.examination_list = [
        replace(one, trouble="ZeroDivisionError: division by zero") for one in record.examination_list
    ]
    words = words_of(opened(record).get(SUPPLY).text)
    assert "The examination at 18.02 failed (ZeroDivisionError: division by zero)." in words
    assert "The reservoir capacitor has lost capacity" in words


def test_a_chime_without_voltages_can_have_findings_too(opened: Opened) -> None:
    page = opened(with_findings(empty_house())).get(SUPPLY).text
    assert headline(page) == "The reservoir capacitor has lost capacity."
    assert "This chime has sent no supply voltage in thirty days." in words_of(page)


@pytest.mark.parametrize("name", sorted(ADVICE))
def test_every_finding_of_the_contract_can_be_shown(opened: Opened, name: str) -> None:
    record = with_findings(empty_house())
    (record.finding_list[1:], record.finding_list[0]) = (
        [],
        replace(record.finding_list[0], finding=Finding(name, 0.7, "garden")),
    )
    page = opened(record).get(SUPPLY).text
    assert headline(page) == f"{ADVICE[name].title.rstrip('.')} (Garden).".replace("'", "’")
    assert "It was seen in the presses themselves" in words_of(page)


def test_only_the_first_is_unfolded_and_each_opens_without_script(opened: Opened) -> None:
    page = opened(examined()).get(SUPPLY).text
    assert re.findall(r'<details id="finding-(\d+)"( open)?>', page) == [("7", " open"), ("9", "")]


def test_what_it_is_compared_with_is_said_or_what_its_absence_costs(opened: Opened) -> None:
    record = examined()
    assert "There is no commissioning record and no fit-out sheet" in words_of(opened(record).get(SUPPLY).text)
    when = at("12 Mar 2026 09.30")
    record.commissioning_list.append(Commissioning(1, when, when - 900, when, 9, "Ann"))
    record.sheet_list.append(KeptSheet(at("24 Nov 2026 08.00"), "Ann", {}))
    assert re.search(
        r"compared with the commissioning record of 12.March and the fit-out sheet of yesterday\.",
        words_of(opened(record).get(SUPPLY).text),
    )


def test_the_newest_survey_can_be_taken_as_the_commissioning_record(opened: Opened) -> None:
    record = examined()
    client = opened(record)
    (action,) = re.findall(r'action="([^"]*commissioning)"', client.get(SUPPLY).text)
    assert client.post(action, headers={"sec-fetch-site": "cross-site"}).status_code == 400
    assert record.commissioning_list == []
    answer = client.post(action, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, SUPPLY)
    assert "the commissioning record of today" in words_of(client.get(SUPPLY).text)


def test_a_likelihood_never_claims_certainty() -> None:
    assert finding_list.likely(1.0) == "Almost certain, 99 in a hundred"
    assert finding_list.likely(0.0) == "Possible, about one in ten"


def test_the_earliest_evidence_is_told_by_day(opened: Opened) -> None:
    record = examined()
    old = replace(record.finding_list[0].finding, since_s=at("2 Sep 2025 03.31"))
    record.finding_list[0] = replace(record.finding_list[0], finding=old)
    assert re.search(r"since 2.September 2025", words_of(opened(record).get(SUPPLY).text))
