"""Any stretch of the supply can be asked for, from ten years to one cycle of the mains, with limits, intervals and what it began with."""

import base64
import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from html import unescape
from pathlib import Path

import pytest

from service.findings.life import Held, State, Step
from service.findings.verdict import Finding, Measured
from tests.builders import CHIME, PRESS, SITE, T0, arrival, pack
from tests.opened_house import OpenedHouse, open_house

PAGE = f"/house/{SITE}/chime/{CHIME}/supply"
DAY_S = 86_400.0
SHEET = {"mains_hz": 50, "transformer_v": 12, "transformer_va": 8, "reservoir_f": 1e-3, "idle_a": 0.008, "regulator_v": 5.0,
         "dropout_v": 7.0,
         "doors": {"front": {"diode": True}}}  # fmt: skip


def window(mean_v: float) -> list[dict[str, object]]:
    figures = {"mean": mean_v, "min": mean_v - 0.3, "max": mean_v + 0.3}
    return [
        *({"n": f"rail.{name}", "u": "V", "v": v} for name, v in figures.items()),
        {"n": "rail.window", "u": "s", "v": 3600},
    ]


def survey() -> list[dict[str, object]]:
    """A burst at rest: 200 samples at 2 kHz of a rail of 14 V that rises quickly and falls slowly in each cycle."""
    codes = [2800 + (40 if n % 40 < 8 else 40 - (n % 40 - 8)) for n in range(200)]
    data = b"".join(code.to_bytes(2, "little", signed=True) for code in codes)
    burst = {"n": "rail.burst.idle", "vd": base64.urlsafe_b64encode(data).decode().rstrip("=")}
    return [{"n": "rail.rate", "u": "Hz", "v": 2000}, {"n": "rail.lsb", "u": "V", "v": 0.005}, burst]


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[OpenedHouse]:
    """Forty days of hourly windows that fall by a tenth of a volt a day; each week a survey; a press; two days are missing."""
    hours = [n for n in range(1, 40 * 24) if not 480 <= n < 528]
    heard = [arrival(pack(n, *window(18.0 - n / 240.0), up_s=3600.0 * n), 3600.0 * n + 0.05) for n in hours]
    heard.append(arrival(pack(10_000, PRESS, up_s=3600.0 * 40 * 24), 3600.0 * 40 * 24 + 0.05))
    with open_house(tmp_path_factory.mktemp("stretch"), heard, SHEET) as found:
        found.clock[0] = T0 + 40 * DAY_S + 60.0
        with found.store.work() as work:
            for week in range(6):
                farads = 1e-3 * (1.0 - 0.01 * week)
                work.add_quantities(
                    SITE,
                    CHIME,
                    T0 + 7 * DAY_S * week + 300.0,
                    {"reservoir_f": Measured(farads, 0.97 * farads, 1.03 * farads)},
                )
            while work.roll_readings(found.clock[0]):
                pass
        yield found


def shown(house: OpenedHouse, query: str = "") -> str:
    answer = house.client.get(PAGE + query)
    assert answer.status_code == 200
    return unescape(answer.text).replace("\u202f", " ")


def test_all_of_it_since_it_was_first_heard(house: OpenedHouse) -> None:
    page = shown(house)
    assert "The rail lay between 13.70 V and 18.30 V." in page
    assert page.count('class="trace"') == 1
    assert "Six readings; the last 950 µF." in page
    assert "The limit is 850 µF." in page  # without a record of its commissioning, from the sheet
    assert "The rail in figures" in page


def test_a_part_of_it_says_what_the_api_says(house: OpenedHouse) -> None:
    page = shown(house, "?first=2026-09-20&last=2026-09-20")
    told = house.client.get(
        f"/api/v1/sites/{SITE}/chimes/{CHIME}/supply?start=2026-09-19T23:00:00Z&end=2026-09-20T23:00:00Z"
    ).json()["supply"]
    low, high = min(one["min_v"] for one in told), max(one["max_v"] for one in told)
    assert f"The rail lay between {low:.2f} V and {high:.2f} V." in page
    assert page.count("readings") == 0


