"""Promise: in every state a page is whole: empty, silent, failing, refused; on a phone in the dark and at a desk by daylight."""

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Browser, Route

from tests.browsing import SIZES, assert_whole
from tests.pages.conftest import Opened
from tests.pages.states import HOUSE, STATES, full_house

ORIGIN = "http://localhost:7433"
LOOKS = (("phone", "dark"), ("desk", "light"))


def assert_all_whole(browser: Browser, client: TestClient, name: str, addresses: list[str], form: bool = False) -> None:
    """Each address as a browser shows it; with `form`, what the first form of the page is answered when it is sent as it stands."""

    def answered(route: Route) -> None:
        asked = route.request
        told = client.request(
            asked.method, asked.url.removeprefix(ORIGIN), content=asked.post_data_buffer, headers=asked.headers
        )
        headers = {name: value for name, value in told.headers.items() if name != "content-encoding"}
        route.fulfill(status=told.status_code, headers=headers, body=told.content)

    for size, scheme in LOOKS:
        width, height = SIZES[size]
        context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme, bypass_csp=True  # type: ignore[arg-type]
        )  # fmt: skip
        context.route(f"{ORIGIN}/**", answered)
        context.route("**/api/v1/stream*", lambda route: route.abort())  # the later one is asked first
        page = context.new_page()
        for address in addresses:
            page.goto(ORIGIN + address, wait_until="load")
            if form:
                page.locator("main form[method=post] button").first.click()
                page.wait_for_load_state()
            assert_whole(page, f"{name}: {address}, {size}, {scheme}")
        context.close()


@pytest.mark.parametrize("state", STATES)
def test_every_state_is_whole(browser: Browser, opened: Opened, state: str) -> None:
    told = STATES[state]
    assert_all_whole(browser, opened(told.record(), **told.given()), state, list(told.addresses))


def test_a_refusal_is_whole(browser: Browser, opened: Opened) -> None:
    """A name of the house that is blank."""
    record = full_house()
    record.site_list = [one.__class__(one.site, "", one.time_zone) for one in record.site_list]
    assert_all_whole(browser, opened(record), "refused", [f"{HOUSE}/names"], form=True)
