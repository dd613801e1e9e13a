"""Promise: a page speaks the language its reader asks for, with its numbers, days and hours; otherwise, and over the API, it is English."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboard import language, words
from dashboard.language import resaid, say, spoken, wanted
from tests.builders import PRESS, T0, arrival, pack
from tests.examined.recorded import SHEET
from tests.opened_house import OpenedHouse, open_house
from tests.pages.conftest import Opened, opened  # noqa: F401 - a fixture
from tests.pages.reading import headline, lead, words_of
from tests.pages.tern_cottage import LONDON, NOW_S, at, usual_house, with_findings, with_supply

GERMAN = {"accept-language": "de-DE,de;q=0.9,en;q=0.5"}


@pytest.mark.parametrize(
    ("header", "name"),
    [
        ("de", "de"),
        ("de-CH, en", "de"),
        ("en-GB,en;q=0.9,de;q=0.8", "en"),
        ("en;q=0.3, de;q=0.7", "de"),
        ("fr, de;q=0.1", "de"),  # the best of those there are (RFC 9110, 12.5.4)
        ("de;q=0, fr", "en"),  # q=0: not acceptable (RFC 9110, 12.4.2)
        ("*", "en"),
        ("", "en"),
        ("de;q=hello", "de"),
        ("x" * 5000, "en"),
    ],
)
def test_the_language_that_is_asked_for(header: str, name: str) -> None:
    assert wanted(header) == name


def test_a_page_is_german_for_whoever_asks_for_german(opened: Opened) -> None:  # noqa: F811
    client = opened(with_findings(with_supply(usual_house())))
    answer = client.get("/house/tern-cottage/supply", headers=GERMAN)
    assert answer.headers["content-language"] == "de"
    assert "accept-language" in answer.headers["vary"]
    page = answer.text
    assert '<html lang="de">' in page
    assert headline(page) == "Der Ladekondensator hat Kapazität verloren."
    assert re.search(r"Die Speisespannung beträgt 14,\d\W*V", words_of(page))
    told = words_of(page).replace("\u00ad", "")
    assert "Der Ladekondensator hat Kapazität verloren" in told
    assert "Sehr wahrscheinlich, etwa neun von zehn" in told
    assert "Sehen Sie bei abgeschalteter Versorgung" in told
    again = client.get("/house/tern-cottage/supply")
    assert again.headers["content-language"] == "en-GB"
    assert '<html lang="en-GB">' in again.text
    assert "The reservoir capacitor has lost capacity" in words_of(again.text)


def test_what_is_kept_for_minutes_is_kept_for_each_language(opened: Opened) -> None:  # noqa: F811
    client = opened(usual_house())
    first = client.get("/house/tern-cottage/callers").text
    assert "Es ist zu früh" not in first
    assert "Dasselbe in Zahlen" in client.get("/house/tern-cottage/callers", headers=GERMAN).text
    assert client.get("/house/tern-cottage/callers").text == first


def test_errors_are_german_too(opened: Opened) -> None:  # noqa: F811
    page = opened(usual_house()).get("/house/nowhere", headers=GERMAN).text
    assert headline(page) == "Ein solches Blatt gibt es nicht."
    assert lead(page).startswith("Von einem Haus ")


@pytest.fixture
def wired(tmp_path: Path) -> Iterator[OpenedHouse]:
    with open_house(tmp_path, [arrival(pack(0, PRESS), 100.0)], SHEET) as house:
        house.clock[0] = T0 + 200.0
        yield house


def test_what_the_service_says_is_said_again(wired: OpenedHouse) -> None:
    address = "/house/tern-cottage/fitout?chime=hall&asked=1&transformer_v=12&reservoir_f=100&sound_a=100&regulator=linear&dropout_v=7"
    page = words_of(wired.client.get(address, headers=GERMAN).text)
    assert "So wird es nicht gehen." in page
    assert re.search(r"Mit 100 µF schwingt die Speisespannung .* um \d+,\d V, von \d+ V hinab auf \d,\d+ V", page)


def test_the_api_and_what_leaves_stay_english(wired: OpenedHouse) -> None:
    told = wired.client.get("/api/v1/sites/nowhere", headers=GERMAN).json()
    assert "has been heard" in told["detail"]


def test_numbers_days_and_hours() -> None:
    moment_s = at("3 Nov 2026 16.02")
    with spoken("de"):
        assert words.moment(moment_s, NOW_S, LONDON).replace("\u00a0", " ") == "am 3. November um 16:02"
        assert words.moment(NOW_S - 86_400.0, NOW_S, LONDON) == "gestern um 18:20"
        assert words.counted(0, "visit") == "kein Besuch"
        assert words.counted(3, "press", "presses") == "drei Tastendrücke"
        assert words.measured(-0.3, "V", 1).replace("\u202f", " ") == "−0,3 V"
        assert words.duration(0.4).replace("\u202f", " ") == "0,4 s"
    assert words.counted(0, "visit") == "no visit"
    assert words.measured(-0.3, "V", 1).replace("\u202f", " ") == "−0.3 V"


def test_a_text_with_values_is_known_again() -> None:
    """However it was made a sentence of, and with as many sentences beside it as there are."""
    said = "With 470 µF the rail swings 4.06 V in every cycle while it sounds, from 17.1 V down to 13.1 V. 1000 µF would hold it."
    with spoken("de"):
        assert resaid(said) == (
            "Mit 470 µF schwingt die Speisespannung beim Läuten in jeder Periode um 4,06 V, von 17,1 V hinab auf 13,1 V. "
            "1000 µF würden sie halten."
        )
        assert resaid("It is shelved until then, says Ann.") == "It is shelved until then, says Ann."  # nobody's text
        assert resaid("") == ""
        assert say("") == ""
    assert resaid(said) == said


def test_values_that_look_like_texts_do_no_harm() -> None:
    with spoken("de"):
        assert (
            say("Nothing is said of “{text}”.", text="{text} {0} %s <b>")
            == "Von „{text} {0} %s <b>“ ist nirgends die Rede."
        )
    assert language.language() == language.ENGLISH