def test_a_gap_is_a_gap(house: OpenedHouse) -> None:
    """The line of means is broken where two days are missing, and the time is hatched as blind."""
    page = shown(house)
    means = re.search(r'<path d="([^"]*)" class="trace"', page)
    assert means is not None
    assert means[1].count("M") == 2
    assert 'class="hatch' in page


@pytest.mark.parametrize(("text", "days"), [("ten years", 3653), ("a year", 365), ("a week", 7), ("a day", 1)])
def test_every_length_can_be_followed(house: OpenedHouse, text: str, days: int) -> None:
    page = shown(house)
    query = re.search(rf'\?([^"]*)"[^>]*>{text}</a>', page)
    assert query is not None
    there = shown(house, "?" + query[1])
    assert re.search(rf'aria-current="true">{text}</a>', there)
    first, last = re.findall(r"\d{4}-\d\d-\d\d", query[1])
    assert (_day(last) - _day(first)) // DAY_S + 1 == days


def test_earlier_later_and_narrower(house: OpenedHouse) -> None:
    page = shown(house, "?first=2026-09-20&last=2026-09-28")
    ways = dict(re.findall(r'\?(first=[^"]*)"><i>(.*?)</i>', page))
    assert {told: way for way, told in ways.items()} == {
        "earlier": "first=2026-09-16&last=2026-09-24",
        "later": "first=2026-09-24&last=2026-10-02",
        "the middle third": "first=2026-09-23&last=2026-09-25",
    }


def test_moments_within_two_days_are_shown_as_they_are_asked_for(house: OpenedHouse) -> None:
    """The house is in London, an hour ahead of UTC in September."""
    page = shown(house, "?first=2026-09-20T05:00:00Z&last=2026-09-20T08:30:00Z")
    assert "06.00 to 09.30" in page
    told = house.client.get(
        f"/api/v1/sites/{SITE}/chimes/{CHIME}/supply?start=2026-09-20T05:00:00Z&end=2026-09-20T08:30:00Z"
    ).json()["supply"]
    assert f"between {min(one['min_v'] for one in told):.2f} V and {max(one['max_v'] for one in told):.2f} V." in page
    ways = {told: way for way, told in re.findall(r'\?(first=[^"]*)"><i>(.*?)</i>', page)}
    assert ways == {
        "earlier": "first=2026-09-20T03:15:00Z&last=2026-09-20T06:45:00Z",
        "later": "first=2026-09-20T06:45:00Z&last=2026-09-20T10:15:00Z",
        "the middle third": "first=2026-09-20T06:10:00Z&last=2026-09-20T07:20:00Z",
    }
    assert (
        shown(house, "?first=2026-09-20T06:00&last=2026-09-20T09:30").count("06.00 to 09.30") == 1
    )  # by the house's clock
    assert "06.00 to 06.10" in shown(house, "?first=2026-09-20T05:05:00Z&last=2026-09-20T05:05:01Z")  # no shorter one
    over = shown(house, "?first=2026-09-20T05:00:00Z&last=2026-09-23T08:30:00Z")
    assert 'name="last" value="2026-09-23"' in over
    assert "September 2026 to" in over  # beyond two days, whole ones


def test_the_script_gets_what_the_drawing_shows(house: OpenedHouse) -> None:
    """Points, gap, press, blind time and limit; and the figures are what the API tells."""
    page = shown(house, "?first=2026-09-10&last=2026-10-24")
    rail, reservoir = (json.loads(one) for one in re.findall(r'class="figures">(.*?)</script>', page))
    told = house.client.get(
        f"/api/v1/sites/{SITE}/chimes/{CHIME}/supply?start=2026-09-09T23:00:00Z&end=2026-10-24T23:00:00Z&step_s=21600"
    ).json()["supply"]
    points = [one for one in rail["points"] if one[1] is not None]
    assert [one[1:4] for one in points] == pytest.approx(
        [pytest.approx([one["mean_v"], one["min_v"], one["max_v"]], abs=1e-3) for one in told]
    )
    assert len(rail["points"]) - len(points) == 1  # the two days that are missing
    assert len(rail["presses"]) == 1
    assert any(end_s - start_s > 1.9 * DAY_S for start_s, end_s in rail["blind"])
    assert [one[1] for one in reservoir["points"]] == pytest.approx([1000, 990, 980, 970, 960, 950])
    assert reservoir["limit"] == pytest.approx(850)
    assert (reservoir["low"], reservoir["high"]) == (850, 1050)


