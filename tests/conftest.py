"""What tests of several folders share."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.browsing import CHROMIUM, QUIET


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as browsers:
        found = browsers.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield found
        found.close()
