"""Promise: each rule has a sheet. Other values are tried on the past and change nothing, then count, or are refused beside their blank."""

import re

import pytest
from fastapi.testclient import TestClient

from service.alarms.rules import NoPack, Priority
from tests.alarms_live.conftest import Cottage
from tests.alarms_live.test_alarms_speak_when_something_is_the_case import DAY_S
from tests.builders import CHIME, SITE

RULE = f"/house/{SITE}/chime/{CHIME}/rule/chime-silent"

BLANK = "watch.longer_than_s*3600"
"""The rule counts in hours, and so does its blank."""


def values(client: TestClient) -> dict[str, str]:
    """What stands in the blanks, as a browser would send it."""
    page = client.get(RULE).text
    blanks = dict(re.findall(r'<input name="([^"]+)" value="([^"]*)"', page))
    (chosen,) = re.findall(r'name="priority" value="(\w+)" checked', page)
    return blanks | {"priority": chosen}


def words(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def ruled(cottage: Cottage) -> NoPack:
    watch = cottage.actions.rule(SITE, CHIME, "chime-silent").rule.watch
    assert isinstance(watch, NoPack)
    return watch


def test_the_alarms_sheet_leads_to_every_rule(cottage: Cottage, client: TestClient) -> None:
    cottage.tick(0.0)
    links = set(re.findall(r'href="(/house/[^"]*/rule/[^"]+)"', client.get(f"/house/{SITE}/alarms").text))
    assert RULE in links
    assert {client.get(link).status_code for link in links} == {200}
    assert client.get(f"{RULE}-not").status_code == 404


def test_kept_as_they_stand_the_values_change_nothing(cottage: Cottage, client: TestClient) -> None:
    """Through the blanks and their units, every rule of the ready set comes back as it was."""
    cottage.tick(0.0)
    for kept in cottage.store.reader().alarm_rules(SITE, CHIME):
        address = f"/house/{SITE}/chime/{CHIME}/rule/{kept.rule.id}"
        page = client.get(address).text
        blanks = dict(re.findall(r'<input name="([^"]+)" value="([^"]*)"', page))
        (chosen,) = re.findall(r'name="priority" value="(\w+)" checked', page)
        sent = {**blanks, "priority": chosen, "wish": "keep"}
        assert client.post(f"{address}/values", data=sent, follow_redirects=False).status_code == 303, kept.rule.id
        again = cottage.actions.rule(SITE, CHIME, kept.rule.id).rule
        assert again.watch.__class__ is kept.rule.watch.__class__
        for name in kept.rule.watch.__slots__:
            before, after = getattr(kept.rule.watch, name), getattr(again.watch, name)
            assert after == (pytest.approx(before, rel=1e-5) if isinstance(before, float) else before), kept.rule.id
        assert again.on_delay_s == kept.rule.on_delay_s


def test_tried_on_the_past_it_says_how_often_it_would_have_called(cottage: Cottage, client: TestClient) -> None:
    cottage.tick(8 * DAY_S)
    before = ruled(cottage)
    found = client.post(f"{RULE}/values", data=values(client) | {BLANK: "48", "wish": "try"})
    told = words(found.text)
    assert "The record holds 8 of the last 30 days; in them it would have called once." in told
    assert f'name="{BLANK}" value="48"' in found.text  # what was filled in still stands
    assert ruled(cottage) == before


def test_kept_it_counts_and_the_ready_set_takes_it_back(cottage: Cottage, client: TestClient) -> None:
    cottage.tick(0.0)
    before = ruled(cottage)
    sent = values(client) | {BLANK: "4,5", "priority": "high", "wish": "keep"}
    assert "has these values from now on" in client.post(f"{RULE}/values", data=sent).text
    assert ruled(cottage) == NoPack(4.5 * 3600.0)
    assert cottage.actions.rule(SITE, CHIME, "chime-silent").rule.priority is Priority.HIGH
    assert "Of the ready set, changed by somebody." in words(client.get(RULE).text)
    client.post(f"{RULE}/values", data={"wish": "ready"})
    assert ruled(cottage) == before


@pytest.mark.parametrize("written", ["soon", "-3", "1e9", ""])
def test_what_cannot_be_used_is_refused_beside_its_blank(cottage: Cottage, client: TestClient, written: str) -> None:
    cottage.tick(0.0)
    before = ruled(cottage)
    found = client.post(f"{RULE}/values", data=values(client) | {BLANK: written, "wish": "keep"})
    assert found.status_code == 400
    assert "One of the values cannot be used." in found.text
    assert 'aria-invalid="true" aria-describedby="why-1"' in found.text
    assert "must be a number from 1 to" in words(found.text)
    assert ruled(cottage) == before