def test_readings_as_far_apart_as_the_chime_sends_them_are_one_line(tmp_path: Path) -> None:
    """One of a second in each minute; five are missing."""
    minutes = [n for n in range(1, 60) if not 30 <= n < 35]
    figures = [{"n": "rail.mean", "u": "V", "v": 14.0}, {"n": "rail.window", "u": "s", "v": 1}]
    heard = [arrival(pack(n, *figures, up_s=60.0 * n), 60.0 * n + 0.05) for n in minutes]
    with open_house(tmp_path, heard, SHEET) as house:
        house.clock[0] = T0 + 3600.0
        start, end = (datetime.fromtimestamp(T0 + at_s, UTC).strftime("%Y-%m-%dT%H:%M:%SZ") for at_s in (0.0, 3600.0))
        means = re.search(r'<path d="([^"]*)" class="trace"', shown(house, f"?first={start}&last={end}"))
    assert means is not None
    assert means[1].count("M") == 2


def test_dips_of_the_mains_stand_beside_what_the_chime_did(house: OpenedHouse) -> None:
    """Whether they are still told or long over."""
    told = (("mains-dip", 3, State.RAISED), ("mains-swell", 5, State.CLEARED), ("contact-stuck", 4, State.RAISED))
    with house.store.work() as work:
        for name, days, state in told:
            found = Finding(name, 0.9, None, (), T0 + days * DAY_S, ())
            held = Held(0, SITE, CHIME, found, state, T0 + 6 * DAY_S, T0 + 6 * DAY_S)
            work.put_finding(SITE, CHIME, Step(held))
    page = shown(house, "?first=2026-09-10&last=2026-10-24")
    assert page.count('class="dip"') == 2
    rail = json.loads(re.findall(r'class="figures">(.*?)</script>', page)[0])
    assert rail["dips"] == [[T0 + 3 * DAY_S, False], [T0 + 5 * DAY_S, True]]


def test_what_is_no_stretch_gets_a_sentence(house: OpenedHouse) -> None:
    for query in ("?first=yesterday", "?first=2026-02-30", "?last=9999-99-99", "?first=2026-09-20T25:00"):
        answer = house.client.get(PAGE + query)
        assert answer.status_code == 404
        assert "no stretch of days" in answer.text
    assert house.client.get(f"/house/{SITE}/chime/loft/supply").status_code == 404
    backwards = shown(house, "?first=2026-09-28&last=2026-09-20")
    assert 'name="first" value="2026-09-20"' in backwards


def test_a_future_or_an_empty_past_is_told(house: OpenedHouse) -> None:
    assert "Nothing of the supply was recorded in that time." in shown(house, "?first=2016-01-01&last=2016-02-01")


def test_a_survey_is_opened_with_what_the_sheet_predicts(tmp_path: Path) -> None:
    heard = [arrival(pack(1, *window(14.0), up_s=3600.0), 3600.05), arrival(pack(2, *survey(), up_s=7200.0), 7200.05)]
    with open_house(tmp_path, heard, SHEET) as house:
        house.clock[0] = T0 + 8000.0
        page = shown(house)
        query = re.search(r'\?([^"]*burst=[^"#]*)#cycles', page)
        assert query is not None
        opened = shown(house, "?" + query[1])
        assert "<h3>At rest</h3>" in opened
        assert "predicted at nominal mains" in opened
        assert opened.count('class="predicted"') == 2  # and the one that names the line


def _day(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()
