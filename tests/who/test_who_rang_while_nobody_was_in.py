"""Promise: "while you were away" names its stretch and how it was chosen, who rang, what the record cannot know, in one honest sentence."""

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from service.callers import Blindness, WhileAway
from service.intake import receive
from service.model import BlindSpell, Press, Unseen, Visit
from service.telling_who import sentence
from tests.builders import CHIME, PRESS, SITE, T0, arrival, pack
from tests.who.conftest import House
from tests.who.test_when_somebody_is_away import calendar, put

LONDON = ZoneInfo("Europe/London")
HOUR_S = 3600.0


def iso(at_s: float) -> str:
    return datetime.fromtimestamp(at_s, UTC).isoformat()


def ask(house: House, **params: Any) -> dict[str, Any]:
    told: dict[str, Any] = house.get("/while-away", **params)
    return told


def between(house: House, start_s: float, end_s: float) -> dict[str, Any]:
    return ask(house, start=iso(T0 + start_s), end=iso(T0 + end_s))


def test_a_stretch_asked_for_is_answered_with_its_visits(rung: House) -> None:
    told = between(rung, 90.0, 400.0)
    assert told["chosen"] == "as asked"
    assert [visit["start"] for visit in told["visits"]] == [visit["start"] for visit in rung.visits()[:2]]
    assert told["stretches"][0]["start"][:19] == iso(T0 + 90.0)[:19]


def test_the_calendar_chooses_the_present_absence_or_else_the_last(rung: House) -> None:
    """T0 is 10:00 UTC. Somebody rang at 10:01, 10:05, 10:08 and 10:13."""
    morning = "UID:a\r\nDTSTART:20260914T090000Z\r\nDTEND:20260914T100400Z"
    shop = "UID:b\r\nDTSTART:20260914T100430Z\r\nDTEND:20260914T103000Z"
    evening = "UID:c\r\nDTSTART:20260914T180000Z\r\nDTEND:20260914T190000Z"
    put(rung, calendar(morning, shop, evening))
    rung.now_s = T0 + 600.0
    present = ask(rung, person="Ann")
    assert (present["chosen"], len(present["visits"])) == ("by calendar", 2)
    assert present["stretches"] == [{"start": "2026-09-14T10:04:30Z", "end": "2026-09-14T10:10:00Z"}]
    rung.now_s = T0 + 2 * HOUR_S
    last = ask(rung, person="Ann")
    assert last["stretches"][0]["end"] == "2026-09-14T10:30:00Z"
    assert last["told"].startswith("Three callers while you were away")


def test_without_a_calendar_it_is_since_the_last_look_and_before_any_look_since_the_record_began(rung: House) -> None:
    first = ask(rung, person="Ann")
    assert (first["chosen"], len(first["visits"])) == ("since the record began", 4)
    for at_s in (T0 + 450.0, T0 + 4000.0):
        with rung.store.work() as work:
            work.look(SITE, "Ann", at_s, 1800.0)
    rung.now_s = T0 + 4000.0
    told = ask(rung, person="Ann")
    assert (told["chosen"], told["stretches"][0]["start"][:19]) == ("since the last look", iso(T0 + 450.0)[:19])
    assert [len(told["visits"]), told["told"][:36]] == [2, "Two callers since you last looked; t"]


def test_nothing_is_told_of_what_is_still_to_come(rung: House) -> None:
    rung.now_s = T0 + 900.0
    told = between(rung, 0.0, 1e6)
    assert told["stretches"][0]["end"][:19] == iso(T0 + 900.0)[:19]
    late = {"start": iso(T0 + 901.0), "end": iso(T0 + 1e6)}
    assert rung.get("/while-away", 400, **late)["detail"].startswith("A stretch begins before now")
    assert rung.get("/while-away", 400, start=late["end"], end=late["start"])["status"] == 400
    assert "person" in rung.get("/while-away", 400)["detail"]
    assert rung.client.get("/api/v1/sites/elsewhere/while-away", params={"person": "Ann"}).status_code == 404


def test_blind_time_is_told_with_its_share_and_named_in_the_sentence(house: House) -> None:
    """The chime is heard until 11:01:59 London time, then again from 11:31:00 on, after it had no power."""
    house.ring((20.0, 20.4))
    house.ring((100.0, 100.2), (119.0, 119.5))
    house.seq = 0
    house.take(up_s=1.0, boot=2, since_s=T0 + 1859.0)
    house.ring((140.0, 140.2), boot=2, since_s=T0 + 1859.0)
    told = between(house, 60.0, 1999.2)
    assert (told["complete"], len(told["visits"])) == (False, 2)
    (spell,) = told["blind"]
    assert spell["why"] == "chime without power"
    blind_s = datetime.fromisoformat(spell["end"]).timestamp() - datetime.fromisoformat(spell["start"]).timestamp()
    assert told["blind_s"] == pytest.approx(blind_s, abs=0.06)
    assert told["share"] == pytest.approx(blind_s / 1939.2, abs=1e-4)
    assert told["told"] == "Two callers between 11:01 and 11:34; the record is complete but for 11:01–11:32."


