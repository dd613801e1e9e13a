"""The Doorstep answers who rang since one last looked, says what qualifies the answer, and leaves nothing out.

Words are those of the project's own design; the days around a change of clocks are those of the IANA time zone database.
"""

import re
from dataclasses import replace

from tests.pages.conftest import Opened
from tests.pages.reading import headline, lead, words_of
from tests.pages.tern_cottage import NOW_S, at, empty_house, health, usual_house


def test_the_headline_counts_visits_since_the_last_look_in_words(opened: Opened) -> None:
    page = opened(usual_house()).get("/").text
    assert headline(page) == "Two visits since you last looked."


def test_the_lead_tells_doubt_the_unseen_press_and_the_blind_time(opened: Opened) -> None:
    page = opened(usual_house()).get("/").text
    assert lead(page) == (
        "One more press is doubtful, and once the chime sounded with no press seen. "
        "From 11.08 to 13.00 nothing could be recorded, so a caller then would have left no mark."
    )


def test_every_event_of_the_day_stands_in_words(opened: Opened) -> None:
    words = words_of(opened(usual_house()).get("/").text)
    for entry in (
        "You last looked, 07.52",
        "09.14 Front door Two presses. The chime answered both.",
        "11.08 to 13.00 Nothing could be recorded: the chime was without power. A caller may have come and gone.",
        "14.36 Garden, doubtful One contact of 38 ms, too short for a finger. The chime kept silent.",
        "16.47 Front door Three presses in 24 s. The chime answered all.",
        "17.32 Chime, no press seen It sounded once, yet neither door’s wire made contact.",
        "18.20 Now, and listening",
    ):
        assert entry in words


def test_a_first_look_counts_the_day(opened: Opened) -> None:
    record = usual_house()
    record.looks.clear()
    page = opened(record).get("/").text
    assert headline(page) == "Two visits today."
    assert "You last looked" not in page


def test_a_look_of_days_ago_counts_visits_older_than_the_sheet(opened: Opened) -> None:
    record = usual_house()
    record.rang("front", "2 Nov 2026 12.00")
    record.looks["tern-cottage", "anybody"] = at("1 Nov 2026 12.00")
    # 17 visits of the six days before, 2 of today, 1 of 2 November
    assert headline(opened(record).get("/").text) == "Twenty visits since you last looked."


def test_more_than_twenty_are_told_in_figures(opened: Opened) -> None:
    record = usual_house()
    for hour in range(4):
        record.rang("front", f"3 Nov 2026 {10 + hour}.00")
    record.looks["tern-cottage", "anybody"] = at("1 Nov 2026 12.00")
    assert headline(opened(record).get("/").text) == "23 visits since you last looked."


def test_six_earlier_days_each_have_a_remark(opened: Opened) -> None:
    words = words_of(opened(usual_house()).get("/").text)
    for remark in (
        "Tuesday 24 November : four visits, no blind time.",
        "Sunday 22 November : three visits, 1 h 10 min blind.",
        "Friday 20 November : one visit, one doubtful press, no blind time.",
    ):
        assert remark in words
    assert words.count("November :") == 6


def test_the_totals_line_has_the_hours_watched(opened: Opened) -> None:
    # six days and 18 h 20 min are 162 h 20 min; blind were 1 h 52 min and 1 h 10 min
    assert (
        "Nineteen visits, two doubtful presses, one chime with no press seen. "
        "Both doors were watched for 159 h 18 min of 162 h 20 min."
    ) in words_of(opened(usual_house()).get("/").text)


def test_an_empty_house_says_how_to_make_the_first_stroke(opened: Opened) -> None:
    page = opened(empty_house()).get("/").text
    words = words_of(page)
    assert headline(page) == "No visit today."
    assert "bellcrank/1/tern-cottage/hall/pack" in words
    assert "bellcrank press front --for 0.4" in words
    assert words.count("not listening yet") == 6


def test_a_silent_chime_breaks_the_wires_and_says_for_how_long(opened: Opened) -> None:
    record = usual_house()
    record.chime_list = [replace(chime, last_heard_s=at("25 Nov 2026 16.02")) for chime in record.chime_list]
    page = opened(record).get("/").text
    assert (
        "The chime was last heard from at 16.02, 2 h 18 min ago. What it saw since then may yet arrive, or may be lost."
        in lead(page)
    )
    assert "and listening" not in page
    assert 'class="unheard"' in page
    assert "no blind time" not in lead(page).lower()
    # 159 h 18 min less 2 h 18 min
    assert "watched for 157 h of 162 h 20 min" in words_of(page)


def test_three_minutes_are_not_yet_silence(opened: Opened) -> None:
    record = usual_house()
    record.chime_list = [replace(chime, last_heard_s=NOW_S - 179.0) for chime in record.chime_list]
    assert "and listening" in opened(record).get("/").text
    record.chime_list = [replace(chime, last_heard_s=NOW_S - 181.0) for chime in record.chime_list]
    assert "and listening" not in opened(record).get("/").text


def test_a_chime_that_took_its_leave_is_silent_at_once(opened: Opened) -> None:
    record = usual_house()
    record.chime_list = [replace(chime, alive=False, alive_since_s=NOW_S - 20) for chime in record.chime_list]
    assert 'class="unheard"' in opened(record).get("/").text


def test_a_record_that_cannot_be_written_is_told_with_its_cause(opened: Opened) -> None:
    told = health()
    told.store_trouble, told.store_since_s = "The disk is full", at("25 Nov 2026 15.10")
    page = opened(usual_house(), told=told).get("/").text
    words = words_of(page)
    assert "The record cannot be written. The disk is full. No press has been recorded since 15.10." in words
    assert "18.20 Now Not recording." in words
    assert 'class="failure"' in page
    # 1 h 52 min without power and 3 h 10 min without a record
    assert "For 5 h 2 min nothing could be recorded." in lead(page)


def test_trouble_with_the_broker_is_a_sentence(opened: Opened) -> None:
    told = health()
    told.broker_connected = False
    assert "Not yet connected to the broker at 127.0.0.1:1883." in words_of(
        opened(usual_house(), told=told).get("/").text
    )


def test_no_event_is_drawn_in_the_future(opened: Opened) -> None:
    record = usual_house()
    page = opened(record, now_s=at("25 Nov 2026 12.00")).get("/").text
    assert headline(page) == "One visit since you last looked."
    assert "16.47" not in page


def test_more_than_five_presses_are_five_strokes_and_a_number(opened: Opened) -> None:
    record = empty_house()
    record.rang("front", "25 Nov 2026 12.00", (0.3,) * 12, every_s=4.0)
    page = opened(record).get("/").text
    assert "Twelve presses in 44 s. The chime answered all." in words_of(page)
    narrow = re.search(r'<svg class="drawing down".*?</svg>\s*<svg class="drawing across', page, re.S)
    assert narrow
    assert len(re.findall(r'class="stroke"', narrow[0])) == 5


def test_a_time_that_is_uncertain_says_so(opened: Opened) -> None:
    record = empty_house()
    record.rang("front", "25 Nov 2026 12.00", uncertainty_s=40.0)
    assert "One press. The chime answered. The time is right to within 40 s." in words_of(opened(record).get("/").text)


def test_a_busy_day_keeps_every_entry(opened: Opened) -> None:
    record = empty_house("24 Nov 2026 08.00")
    for minute in range(40):
        record.rang("front" if minute % 2 else "garden", f"25 Nov 2026 {10 + minute // 12:02d}.{minute % 12 * 5:02d}")
    page = opened(record).get("/").text
    assert headline(page) == "40 visits today."
    assert page.count('class="entry visit') == 40
