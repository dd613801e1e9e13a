"""Each visit has a sheet: its presses one by one, how sure they are, where it stood when it was first told, and who it was.

Names and notes are what people say; what the chime recorded stays beside them. Times are London time, invented.
"""

import re
from dataclasses import replace

import pytest

from service import model
from service.errors import Refused
from tests.pages.conftest import Opened
from tests.pages.lists import CHIME, SITE
from tests.pages.reading import headline, lead, words_of
from tests.pages.tern_cottage import Record, at, empty_house, usual_house


def one_visit() -> Record:
    record = empty_house()
    record.rang("front", "25 Nov 2026 12.00", (0.3, 0.4))
    return record


def changed(record: Record, **fields: object) -> Record:
    record.press_list = [replace(press, **fields) for press in record.press_list]  # type: ignore[arg-type]
    return record


def test_every_visit_of_the_doorstep_leads_to_its_sheet(opened: Opened) -> None:
    client = opened(usual_house())
    found = set(re.findall(r'href="(/house/tern-cottage/visit/\d+)"', client.get("/").text))
    assert len(found) == 3
    assert {client.get(address).status_code for address in found} == {200}


def test_the_sheet_tells_each_press(opened: Opened) -> None:
    page = opened(one_visit()).get("/house/tern-cottage/visit/1").text
    assert headline(page) == "A visit at the front door, 12.00."
    assert "12.00.00 0.3 s 15 10 ms Sure" in words_of(page)
    assert "12.00.08 0.4 s 20 10 ms Sure" in words_of(page)
    assert page.count('class="held"') == 2


def test_a_single_pulse_is_likely_and_not_sure(opened: Opened) -> None:
    record = empty_house()
    record.rang("front", "25 Nov 2026 12.00", (0.01,))
    page = opened(changed(record, sure="likely", pulses=1)).get("/").text
    assert "12.00 Front door One press, likely but not sure: a single pulse. The chime answered." in words_of(page)
    just_now = opened(record, now_s=at("25 Nov 2026 12.00.02")).get("/").text  # more of it may be on its way
    assert "12.00 Front door One press. The chime answered." in words_of(just_now)


def test_single_pulses_again_and_again_are_damp_or_induction(opened: Opened) -> None:
    record = empty_house()
    record.rang("front", "25 Nov 2026 12.00", (0.01,) * 3, sounds=False)
    page = opened(changed(record, sure="likely", pulses=1)).get("/").text
    assert "12.00 Front, doubtful Three contacts, each a single pulse, as damp or induction makes them." in words_of(
        page
    )


def test_a_press_cut_off_by_a_restart_has_no_end(opened: Opened) -> None:
    record = empty_house()
    record.rang("front", "25 Nov 2026 12.00", (2.5,))
    client = opened(changed(record, cut_off=True))
    assert "The chime restarted while it was held, so its end is not known." in words_of(client.get("/").text)
    page = client.get("/house/tern-cottage/visit/1").text
    assert "12.00.00 cut off" in words_of(page)
    assert 'class="held"' not in page


def moved(shift_s: float, at_: str, start: str, end: str) -> model.Redating:
    return model.Redating(SITE, CHIME, at(at_), at(start), at(end), shift_s, "better estimate")


def test_what_was_dated_anew_says_what_it_was_told_as_at_first(opened: Opened) -> None:
    record = one_visit()
    record.redating_list.append(moved(-720.0, "25 Nov 2026 12.30", "25 Nov 2026 12.00", "25 Nov 2026 12.01"))
    client = opened(record)
    assert "Told at first as 12.12, and dated anew since." in words_of(client.get("/").text)
    assert (
        "Until 12.30 it stood at 12.12. It was moved 12 min earlier when the chime’s own clock came to be known better."
        in words_of(client.get("/house/tern-cottage/visit/1").text)
    )


def test_dated_anew_twice_it_is_told_as_at_the_very_first(opened: Opened) -> None:
    """First 12.10.30, then moved by half a minute to 12.10, then by ten minutes to 12.00."""
    record = one_visit()
    record.redating_list += [
        moved(-30.0, "25 Nov 2026 12.20", "25 Nov 2026 12.10", "25 Nov 2026 12.11"),
        moved(-600.0, "25 Nov 2026 12.30", "25 Nov 2026 12.00", "25 Nov 2026 12.01"),
    ]
    page = opened(record).get("/house/tern-cottage/visit/1").text
    assert "Until 12.20 it stood at 12.10.30." in words_of(page)
    assert "Until 12.30 it stood at 12.10." in words_of(page)


def test_a_redating_of_other_presses_is_none_of_this_one(opened: Opened) -> None:
    record = one_visit()
    record.redating_list.append(moved(-720.0, "25 Nov 2026 12.30", "25 Nov 2026 11.00", "25 Nov 2026 11.59"))
    assert "dated anew" not in opened(record).get("/").text


def test_a_name_and_a_note_are_kept_and_stand_on_the_doorstep(opened: Opened) -> None:
    record = one_visit()
    client = opened(record)
    form = {"who": "The postman", "note": "left it\nnext door"}
    answer = client.post("/house/tern-cottage/visit/1", data=form, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/house/tern-cottage/visit/1?kept=1")
    assert "What you said of this visit is kept." in words_of(client.get(answer.headers["location"]).text)
    assert "12.00 Front door The postman. Two presses. The chime answered both. Noted: left it next door." in words_of(
        client.get("/").text
    )


def test_nothing_of_both_takes_it_back(opened: Opened) -> None:
    record = one_visit()
    record.notes[1] = ("The postman", "left it next door")
    opened(record).post("/house/tern-cottage/visit/1", data={"who": "", "note": ""})
    assert record.notes[1] == (None, None)


def test_a_cadence_stands_beside_who_it_was(opened: Opened) -> None:
    record = one_visit()
    record.cadence_of[1] = "family"
    assert lead(opened(record).get("/house/tern-cottage/visit/1").text).startswith("In the cadence “family”. Two")
    record.notes[1] = ("Ann", None)
    assert lead(opened(record).get("/house/tern-cottage/visit/1").text).startswith("Ann, in the cadence “family”. Two")


def test_a_refusal_is_told_on_the_same_sheet(opened: Opened) -> None:
    record = one_visit()

    def note_visit(*_: object) -> None:
        raise Refused("A note goes with the earlier one.")

    record.note_visit = note_visit  # type: ignore[method-assign, assignment]
    answer = opened(record).post("/house/tern-cottage/visit/1", data={"who": "Ann"})
    assert answer.status_code == 400
    assert "A note goes with the earlier one." in words_of(answer.text)


@pytest.mark.parametrize(("visit", "status"), [("99", 404), ("0", 400), ("x", 400)])
def test_a_visit_that_is_not_in_the_record_is_no_sheet(opened: Opened, visit: str, status: int) -> None:
    assert opened(one_visit()).get(f"/house/tern-cottage/visit/{visit}").status_code == status