def visit(number: int, doubtful: bool = False) -> Visit:
    press = Press(
        number,
        number,
        SITE,
        CHIME,
        "front",
        T0,
        T0 + 0.2,
        0.1,
        "edges",
        1,
        0,
        False,
        "doubtful" if doubtful else "sure",
    )
    return Visit(number, SITE, CHIME, "front", T0, T0 + 0.2, None, (press,))


def away(
    visits: int,
    *gaps_s: tuple[float, float],
    doubtful: int = 0,
    unseen: tuple[Unseen, ...] = (),
    start_s: float = 0.0,
    end_s: float = 8 * HOUR_S,
    now_s: float = 10 * HOUR_S,
    first_s: float = -HOUR_S,
    pending: int = 0,
) -> WhileAway:
    """An absence from 11:00 to 19:00 in London, asked at 21:00 the same day; moments count from T0."""
    gaps = tuple((T0 + a, T0 + b) for a, b in gaps_s)
    spells = tuple(BlindSpell(SITE, CHIME, a, b, "chime without power") for a, b in gaps)
    return WhileAway(
        "by calendar",
        T0 + start_s,
        T0 + end_s,
        T0 + now_s,
        tuple(visit(n) for n in range(visits)),
        tuple(visit(100 + n, True) for n in range(doubtful)),
        unseen,
        Blindness(spells, gaps, T0 + first_s),
        pending,
    )


RISE = Unseen(SITE, CHIME, T0, T0 + 1.0, ("rail rose",))
PACKS = Unseen(SITE, CHIME, T0, T0 + 1.0, ("packs missing",), packs=2)
AT_1402 = (3 * HOUR_S + 120.0, 3 * HOUR_S + 31 * 60.0)


@pytest.mark.parametrize(
    ("fact", "told"),
    [
        (away(0), "Nobody rang while you were away; the record is complete."),
        (away(1), "One caller while you were away; the record is complete."),
        (away(3, AT_1402), "Three callers while you were away; the record is complete but for 14:02–14:31."),
        (away(13), "13 callers while you were away; the record is complete."),
        (
            away(0, AT_1402),
            "Nobody is known to have rung while you were away; the record is complete but for 14:02–14:31.",
        ),
        (
            away(12, (0.0, 12.0), AT_1402, (7 * HOUR_S, 7.5 * HOUR_S)),
            "Twelve callers while you were away; the record is complete but for 12 s at 11:00, 14:02–14:31 and 18:00–18:30.",
        ),
        (
            away(2, *((n * HOUR_S, n * HOUR_S + 600.0) for n in range(7))),
            "Two callers while you were away; the record is complete but for 1 h 10 min in seven stretches.",
        ),
        (
            away(2, (0.0, 8 * HOUR_S)),
            "Two callers while you were away; nothing could be recorded in all that time.",
        ),
        (
            away(2, (7 * HOUR_S, 8 * HOUR_S), now_s=8 * HOUR_S),
            "Two callers while you were away; the record is complete but for the time since 18:00.",
        ),
        (
            away(1, AT_1402, now_s=30 * HOUR_S),
            "One caller while you were away; the record is complete but for 14 Sep 14:02–14:31.",
        ),
        (
            away(1, doubtful=2),
            "One caller while you were away; two rings beside that rather damp or induction; the record is complete.",
        ),
        (
            away(0, unseen=(RISE,)),
            "Nobody is known to have rung while you were away; one sign of a press that nothing recorded; the record has no gap.",
        ),
        (
            away(1, AT_1402, unseen=(PACKS,)),
            "One caller while you were away; the record is complete but for 14:02–14:31.",
        ),
        (
            away(0, pending=2),
            "Nobody is known to have rung while you were away; two packs are still to be read; the record has no gap.",
        ),
        (
            away(1, first_s=1800.0),
            "One caller while you were away; the record has no gap; it begins at 11:30.",
        ),
    ],
)
def test_one_plain_sentence(fact: WhileAway, told: str) -> None:
    """T0 is 11:00 on 14 September 2026 in London."""
    assert sentence(fact, LONDON) == told


def test_on_the_night_of_the_change_the_zone_is_named() -> None:
    """25 October 2026, 02:00 BST becomes 01:00 GMT (zoneinfo): half past one comes twice."""
    half_past = datetime(2026, 10, 25, 1, 30, tzinfo=LONDON).timestamp() - T0
    fact = away(
        0,
        (half_past, half_past + HOUR_S),
        start_s=half_past - 7200.0,
        end_s=half_past + 7200.0,
        now_s=half_past + 9000.0,
    )
    assert "but for 01:30 BST–01:30 GMT." in sentence(fact, LONDON)


def test_complete_is_said_only_where_nothing_is_in_doubt() -> None:
    assert away(1).complete
    assert not away(1, AT_1402).complete
    assert not away(1, unseen=(PACKS,)).complete
    assert not away(1, first_s=60.0).complete


def test_what_has_come_and_is_not_read_yet_is_said(rung: House) -> None:
    assert between(rung, 150.0, 400.0)["complete"]
    receive(rung.store, [arrival(pack(rung.seq, PRESS), 700.0)])  # kept, and the keeper does not know of it
    told = between(rung, 150.0, 400.0)
    assert (told["complete"], told["pending"]) == (False, 1)
