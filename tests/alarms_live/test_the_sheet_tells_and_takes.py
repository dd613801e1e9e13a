"""Promise: the Alarms sheet says what calls, lets a person acknowledge, shelve and switch, without script, and refuses in words."""

import re

from fastapi.testclient import TestClient

from tests.alarms_live.conftest import Cottage
from tests.alarms_live.test_alarms_speak_when_something_is_the_case import DAY_S
from tests.builders import CHIME, SITE

SHEET = f"/house/{SITE}/alarms"
ALARM = f"/house/{SITE}/chime/{CHIME}/alarm/chime-silent"


def text(client: TestClient) -> str:
    answer = client.get(SHEET)
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text))


def test_a_quiet_house_says_so(client: TestClient) -> None:
    told = text(client)
    assert "Nothing calls for anybody." in told
    assert "has not called anybody" in told
    assert "No alarm has called." in told


def test_what_calls_is_told_with_what_to_do_and_is_acknowledged(cottage: Cottage, client: TestClient) -> None:
    cottage.tick(8 * DAY_S)
    told = text(client)
    assert "One alarm calls. Nothing has been heard from the chime." in told
    assert "Ring the bell. If it sounds, look at the wireless network" in told
    answer = client.post(ALARM, data={"wish": "acknowledge"}, follow_redirects=True)
    assert "It is acknowledged" in answer.text
    assert cottage.state("chime-silent") == "acknowledged"
    assert "Nothing calls for anybody." in text(client)
    assert "Acknowledged, since" in text(client)


def test_shelving_takes_a_reason_and_a_while(cottage: Cottage, client: TestClient) -> None:
    cottage.tick(8 * DAY_S)
    refused = client.post(ALARM, data={"wish": "shelve", "why": " ", "how_long": "hour"})
    assert refused.status_code == 400
    assert "It can only be shelved with a reason." in refused.text
    client.post(ALARM, data={"wish": "shelve", "why": "the router is away", "how_long": "hour", "who": "Ann"})
    assert cottage.state("chime-silent") == "shelved"
    assert "End the shelving" in client.get(SHEET).text
    cottage.tick(8 * DAY_S + 3700.0)
    assert cottage.state("chime-silent") == "unacknowledged"


def test_a_rule_is_switched_off_and_on(cottage: Cottage, client: TestClient) -> None:
    place = f"/house/{SITE}/chime/{CHIME}/rule/often-blind"
    client.post(place, data={"on": "false"})
    assert cottage.alarm("often-blind").off
    assert "Off: Somebody has switched it off." in text(client)
    client.post(place, data={"on": "true"})
    assert not cottage.alarm("often-blind").off


def test_what_nobody_may_ask_is_a_page_too(client: TestClient) -> None:
    assert client.post(ALARM, data={"wish": "explode"}).status_code == 400
    assert client.post(f"/house/{SITE}/chime/{CHIME}/alarm/nothing", data={"wish": "acknowledge"}).status_code == 404
