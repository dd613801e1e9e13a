"""Claiming, naming, and what was set aside. Every form works without script."""

from dataclasses import replace

from service import model
from service.errors import Refused
from tests.pages.conftest import Opened
from tests.pages.reading import headline, words_of
from tests.pages.tern_cottage import NOW_S, Record, at, empty_house


def unclaimed_house() -> Record:
    record = empty_house()
    record.chime_list = [replace(chime, claimed=False) for chime in record.chime_list]
    return record


def test_nobody_heard_says_where_to_publish(opened: Opened) -> None:
    page = opened(Record()).get("/").text
    assert headline(page) == "Nothing has been recorded yet."
    assert "bellcrank/1/<site>/<chime>/pack" in words_of(page)
    assert "Bellcrank has been listening since 10.05 UTC." in words_of(page)


def test_an_unclaimed_chime_is_claimed_by_a_form(opened: Opened) -> None:
    record = unclaimed_house()
    client = opened(record)
    page = client.get("/").text
    assert headline(page) == "One chime is heard, and not claimed."
    assert 'action="/house/tern-cottage/chime/hall/claim"' in page
    answer = client.post("/house/tern-cottage/chime/hall/claim", data={"name": "Tern House"}, follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/house/tern-cottage"
    assert record.chime_list[0].claimed
    assert "Tern House" in words_of(client.get("/").text)


def test_names_are_changed_and_stand_on_the_sheets(opened: Opened) -> None:
    record = empty_house()
    record.rang("garden", "25 Nov 2026 12.00")
    client = opened(record)
    client.post("/house/tern-cottage/names", data={"name": "Tern House", "time_zone": "Europe/Paris"})
    client.post("/house/tern-cottage/chime/hall/door/garden", data={"name": "Side gate"})
    words = words_of(client.get("/").text)
    assert "Tern House" in words
    assert "13.00 Side gate One press. The chime answered." in words  # Paris is an hour ahead of London


def test_a_refused_name_is_told_and_changes_nothing(opened: Opened) -> None:
    record = empty_house()

    def rename_site(site: str, name: str, time_zone: str) -> None:
        raise Refused("'Mars' is no time zone of the IANA list, such as Europe/London.")

    record.rename_site = rename_site  # type: ignore[method-assign]
    answer = opened(record).post("/house/tern-cottage/names", data={"name": "Tern", "time_zone": "Mars"})
    assert answer.status_code == 400
    assert "'Mars' is no time zone of the IANA list" in words_of(answer.text)
    assert record.site_list[0].name == "Tern Cottage"


def test_a_form_without_its_field_is_refused_with_a_page(opened: Opened) -> None:
    answer = opened(empty_house()).post("/house/tern-cottage/names", data={"name": "Tern"})
    assert answer.status_code == 400
    assert headline(answer.text) == "That could not be read."


def aside(number: int, payload: bytes) -> model.SetAside:
    topic = "bellcrank/1/tern-cottage/hall/pack"
    reason = "rail.mean: 400 V is outside 0 to 60 V"
    return model.SetAside(
        number,
        at("25 Nov 2026 09.00") - number,
        topic,
        "tern-cottage",
        "hall",
        "mqtt",
        "quarantined",
        reason,
        len(payload),
        payload,
    )


def test_what_was_not_understood_is_shown_with_its_reason(opened: Opened) -> None:
    record = empty_house()
    record.set_aside_list = [aside(1, b"\x9f\xa3\x21\x02"), aside(2, b'[{"n":"rail.mean","u":"V","v":400}]')]
    page = opened(record).get("/house/tern-cottage/set-aside").text
    words = words_of(page)
    assert headline(page) == "Two packs were not understood."
    assert "rail.mean: 400 V is outside 0 to 60 V." in words
    assert "4 bytes by MQTT: 9f a3 21 02" in words
    assert '35 bytes by MQTT: [{"n":"rail.mean","u":"V …' in words


def test_older_ones_are_on_the_next_page(opened: Opened) -> None:
    record = empty_house()
    record.set_aside_list = [aside(number, b"x") for number in range(60)]
    client = opened(record)
    first = client.get("/house/tern-cottage/set-aside").text
    assert first.count("<li>") == 50
    assert "/house/tern-cottage/set-aside?before=50" in first
    assert client.get("/house/tern-cottage/set-aside?before=50").text.count("<li>") == 10


def test_nothing_set_aside_is_said(opened: Opened) -> None:
    assert (
        headline(opened(empty_house(), now_s=NOW_S).get("/house/tern-cottage/set-aside").text)
        == "No pack has been set aside."
    )
