"""A browser's own forms are let in: what it says of where they come from is what the guard and the pages ask for.

Fetch (WHATWG), "append a request Origin header": under the policy no-referrer a form posts with "Origin: null" (from memory).
"""

import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from playwright.sync_api import sync_playwright

from adapters.calendars import read_away
from adapters.guard import Guard
from adapters.http_server import Server
from dashboard import assets, pages
from service.teaching import Teaching
from tests.browsing import CHROMIUM, QUIET, led_on
from tests.pages.tern_cottage import NOW_S, Record, health, usual_house, with_findings

ICS = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//Tern Cottage (invented)//EN
BEGIN:VEVENT
UID:seaside@tern-cottage.example
DTSTAMP:20261101T120000Z
DTSTART;VALUE=DATE:20261121
DTEND;VALUE=DATE:20261122
SUMMARY:At the seaside
END:VEVENT
END:VCALENDAR
""".replace("\n", "\r\n")


@pytest.fixture
def served() -> Iterator[tuple[Record, str]]:
    """Pages behind the guard, at a real port."""
    record = with_findings(usual_house())
    app = FastAPI()
    app.mount(assets.MOUNTED_AT, assets.Assets())
    app.add_middleware(Guard, loopback_only=True)
    lessons = Teaching(record, record, lambda: NOW_S)  # type: ignore[arg-type]
    app.include_router(pages.build(record, record, health(), lambda: NOW_S, lessons=lessons, read_calendar=read_away))
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        port = listening.getsockname()[1]
        server = Server(app, "127.0.0.1", port, lambda: None)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        yield record, f"http://127.0.0.1:{port}"
        server.stop()
        thread.join()


def test_forms_are_let_in(served: tuple[Record, str]) -> None:
    record, address = served
    with sync_playwright() as browsers:
        browser = browsers.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        page = browser.new_context(java_script_enabled=False).new_page()
        page.goto(f"{address}/house/tern-cottage/supply")
        page.click("summary:has-text('What it is compared with')")
        led_on(page, "button:has-text('Take the newest survey')")
        assert page.url == f"{address}/house/tern-cottage/supply"
        page.goto(f"{address}/house/tern-cottage/names")
        page.fill("form >> nth=0 >> input[name=name]", "Tern House")
        led_on(page, "form >> nth=0 >> button")
        assert page.url.startswith(f"{address}/house/tern-cottage/names")
        browser.close()
    assert len(record.commissioning_list) == 1
    assert record.site_list[0].name == "Tern House"


def test_who_rang_is_said_and_asked_without_script(served: tuple[Record, str], tmp_path: Path) -> None:
    record, address = served
    calendar = tmp_path / "away.ics"
    calendar.write_bytes(ICS.encode())
    with sync_playwright() as browsers:
        browser = browsers.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        page = browser.new_context(java_script_enabled=False, viewport={"width": 390, "height": 844}).new_page()
        page.goto(f"{address}/")
        led_on(page, "a:has-text('16.47 Front door')")
        page.fill("input[name=who]", "Ann")
        page.fill("textarea[name=note]", "early")
        led_on(page, "button:has-text('Keep')")
        assert "Ann. Three presses in 24" in page.inner_text(".lead")
        led_on(page, "footer >> text=Callers")
        page.fill("#away input[name=name]", "Ann")
        led_on(page, "button:has-text('Keep it on this device')")
        page.set_input_files("input[type=file]", calendar)
        led_on(page, "button:has-text('Read it')")
        assert "At the seaside" in page.inner_text("#away")
        page.fill("#teach input[name=name]", "family")
        page.check("input[value='hall/garden']")
        led_on(page, "button:has-text('Begin the lesson')")
        assert "No example of three heard." in page.inner_text("#cadences")
        page.goto(f"{address}/?since=away")
        assert "while you were away; the record is complete" in page.inner_text("h1")
        page.click("summary:has-text('Ask about another time')")
        page.fill("input[name=start]", "2026-11-24T12:00")
        page.fill("input[name=end]", "2026-11-24T18:00")
        led_on(page, "button:has-text('Ask')")
        assert page.inner_text("h1") == "Two visits in that time; the record is complete."
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        browser.close()
    assert list(record.notes.values()) == [("Ann", "early")]
    assert record.said_by == ""
