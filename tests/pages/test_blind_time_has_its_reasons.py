"""Blind time is told with its share and its reasons, doors that were not heard yet are hatched, the shortest sure press stands beside.

Shares are worked out by hand in the comments.
"""

import re

from service import model
from service.finding_ports import QuantityPoint
from service.findings.verdict import Measured
from tests.pages.conftest import Opened
from tests.pages.lists import CHIME, SITE, at
from tests.pages.reading import words_of
from tests.pages.tern_cottage import Record, empty_house, usual_house


def test_one_reason_is_told_with_the_share(opened: Opened) -> None:
    # 1 h 52 min and 1 h 10 min are 182 of 9740 min, or one in 53.5
    said = words_of(opened(usual_house()).get("/").text)
    assert "Blind time 3 h 2 min of 162 h 20 min, about one hour in 54, because the chime was without power." in said


def test_several_reasons_are_told_each_with_its_time_the_longest_first(opened: Opened) -> None:
    record = usual_house()
    record.blind_list.append(
        model.BlindSpell(SITE, CHIME, at("23 Nov 2026 04.00"), at("23 Nov 2026 10.00"), "service down")
    )
    # 542 of 9740 min, or one in 18
    assert (
        "9 h 2 min of 162 h 20 min, about one hour in eighteen: for 6 h Bellcrank was not running "
        "and for 3 h 2 min the chime was without power."
    ) in words_of(opened(record).get("/").text)


def test_no_blind_time_is_said(opened: Opened) -> None:
    assert "Blind time No blind time." in words_of(opened(empty_house()).get("/").text)


def late_garden() -> Record:
    record = usual_house()
    record.blind_list.append(
        model.BlindSpell(SITE, CHIME, at("12 Mar 2026 09.00"), at("25 Nov 2026 08.30"), "door not fitted yet", "garden")
    )
    return record


def test_a_door_that_was_not_heard_yet_is_hatched_alone_and_told(opened: Opened) -> None:
    client = opened(late_garden())
    page = client.get("/").text
    said = words_of(page)
    assert "00.00 to 08.30 Garden Nothing had been heard of this door yet" in said
    assert "Tuesday 24 November : four visits, Garden not heard yet." in said
    assert "Garden first heard at 08.30." in said
    assert "The chime was watched for" in said  # and not both doors
    rows = re.findall(r'<svg class="drawing across row".*?</svg>\s*<span', page, re.S)
    assert len(rows) == 6
    assert all(row.count("<rect") - row.count("stroke open") >= 1 for row in rows)


def test_the_sheet_of_a_day_tells_its_own_share(opened: Opened) -> None:
    # 70 of 1440 min, or one in 20.6
    said = words_of(opened(usual_house()).get("/house/tern-cottage/day/2026-11-22").text)
    assert "1 h 10 min of 24 h, about one hour in 21, because the chime was without power." in said


def test_the_shortest_sure_press_stands_beside_the_log(opened: Opened) -> None:
    record = usual_house()
    for day, value in ((20, 0.031), (24, 0.022)):
        record.quantity_list.append(
            QuantityPoint("shortest_sure_press_s", at(f"{day} Nov 2026 17.30"), Measured(value, 0.02, 0.026))
        )
    assert (
        "Shortest press 22 ms at this installation, very likely 20 ms to 26 ms. A shorter press may leave no stroke."
    ) in words_of(opened(record).get("/").text)


def test_where_it_is_not_known_that_is_said(opened: Opened) -> None:
    assert "Not known yet for this installation: no survey has told how short a press it still sees." in words_of(
        opened(usual_house()).get("/").text
    )
