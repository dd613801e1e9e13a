"""The sheet about callers says at which hours and on which days somebody rings, or that it is too early to say.

Twelve invented weeks: every Tuesday somebody rings at five past ten, and three times on each day from 08.20 to 19.20.
25 November 2026 is a Wednesday (ISO 8601 calendar); the twelve weeks before it begin on 2 September.
"""

import re
from datetime import date, timedelta

from dashboard.week import MOST, tally
from service import model
from tests.pages.conftest import Opened
from tests.pages.lists import CHIME, SITE, at
from tests.pages.reading import headline, lead, words_of
from tests.pages.tern_cottage import Record, empty_house, usual_house

PATH = "/house/tern-cottage/callers"


def twelve_weeks() -> Record:
    record = empty_house("12 Mar 2026 09.00")
    for n in range(1, 84):
        day = date(2026, 11, 25) - timedelta(days=n)
        told = f"{day.day} {day:%b %Y}"
        for later in (0, 4, 8):
            record.rang("front", f"{told} {8 + (n + later) % 12:02d}.20")
        if day.weekday() == 1:
            record.rang("garden", f"{told} 10.05")
    return record


def test_the_hour_that_stands_out_is_the_answer(opened: Opened) -> None:
    page = opened(twelve_weeks()).get(PATH).text
    assert headline(page) == "Callers come most often on Tuesdays from 10.00 to 11.00."
    assert "Tuesdays from 10.00 to 11.00, " in words_of(page)
    assert " 0.0 times" not in words_of(page)  # fewer callers than usual are the quiet hours


def test_the_usual_quiet_hours_run_over_midnight(opened: Opened) -> None:
    # nobody ever rings from 20.00 to 08.00
    assert "From 20.00 to 08.00 most likely nobody rings." in lead(opened(twelve_weeks()).get(PATH).text)


def test_every_visit_is_a_stroke_and_stands_in_the_table(opened: Opened) -> None:
    page = opened(twelve_weeks()).get(PATH).text
    # 83 days with three visits each, and twelve more on twelve Tuesdays
    assert "261 visits in twelve weeks." in lead(page)
    drawings = re.findall(
        r'<svg class="drawing (?:across|down)".*?</svg>\s*(?=<svg class="drawing|<div class="told")', page, re.S
    )
    strokes = [sum(path.count("M") for path in re.findall(r'd="([^"]*)" class="tally"', one)) for one in drawings]
    assert strokes == [261, 261]
    rows = re.findall(r"<tr><th scope=\"row\">(\d\d)</th>((?:<td>\d+</td>){8})</tr>", page)
    assert len(rows) == 24
    cells = {hour: [int(n) for n in re.findall(r"\d+", told)] for hour, told in rows}
    assert cells["10"][1] >= 12
    assert sum(row[7] for row in cells.values()) == 261
    assert all(sum(row[:7]) == row[7] for row in cells.values())


def test_where_there_is_not_enough_that_is_said(opened: Opened) -> None:
    page = opened(empty_house("19 Nov 2026 18.20")).get(PATH).text
    assert headline(page) == "It is too early to say when callers come."
    assert lead(page) == (
        "Not enough yet: 6 days watched; 28 are needed to say which hours stand out. No visit in six days."
    )
    assert "stroke" not in re.sub(r"One stroke", "", page.split('class="week"')[1].split("</section>")[0])


def test_an_even_house_has_no_hour_that_stands_out(opened: Opened) -> None:
    record = empty_house("12 Mar 2026 09.00")
    for n in range(1, 85):
        day = date(2026, 11, 25) - timedelta(days=n)
        record.rang("front", f"{day.day} {day:%b %Y} {n * 5 % 24:02d}.20")
    assert headline(opened(record).get(PATH).text) == "No hour of the week stands out."


def test_blind_time_is_told_hatched_and_counts_neither_way(opened: Opened) -> None:
    record = twelve_weeks()
    record.blind("17 Nov 2026 02.00", "17 Nov 2026 08.00")
    page = opened(record).get(PATH).text
    assert "For 6 h of them nothing could be recorded; that counts neither for an hour nor against it." in lead(page)
    assert page.count('class="hatch small"') >= 2  # one in each drawing, beside the one in the key
    # each hour of the day comes 84 times in twelve weeks
    watched = dict(re.findall(r'<th scope="row">(\d\d)</th><td>\d+</td><td>(\d+).h</td>', page))
    assert {watched[f"{hour:02d}"] for hour in range(2, 8)} == {"83"}
    assert {watched[f"{hour:02d}"] for hour in (0, 8, 9, 10)} == {"84"}


def test_the_page_draws_at_most_twenty_strokes_an_hour_and_says_what_one_stands_for(opened: Opened) -> None:
    record = empty_house("12 Mar 2026 09.00")
    for n in range(1, 12):
        for minute in range(0, 60, 15):
            day = date(2026, 11, 24) - timedelta(days=7 * n)
            record.rang("front", f"{day.day} {day:%b %Y} 10.{minute:02d}", every_s=1.0)
    # 44 visits in one hour of the week: one stroke for up to three of them
    assert "One stroke for up to three visits in an hour" in words_of(opened(record).get(PATH).text)
    assert str(tally(50, False)).count("M") == MOST


def test_a_doubtful_contact_is_no_caller(opened: Opened) -> None:
    record = usual_house()
    page = opened(record).get(PATH).text
    doubtful = sum(visit.doubtful for visit in record.visits(SITE, 0.0, 1e12, limit=1000)[0])
    everything = len(record.visits(SITE, 0.0, 1e12, limit=1000)[0])
    assert doubtful == 2
    assert f"{everything - doubtful} visits in twelve weeks." in lead(page).replace("Nineteen", "19")


def test_the_record_of_a_sheet_is_whole_where_a_spell_lasts(opened: Opened) -> None:
    record = twelve_weeks()
    record.blind_list.append(model.BlindSpell(SITE, CHIME, at("25 Nov 2026 16.20"), None, "chime silent"))
    assert "For 2 h of them nothing could be recorded" in lead(opened(record).get(PATH).text)
