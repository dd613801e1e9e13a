"""Promise: whatever a page says is in the catalogue, in every state; only what people and chimes have named stands as they named it."""

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from dashboard import language, paper
from tests.alarms_live.conftest import Cottage, cottage  # noqa: F401 - a fixture
from tests.alarms_live.conftest import client as rules  # noqa: F401 - a fixture
from tests.alarms_live.test_alarms_speak_when_something_is_the_case import DAY_S
from tests.builders import PRESS, T0, arrival, pack
from tests.examined.recorded import SHEET
from tests.language.bracketed import Bracketed, escaped
from tests.opened_house import OpenedHouse, open_house
from tests.pages.conftest import Opened, opened  # noqa: F401 - a fixture
from tests.pages.states import HOUSE, STATES, full_house

GERMAN = {"accept-language": "de"}
NAMED = re.compile(
    "Bellcrank|Tern Cottage|[Ff]ront( door)?|[Gg]arden( door)?|hall|loft|Ann|MQTT|HTTP|CSV|WAV|API|PDF|LED|AWG|rms|Europe/London|UTC|"
    r"\bmin\b|kHz|dBm|family|postman|parcel|nobody|terminal\.csv|[a-z]+_[a-z_]+|rail\.mean|regulator|doors|nowhere|reservoir-aged|contact-stuck|tern-cottage|soon|x{40,}"
)
"""What somebody named, and what every language writes so."""


@pytest.fixture(autouse=True)
def bracketed(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """German is what the brackets say."""
    known = Bracketed()
    language._resaid.cache_clear()
    monkeypatch.setattr(language, "catalogue", lambda _: known)
    yield
    language._resaid.cache_clear()
    language._patterns.cache_clear()


def assert_said(client: object, *addresses: str) -> None:
    for address in addresses:
        answer = client.get(address, headers=GERMAN)  # type: ignore[attr-defined]
        assert answer.status_code < 504
        assert "⟦" in answer.text
        assert list(escaped(answer.text, NAMED)) == [], address


@pytest.mark.parametrize("state", STATES)
def test_the_pages_in_every_state(opened: Opened, state: str) -> None:  # noqa: F811
    told = STATES[state]
    client = opened(told.record(), **told.given())
    assert_said(client, *told.addresses)
    client.cookies.set("name", "Ann")
    assert_said(client, "/")


def test_the_pages_of_somebody_who_was_away(opened: Opened) -> None:  # noqa: F811
    client = opened(full_house())
    client.cookies.set("name", "Ann")
    assert_said(client, f"{HOUSE}?since=away", f"{HOUSE}/callers")


def test_what_a_form_is_answered(opened: Opened) -> None:  # noqa: F811
    client = opened(full_house())
    for address, form in (
        (f"{HOUSE}/names", {"name": "", "time_zone": "Europe/London"}),
        (f"{HOUSE}/names", {"name": "x" * 80, "time_zone": "Europe/London"}),
        (f"{HOUSE}/visit/1", {"who": "x" * 80, "note": ""}),
        (f"{HOUSE}/away", {"start": "soon", "end": "", "summary": ""}),
    ):
        answer = client.post(address, data=form, headers=GERMAN)
        assert list(escaped(answer.text, NAMED)) == [], (address, form)


@pytest.fixture
def wired(tmp_path: Path) -> Iterator[OpenedHouse]:
    moments = [1000.0, 1010.0, 90_000.0, 93_900.0, 180_000.0]
    heard = [
        arrival(pack(seq, PRESS, up_s=at_s), at_s + 0.05) for seq, at_s in zip((0, 1, 2, 5, 6), moments, strict=True)
    ]
    with open_house(tmp_path, heard, SHEET, on_paper=paper.pdf) as found:
        found.clock[0] = T0 + 200_000.0
        yield found


def test_fit_out_bench_and_report(wired: OpenedHouse) -> None:
    bad = "chime=hall&asked=1&transformer_v=30&reservoir_f=10&reservoir_rated_v=16&sound_a=400&regulator=linear&regulator_v=5"
    assert_said(
        wired.client, f"{HOUSE}/fitout", f"{HOUSE}/fitout?begin=1", f"{HOUSE}/fitout/paper?chime=hall", f"{HOUSE}/bench",
        f"{HOUSE}/report", f"{HOUSE}/fitout?{bad}", f"{HOUSE}/fitout?chime=hall&asked=1&reservoir_f=soon",
        f"{HOUSE}/fitout?chime=hall&asked=1", f"{HOUSE}/chime/hall/supply", f"{HOUSE}/chime/hall/supply?first=soon",
    )  # fmt: skip
    moments = np.arange(2000) * 1e-4
    shapes = (np.maximum(24.0 * np.sin(100.0 * np.pi * moments) - 0.5, 0.0), 7.0 + 0.0 * moments)
    for volts in shapes:
        rows = "s,V\n" + "".join(f"{t:.5f},{v:.4f}\n" for t, v in zip(moments, volts, strict=True))
        for point in ("terminal", "rectifier", ""):
            answer = wired.client.post(
                f"{HOUSE}/bench",
                files={"capture": ("terminal.csv", rows)},
                data={"point": point, "chime": "hall"},
                headers=GERMAN,
            )
            assert answer.status_code == 200
            assert list(escaped(answer.text, NAMED)) == [], point
    refused = wired.client.post(f"{HOUSE}/bench", files={"capture": ("terminal.csv", "%PDF-1.7")}, headers=GERMAN)
    assert refused.status_code == 400
    assert list(escaped(refused.text, NAMED)) == []


def test_alarms_and_every_ready_rule(cottage: Cottage, rules: object) -> None:  # noqa: F811
    cottage.tick(8 * DAY_S)
    every = [one.rule.id for one in cottage.store.reader().alarm_rules("tern-cottage", "hall")]
    assert len(every) > 20
    assert_said(rules, f"{HOUSE}/alarms", *(f"{HOUSE}/chime/hall/rule/{one}" for one in every))
    for wish, value in (("try", "2"), ("keep", "soon"), ("keep", "2")):
        form = {"watch.longer_than_s*86400": value, "priority": "high", "wish": wish}
        answer = rules.post(f"{HOUSE}/chime/hall/rule/chime-silent/values", data=form, headers=GERMAN)  # type: ignore[attr-defined]
        assert list(escaped(answer.text, NAMED)) == [], wish
