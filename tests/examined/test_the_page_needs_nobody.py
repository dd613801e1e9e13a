"""Promise: the page is one file that asks nobody for anything, shows hostile words as text, and reads on any screen and on paper.

Contrast and reflow after WCAG 2.2 (1.4.3, 1.4.10); Content Security Policy Level 3 (W3C).
"""

import itertools
import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from dashboard import examined
from service.examine import Examined
from tests.examined.conftest import HOSTILE
from tests.pages.reading import words_of

ZONE = "Europe/London"

RATIOS = """() => {
    const light = colour => {
        const parts = colour.match(/[\\d.]+/g).slice(0, 3).map(part => part / 255)
            .map(part => part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4);
        return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2];
    };
    const ground = light(getComputedStyle(document.documentElement).backgroundColor);
    return [...document.querySelectorAll('h1, h2, h3, h4, p, li, th, td, caption, figcaption, summary, b, i, text')].map(one => {
        const style = getComputedStyle(one), ink = light(one.tagName === 'text' ? style.fill : style.color);
        return (Math.max(ink, ground) + 0.05) / (Math.min(ink, ground) + 0.05);
    });
}"""

NAMELESS = """() => [...document.querySelectorAll('section, nav, [role=region]')]
    .filter(one => !one.getAttribute('aria-label')).length
    + [...document.querySelectorAll('svg')].filter(one => !one.closest('[aria-hidden=true]')).length
    + [...document.querySelectorAll('table')].filter(one => !one.caption || !one.querySelector('th[scope=col]')).length"""

LEVELS = "() => [...document.querySelectorAll('h1, h2, h3, h4')].map(one => Number(one.tagName[1]))"

BOXES = """() => [...document.querySelectorAll('.recorded text, .cycle text')].filter(one => one.textContent).map(one => {
    const box = one.getBoundingClientRect();
    return [box.left, box.right, document.documentElement.clientWidth];
})"""


def opened(browser: Browser, folder: Path, found: Examined, width: int, scheme: str) -> tuple[Page, list[str]]:
    """The page, and everything that it asked for or complained of."""
    path = folder / "examined.html"
    path.write_text(examined.page(found, "tern-cottage.jsonl", ZONE), encoding="utf-8")
    page = browser.new_page(
        viewport={"width": width, "height": 900}, color_scheme="dark" if scheme == "dark" else "light"
    )
    heard: list[str] = []
    page.on("request", lambda request: heard.append(request.url))
    page.on("console", lambda message: heard.append(message.text))
    page.on("pageerror", lambda error: heard.append(str(error)))
    page.goto(path.as_uri())
    page.evaluate("document.fonts.ready.then(() => 0)")
    return page, [one for one in heard if one != path.as_uri() and not one.startswith("data:")]


def test_it_names_nothing_outside_itself(of_aged: Examined, everything: Examined) -> None:
    for found in (of_aged, everything):
        page = examined.page(found, "tern-cottage.jsonl", ZONE)
        assert not re.search(r"(?:src|href|action)=\"(?!#)", page)
        assert not re.search(r"@import|https?://|<link|<script|<img|<iframe", page)
        assert set(re.findall(r"url\(([a-z#]+)", page)) <= {"data", "#hatch"}
        assert "default-src 'none'" in page


def test_hostile_words_stay_text(everything: Examined) -> None:
    page = examined.page(everything, HOSTILE, ZONE)
    assert "<script" not in page
    assert page.count("&lt;script&gt;alert(1)&lt;/script&gt;") > 18  # doors, a press, a topic, and its own name
    words_of(page)  # every element is still closed as it was opened


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 390, 1200])
def test_it_reads_at_any_width_in_light_and_dark(
    browser: Browser, tmp_path: Path, of_aged: Examined, everything: Examined, width: int, scheme: str
) -> None:
    for found in (of_aged, everything):
        page, heard = opened(browser, tmp_path, found, width, scheme)
        assert heard == []
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert min(page.evaluate(RATIOS)) >= 4.5
        assert page.evaluate(NAMELESS) == 0
        levels = page.evaluate(LEVELS)
        assert levels[0] == 1
        assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
        for left, right, wide in page.evaluate(BOXES):
            assert left >= 0
            assert right <= wide
        assert page.evaluate("[...document.fonts].every(one => one.status === 'loaded')")
        page.close()


def test_intervals_are_shown_on_a_phone_too(browser: Browser, tmp_path: Path, of_aged: Examined) -> None:
    page, _ = opened(browser, tmp_path, of_aged, 390, "light")
    assert page.locator(".finding .evidence tbody td").nth(1).is_visible()
    page.close()


def test_on_paper_it_is_black_on_white_and_whole(browser: Browser, tmp_path: Path, of_aged: Examined) -> None:
    page, _ = opened(browser, tmp_path, of_aged, 688, "dark")
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(255, 255, 255)"
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    assert page.evaluate("document.documentElement.scrollWidth") <= 688
    assert page.locator(".finding .evidence tbody td").nth(3).is_visible()
    pages = len(re.findall(rb"/Type\s*/Page\b", page.pdf(format="A4", prefer_css_page_size=True)))
    assert 1 <= pages <= 5
    page.close()
