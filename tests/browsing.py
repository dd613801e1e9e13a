"""Debian's Chromium as the tests start it, a click that leads to another sheet, and what must hold of every sheet."""

from pathlib import Path

import axe_playwright_python
from playwright.sync_api import Locator, Page

CHROMIUM = "/usr/bin/chromium"
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync"]  # fmt: skip
SIZES = {"phone": (390, 844), "desk": (1440, 900)}
AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text()
TARGET_PX = 24  # WCAG 2.2, 2.5.8
VIOLATIONS = """axe.run(document, {resultTypes: ['violations']}).then(found => found.violations.map(
    one => one.id + ': ' + one.nodes.slice(0, 3).map(node => node.target.join(' ')).join(', ')))"""
SMALL = """least => [...document.querySelectorAll('a[href],button,input:not([type=hidden]),select,summary,textarea')].filter(one => {
    const r = one.getBoundingClientRect();
    return r.width && r.height && Math.min(r.width, r.height) < least && getComputedStyle(one).position !== 'absolute';
}).map(one => one.outerHTML.slice(0, 80))"""
BROAD = "document.documentElement.scrollWidth > innerWidth"


def assert_whole(page: Page, where: str) -> None:
    """No rule of accessibility is broken (axe-core: WCAG 2.2 A and AA and its best practices), nothing is too small to tap and nothing runs
    off the side, with everything opened that can be. The page must allow a script of others (`bypass_csp`)."""
    assert not page.evaluate(BROAD), where
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    assert not page.evaluate(BROAD), (where, "opened")
    small = page.evaluate(SMALL, TARGET_PX)
    assert not small, (where, small)
    page.evaluate(AXE)
    violations = page.evaluate(VIOLATIONS)
    assert not violations, (where, violations)


def led_on(page: Page, control: str | Locator) -> None:
    """Clicks `control` and waits for the sheet that it leads to; a click alone returns while the old one may still stand."""
    with page.expect_navigation(wait_until="load"):
        (page.locator(control) if isinstance(control, str) else control).click()
