"""Pages take nothing from elsewhere, run nothing inline, show hostile names as text, and change nothing for strangers.

Headers after Content Security Policy Level 3 (W3C) and Fetch Metadata (W3C); the cookie after RFC 6265bis, from memory.
"""

import re
from dataclasses import replace

import pytest

from service import model
from service.errors import StoreUnavailable
from tests.pages.conftest import Opened
from tests.pages.reading import headline, words_of
from tests.pages.tern_cottage import NOW_S, Record, empty_house, usual_house, with_supply

HOSTILE = "<script>alert(1)</script>\"'&"
PATHS = (
    "/",
    "/house/tern-cottage",
    "/house/tern-cottage/day/2026-11-25",
    "/house/tern-cottage/supply",
    "/house/tern-cottage/set-aside",
    "/house/tern-cottage/names",
    "/house/tern-cottage/visit/1",
    "/house/tern-cottage/callers",
    "/?start=2026-11-20T07:00&end=2026-11-22T18:00",
)


def hostile_house() -> Record:
    record = with_supply(usual_house(), days=1.0)
    record.door_list = [replace(door, name=HOSTILE) for door in record.door_list]
    record.site_list = [replace(site, name=HOSTILE) for site in record.site_list]
    record.notes[1], record.cadence_of[1] = (HOSTILE, HOSTILE), HOSTILE
    record.set_aside_list = [
        model.SetAside(1, NOW_S, HOSTILE, None, None, "mqtt", "quarantined", HOSTILE, 24, HOSTILE.encode())
    ]
    return record


@pytest.mark.parametrize("path", PATHS)
def test_a_hostile_name_stays_text(opened: Opened, path: str) -> None:
    page = opened(hostile_house()).get(path).text
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    words_of(page)  # every element is still closed as it was opened


@pytest.mark.parametrize("path", PATHS)
def test_a_page_needs_nobody_else_and_runs_nothing_inline(opened: Opened, path: str) -> None:
    answer = opened(with_supply(usual_house(), days=1.0)).get(path)
    assert answer.status_code == 200
    assert "default-src 'self'" in answer.headers["content-security-policy"]
    assert "unsafe" not in answer.headers["content-security-policy"]
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-store"
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", answer.text)
    assert not re.findall(r"(?:src|href|action)=\"(?!/|#)[^\"]*\"", answer.text)
    assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", answer.text))


@pytest.mark.parametrize("path", PATHS)
def test_every_file_that_a_page_asks_for_is_there_and_kept_for_long(opened: Opened, path: str) -> None:
    client = opened(usual_house())
    asked = set(re.findall(r'"(/static/[^"]+)"', client.get(path).text))
    assert len(asked) > 5
    for address in asked:
        answer = client.get(address)
        assert answer.status_code == 200
        assert "immutable" in answer.headers["cache-control"]


def test_a_file_asked_for_without_its_digest_is_asked_again(opened: Opened) -> None:
    assert opened(usual_house()).get("/static/sheet.css").headers["cache-control"] == "no-cache"


def test_drawings_are_hidden_from_readers_and_told_beside(opened: Opened) -> None:
    page = opened(with_supply(usual_house(), days=1.0)).get("/house/tern-cottage/supply").text
    for drawing in re.findall(r'<svg[^>]*class="drawing[^>]*>', page):
        assert 'aria-hidden="true"' in drawing


def test_a_look_is_remembered_under_a_random_number_and_a_refresh_is_no_look(opened: Opened) -> None:
    record = usual_house()
    client = opened(record)
    first = client.get("/")
    cookie = first.headers["set-cookie"]
    assert re.match(r"person=[A-Za-z0-9_-]{16,64};", cookie)
    assert "HttpOnly" in cookie
    assert "samesite=lax" in cookie.lower()
    assert "Max-Age=31536000" in cookie
    assert [look[2] for look in record.looked] == [NOW_S]
    client.get("/?refresh=1")
    assert len(record.looked) == 1
    again = client.get("/")
    assert "set-cookie" not in again.headers
    assert record.looked[0][1] == record.looked[1][1]


def test_a_forged_cookie_is_replaced(opened: Opened) -> None:
    record = usual_house()
    answer = opened(record).get("/", headers={"cookie": "person=short"})
    assert answer.headers["set-cookie"].startswith("person=")
    assert record.looked[0][1] != "short"


def test_the_sheet_comes_even_when_the_look_cannot_be_kept(opened: Opened) -> None:
    record = usual_house()

    def look(site: str, person: str, now_s: float) -> None:
        raise StoreUnavailable("the disk is full")

    record.look = look  # type: ignore[method-assign]
    assert headline(opened(record).get("/").text) == "Two visits since you last looked."


def test_a_record_that_cannot_be_read_is_a_page_that_says_so(opened: Opened) -> None:
    record = usual_house()
    record.trouble = "the disk is gone"
    answer = opened(record).get("/")
    assert answer.status_code == 503
    assert "The record cannot be reached. The disk is gone." in words_of(answer.text)
    assert "content-security-policy" in answer.headers


def test_an_unknown_house_is_no_sheet(opened: Opened) -> None:
    answer = opened(usual_house()).get("/house/nowhere")
    assert answer.status_code == 404
    assert headline(answer.text) == "There is no such sheet."


@pytest.mark.parametrize("sent", [{"sec-fetch-site": "cross-site"}, {"origin": "https://elsewhere.example"}])
def test_a_form_from_another_site_changes_nothing(opened: Opened, sent: dict[str, str]) -> None:
    record = empty_house()
    form = {"name": "Taken", "time_zone": "Europe/London"}
    assert opened(record).post("/house/tern-cottage/names", data=form, headers=sent).status_code == 400
    assert record.site_list[0].name == "Tern Cottage"
