"""In a browser a stretch that is drawn out by hand is shown at once and then in full; and what draws it is what its makers published."""

import hashlib
import json
import re
import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from playwright.sync_api import Browser, Page, expect

from adapters.http_server import Server
from dashboard import assets
from tests.builders import CHIME, SITE, T0, arrival, pack
from tests.opened_house import OpenedHouse, open_house
from tests.stretch.test_any_stretch_of_the_supply import survey

PAGE = f"/house/{SITE}/chime/{CHIME}/supply"
DAY_S = 86_400.0


def test_the_library_is_unchanged() -> None:
    """Against the hashes beside it, which are those of the files in the npm package it names."""
    folder = assets.DIRECTORY / "uplot"
    told = dict(
        line.split()[::-1] for line in re.findall(r"^[0-9a-f]{64}  .*$", (folder / "README.md").read_text(), re.M)
    )
    assert set(told) == {one.name for one in folder.iterdir()} - {"README.md"}
    for name, digest in told.items():
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == digest
    assert "MIT License" in (folder / "LICENSE").read_text()


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[OpenedHouse, str]]:
    """Thirty days of hourly windows, at a real port."""
    figures = [{"n": f"rail.{name}", "u": "V", "v": v} for name, v in (("mean", 14.0), ("min", 13.7), ("max", 14.3))]
    window = {"n": "rail.window", "u": "s", "v": 3600}
    heard = [arrival(pack(n, *figures, window, up_s=3600.0 * n), 3600.0 * n + 0.05) for n in range(1, 720)]
    heard.append(arrival(pack(720, *survey(), up_s=3600.0 * 719.5), 3600.0 * 719.5 + 0.05))
    with open_house(tmp_path_factory.mktemp("closer"), heard) as found, socket.socket() as listening:
        found.clock[0] = T0 + 30 * DAY_S
        listening.bind(("127.0.0.1", 0))
        app = found.client.app
        assert isinstance(app, FastAPI)
        server = Server(app, "127.0.0.1", listening.getsockname()[1], lambda: None)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        yield found, f"http://127.0.0.1:{listening.getsockname()[1]}"
        server.stop()
        thread.join()


@pytest.fixture
def page(house: tuple[OpenedHouse, str], browser: Browser) -> Iterator[Page]:
    found = browser.new_page(viewport={"width": 1440, "height": 900}, timezone_id="America/New_York", locale="en-GB")
    troubles: list[str] = []
    found.on("pageerror", lambda error: troubles.append(str(error)))
    found.goto(house[1] + PAGE)
    yield found
    assert not troubles
    found.close()


def drawn_out(page: Page, start: float, end: float) -> None:
    plot = page.locator(".u-over").first.bounding_box()
    assert plot is not None
    height = plot["y"] + plot["height"] / 2
    page.mouse.move(plot["x"] + start * plot["width"], height)
    page.mouse.down()
    page.mouse.move(plot["x"] + end * plot["width"], height, steps=4)
    page.mouse.up()


def test_from_a_month_to_an_hour_and_back(page: Page) -> None:
    whole = page.locator("h1").inner_text()
    drawn_out(page, 0.50, 0.53)  # some 22 hours
    expect(page.locator(".when").first).to_contain_text(" to ")
    expect(page.locator(".when").first).to_contain_text(re.compile(r"\d\d\.\d\d"))
    ends = re.findall(r"(?:first|last)=(\S+?)Z", page.url)
    assert len(ends) == 2
    figures = json.loads(page.locator(".figures").first.text_content() or "")
    assert figures["end"] - figures["start"] == pytest.approx(0.03 * 30 * DAY_S, rel=0.1)
    assert 19 <= len(figures["points"]) <= 25  # each hour has its own
    page.go_back()
    expect(page.locator("h1")).to_have_text(whole)
    expect(page.locator(".when").first).not_to_contain_text(re.compile(r"\d\d\.\d\d"))


def test_the_figures_under_the_hand_are_told_in_the_house_s_time(page: Page) -> None:
    """The reader's browser is in New York; the bell is in London."""
    caption = page.locator("figcaption").first
    before = caption.inner_text()
    plot = page.locator(".u-over").first.bounding_box()
    assert plot is not None
    page.mouse.move(plot["x"] + plot["width"] / 2, plot["y"] + 20)
    expect(caption).to_contain_text("14.00\u202fV, 13.70\u202fV to 14.30\u202fV")
    told = re.match(r"(\d+ \w+ 2026, \d\d\.\d\d): ", caption.inner_text())
    assert told is not None
    shown = page.evaluate(
        """() => { const points = JSON.parse(document.querySelector('.figures').textContent).points;
            return points.map(([at]) => new Date(1000 * at).toLocaleString('en-GB', {timeZone: 'Europe/London', day: 'numeric',
                month: 'short', year: 'numeric', hour: '2-digit', minute: '2-digit'}).replace(':', '.')); }"""
    )
    assert told[1] in shown
    page.mouse.move(5, 5)
    expect(caption).to_have_text(before)


def test_the_ways_lead_on_without_a_new_page(page: Page) -> None:
    page.evaluate("window.same = true")
    page.click("a:text-is('a week')")
    expect(page.locator(".ways a[aria-current]").first).to_have_text("a week")
    assert page.evaluate("window.same")
    assert "first=" in page.url
    assert page.evaluate("document.activeElement.innerText") == "a week"
    page.reload()
    expect(page.locator(".ways a[aria-current]").first).to_have_text("a week")


def test_a_survey_is_opened_down_to_a_cycle_of_the_mains(page: Page) -> None:
    page.evaluate("window.same = true")
    page.locator("a[href*=burst]").first.click()
    expect(page.locator("#cycles figcaption").first).to_contain_text("Measured 14.0")
    assert page.evaluate("window.same")
    assert page.evaluate("document.querySelector('#cycles').getBoundingClientRect().bottom <= innerHeight + 1")


def test_the_drawing_stands_on_paper_and_where_colours_are_forced(page: Page) -> None:
    drawing, canvas = page.locator("figure.charted > .drawing").first, page.locator(".uplot").first
    expect(canvas).to_be_visible()
    expect(drawing).to_be_hidden()
    page.emulate_media(media="print")
    expect(canvas).to_be_hidden()
    expect(drawing).to_be_visible()
    page.emulate_media(media="screen", forced_colors="active")
    expect(page.locator(".uplot")).to_have_count(0)
    expect(drawing).to_be_visible()


def test_a_figure_in_a_name_is_no_script(tmp_path: Path) -> None:
    """What stands between the tags of the figures cannot end them."""
    with open_house(tmp_path, [arrival(pack(1, {"n": "rail.mean", "u": "V", "v": 14.0}, up_s=60.0), 60.05)]) as house:
        text = house.client.get(PAGE).text
    for inner in re.findall(r'class="figures">(.*?)</script>', text):
        assert "<" not in inner
