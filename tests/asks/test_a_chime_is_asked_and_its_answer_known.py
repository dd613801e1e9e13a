"""Promise: a request is kept, sent once and its answer known, late ones too; the schedule asks once a day when nobody rings."""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import pytest

from adapters.calendars_apart import wall_clock
from adapters.sql.work import SqlStore
from service.asking import DEFAULT_HOUR, Asking
from service.asks import ANSWER_WITHIN_S, LATE_S
from service.errors import NotFound, Refused
from service.ports import Work
from service.retries import Answer
from tests.blind_time.listening import PRESS, alive, minutes, sent, take_in
from tests.builders import CHIME, SITE, T0

T = TypeVar("T")
SOUND = {"n": "sound", "vb": True}
BURST = [
    {"n": "rail.idle.max", "u": "V", "v": 17.6},
    {"n": "rail.idle.min", "u": "V", "v": 17.4},
    {"n": "rail.test.max", "u": "V", "v": 15.9},
    {"n": "rail.test.min", "u": "V", "v": 15.2},
    {"n": "load.test", "u": "A", "v": 0.03},
]
"""A survey in a few figures."""


@dataclass
class House:
    store: SqlStore
    now_s: float = 310.0
    taken: bool = True
    sent: list[dict[str, Any]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.restart()

    def restart(self) -> None:
        self.asking = Asking(self.store.reader(), self, lambda: T0 + self.now_s, self.tell, wall_clock)

    def do(self, action: Callable[[Work], T], timeout_s: float = 10.0) -> T:
        with self.store.work() as work:
            return action(work)

    def tell(self, site: str, chime: str, leaf: str, payload: bytes) -> Answer:
        assert (site, chime, leaf) == (SITE, CHIME, "ask")
        self.sent += [json.loads(payload)] if self.taken else []
        return Answer(self.taken, "acknowledged" if self.taken else "the broker is away")

    def tick(self, now_s: float) -> None:
        self.now_s = now_s
        self.asking.tick()

    @property
    def last(self) -> tuple[str, str]:
        ask = self.store.reader().asks(SITE, CHIME)[0]
        return ask.state, ask.told


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    store = SqlStore(f"sqlite:///{tmp_path / 'record.sqlite'}", "Europe/London")
    take_in(store, minutes(0, 5))
    with store.work() as work:
        work.claim(SITE, CHIME, None)
    yield House(store)
    store.close()


def test_bursts_are_asked_for_and_the_survey_that_follows_is_the_answer(house: House) -> None:
    ask = house.asking.ask(SITE, CHIME, "bursts", "Ann", "before I drive out")
    assert house.sent == [{"id": f"ask-{ask.id}", "do": "bursts"}]
    house.tick(320.0)
    assert house.last == ("waiting", "")
    take_in(house.store, [sent(6, 325.0, *BURST)])
    house.tick(330.0)
    assert house.last == ("answered", "The chime answered, 15 s after it was asked.")


def test_a_survey_from_before_is_no_answer(house: House) -> None:
    take_in(house.store, [sent(6, 306.0, *BURST)])
    house.asking.ask(SITE, CHIME, "bursts")
    house.tick(340.0)
    assert house.last[0] == "waiting"


def test_a_sound_is_answered_by_a_sound(house: House) -> None:
    house.asking.ask(SITE, CHIME, "sound")
    take_in(house.store, [sent(6, 312.0, SOUND)])
    house.tick(315.0)
    assert house.last[0] == "answered"


def test_a_sound_that_was_asked_for_is_nobody_at_the_door(house: House) -> None:
    """A sound that no press explains says that somebody pressed unseen; one that was asked for does not."""
    house.asking.ask(SITE, CHIME, "sound")
    take_in(house.store, [sent(6, 312.0, SOUND)])
    assert house.store.reader().unseen(SITE, T0, T0 + 1000.0) == []
    take_in(house.store, [sent(7, 312.0 + ANSWER_WITHIN_S["sound"], SOUND)])
    (one,) = house.store.reader().unseen(SITE, T0, T0 + 1000.0)
    assert round(one.start_s - T0) == 372


def test_no_answer_is_told_and_a_late_one_still_counts(house: House) -> None:
    house.asking.ask(SITE, CHIME, "bursts")
    house.tick(310.0 + ANSWER_WITHIN_S["bursts"] + 1.0)
    assert house.last == ("unanswered", "The chime has not answered within 180 s.")
    take_in(house.store, [sent(6, 1000.0, *BURST)])
    house.tick(1001.0)
    assert house.last == ("answered", "The chime answered late, 690 s after it was asked.")
    house.tick(310.0 + LATE_S + 1.0)
    assert house.last[0] == "answered"


def test_a_restart_in_between_loses_no_answer(house: House) -> None:
    house.asking.ask(SITE, CHIME, "bursts")
    take_in(house.store, [sent(6, 325.0, *BURST)])
    house.restart()
    house.tick(330.0)
    assert (house.last[0], len(house.sent)) == ("answered", 1)


def test_what_the_broker_does_not_take_is_told_at_once(house: House) -> None:
    house.taken = False
    assert house.asking.ask(SITE, CHIME, "sound").state == "not sent"
    assert house.last == ("not sent", "The broker did not take it: the broker is away.")


def test_quiet_is_asked_for_with_its_end_for_a_chime_with_a_clock_and_one_without(house: House) -> None:
    ask = house.asking.ask(SITE, CHIME, "hush", "Ann", "the baby sleeps", T0 + house.now_s + 3600.0)
    assert house.sent == [{"id": f"ask-{ask.id}", "do": "hush", "for_s": 3600.0, "until_s": T0 + house.now_s + 3600.0}]
    assert ask.state == "sent"


def test_what_makes_no_sense_is_refused(house: House) -> None:
    with pytest.raises(Refused, match="has an end"):
        house.asking.ask(SITE, CHIME, "hush")
    with pytest.raises(Refused, match="within 24 hours"):
        house.asking.ask(SITE, CHIME, "hush", until_s=T0 + 1e6)
    with pytest.raises(NotFound):
        house.asking.ask(SITE, "attic", "sound")
    take_in(house.store, [alive(309.0, False)])
    with pytest.raises(Refused, match="absent"):
        house.asking.ask(SITE, CHIME, "sound")
    assert house.sent == []


# T0 is 2026-09-14 11:00 in Britain (from the POSIX time, by hand)
TO_THREE_S = 16 * 3600.0


def surveyed(house: House) -> None:
    take_in(house.store, [sent(6, 365.0, *BURST)])


def test_the_schedule_asks_once_a_day_at_its_hour(house: House) -> None:
    surveyed(house)
    assert house.asking.hour_of(SITE, T0)[0] == DEFAULT_HOUR
    for hour in range(72):
        for minute in (0, 20, 40):
            now_s = 400.0 + 3600.0 * hour + 60.0 * minute
            house.tick(now_s)
            if house.sent and house.last[0] == "waiting":
                seq = 6 + len(house.sent)
                take_in(house.store, [sent(seq, now_s + 5.0, *BURST)])
    asks = house.store.reader().asks(SITE, CHIME)
    local = [wall_clock(house.asking._zone(SITE))(one.asked_s) for one in asks]
    assert [one.hour for one in local] == [3, 3]  # of the first night the survey was young enough
    assert len({one.day for one in local}) == 2
    assert {one.by for one in asks} == {"the schedule"}
    assert "Too little is known" in asks[0].why


def test_the_schedule_waits_while_somebody_rings_and_leaves_an_absent_chime_in_peace(house: House) -> None:
    surveyed(house)
    night_s = TO_THREE_S + 86_400.0 + 600.0
    take_in(house.store, [sent(7, night_s - 60.0, PRESS)])
    house.tick(night_s)
    assert house.sent == []
    house.tick(night_s + 1000.0)
    assert len(house.sent) == 1
    house.tick(night_s + 2000.0)  # it has not answered
    assert len(house.sent) == 1
    take_in(house.store, [alive(night_s + 2100.0, False)])
    house.tick(night_s + 86_400.0)
    assert len(house.sent) == 1


def test_a_chime_that_never_sent_bursts_is_not_asked_by_the_schedule(house: House) -> None:
    house.tick(TO_THREE_S + 86_400.0 + 600.0)
    assert house.sent == []


def test_the_hour_is_learnt_from_when_people_ring(house: House) -> None:
    """Eight weeks in which people ring in every hour but at eleven in the morning."""
    presses = [
        sent(6 + number, 3600.0 * hour + 400.0, PRESS)
        for number, hour in enumerate(
            hour
            for hour in range(56 * 24)
            if wall_clock(house.asking._zone(SITE))(T0 + 3600.0 * hour + 400.0).hour != 11
        )
    ]
    take_in(house.store, presses)
    hour, why = house.asking.hour_of(SITE, T0 + 56 * 86_400.0)
    assert hour == 11
    assert "people rang 0 times" in why
