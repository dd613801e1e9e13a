"""Debian's Chromium as the tests start it, and a click that leads to another sheet."""

from playwright.sync_api import Locator, Page

CHROMIUM = "/usr/bin/chromium"
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync"]  # fmt: skip


def led_on(page: Page, control: str | Locator) -> None:
    """Clicks `control` and waits for the sheet that it leads to; a click alone returns while the old one may still stand."""
    with page.expect_navigation(wait_until="load"):
        (page.locator(control) if isinstance(control, str) else control).click()
