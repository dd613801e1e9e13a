"""A browser's own forms are let in: what it says of where they come from is what the guard and the pages ask for.

Fetch (WHATWG), "append a request Origin header": under the policy no-referrer a form posts with "Origin: null" (from memory).
"""

import socket
import threading
from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from playwright.sync_api import sync_playwright

from adapters.guard import Guard
from adapters.http_server import Server
from dashboard import assets, pages
from tests.house.test_started_as_a_person_starts_it import CHROMIUM, QUIET
from tests.pages.tern_cottage import NOW_S, Record, health, usual_house, with_findings


@pytest.fixture
def served() -> Iterator[tuple[Record, str]]:
    """Pages behind the guard, at a real port."""
    record = with_findings(usual_house())
    app = FastAPI()
    app.mount(assets.MOUNTED_AT, assets.Assets())
    app.add_middleware(Guard, loopback_only=True)
    app.include_router(pages.build(record, record, health(), lambda: NOW_S))
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
        page.click("button:has-text('Take the newest survey')")
        assert page.url == f"{address}/house/tern-cottage/supply"
        page.goto(f"{address}/house/tern-cottage/names")
        page.fill("form >> nth=0 >> input[name=name]", "Tern House")
        page.click("form >> nth=0 >> button")
        assert page.url.startswith(f"{address}/house/tern-cottage/names")
        browser.close()
    assert len(record.commissioning_list) == 1
    assert record.site_list[0].name == "Tern House"
