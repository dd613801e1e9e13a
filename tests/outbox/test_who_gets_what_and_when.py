"""Promise: each way out gets the events it asked for; in quiet hours and absences what is not urgent waits, and nothing is lost."""

from datetime import UTC, datetime

import pytest

from service.model import Event
from service.outlet_form import read_outlet
from service.presses.away import Away
from service.telling import rfc3339
from tests.builders import CHIME, SITE, T0
from tests.outbox.conftest import HOOK, MAIL, Post, Receiver

HOUR_S = 3600.0


def at(text: str) -> float:
    """A moment in London."""
    return datetime.fromisoformat(text).timestamp()


def test_only_the_kinds_it_asked_for(post: Post) -> None:
    some, all_of_them = post.outlet(kinds=["finding"]), post.outlet(name="another")
    post.ring("front")
    post.ring("garden", kind="finding")
    post.ring("cellar", kind="supply")
    post.ring("cellar", kind="presence")
    assert [len(post.reader.waiting_letters(outlet, 0, 10)) for outlet in (some, all_of_them)] == [1, 2]


def test_only_the_house_it_asked_for(post: Post) -> None:
    other = post.outlet(site="gull-cottage")
    post.ring("front")
    assert post.reader.outbox(other).waiting == 0


def test_doubtful_presses_are_told_to_nobody(post: Post) -> None:
    outlet = post.outlet()
    post.ring("front", doubtful=True)
    assert post.reader.outbox(outlet).waiting == 0


def test_a_chime_that_nobody_has_claimed_is_told_to_nobody(post: Post) -> None:
    outlet = post.outlet()
    post.do(lambda work: work.chime(SITE, "stranger", T0))
    post.do(lambda work: work.add_event("press", T0, SITE, "stranger", {"door": "front"}))
    assert post.reader.outbox(outlet).waiting == 0


def test_nothing_is_written_for_one_that_is_switched_off(post: Post) -> None:
    outlet = post.outlet()
    post.ring("front")
    post.do(lambda work: work.switch_outlet(outlet, "the workshop is closed"))
    post.ring("garden")
    receiver = Receiver()
    post.run(post.carrier(outlet, receiver), T0 + HOUR_S)
    assert receiver.letters == []
    post.do(lambda work: work.switch_outlet(outlet, ""))
    post.run(post.carrier(outlet, receiver), T0 + HOUR_S)
    assert receiver.doors == ["front"]


@pytest.mark.parametrize(
    ("lowest", "doors"), [("low", ["a", "b", "c", "d"]), ("medium", ["b", "c", "d"]), ("critical", ["d"])]
)
def test_what_is_below_its_priority_does_not_go_out(post: Post, lowest: str, doors: list[str]) -> None:
    outlet, receiver = post.outlet(lowest=lowest), Receiver()
    post.ring("a", kind="visit")
    post.ring("b")
    post.ring("c", kind="alarm", priority="high")
    post.ring("d", kind="alarm", priority="critical")
    post.run(post.carrier(outlet, receiver), T0)
    assert receiver.doors == doors


# T0 is 2026-09-14T10:00:00Z: 11:00 in London, British Summer Time
QUIET = {"quiet_from": "10:30", "quiet_until": "12:00", "quiet_lowest": "high", "time_zone": "Europe/London"}


def test_in_quiet_hours_what_is_urgent_passes_what_waits(post: Post) -> None:
    outlet, receiver = post.outlet(**QUIET), Receiver()
    post.ring("front", "garden")
    post.ring("cellar", kind="alarm", priority="high")
    carrier = post.carrier(outlet, receiver)
    post.run(carrier, T0 + HOUR_S - 60.0)
    assert receiver.doors == ["cellar"]
    post.run(carrier, T0 + HOUR_S + 60.0)  # noon
    assert receiver.doors == ["cellar", "front", "garden"]
    assert receiver.tried_after_s[1:] == pytest.approx([HOUR_S] * 2, abs=31.0)


@pytest.mark.parametrize(
    ("local", "quiet"),
    [("21:59", False), ("22:00", True), ("23:59", True), ("00:00", True), ("06:59", True), ("07:00", False)],
)
def test_quiet_hours_may_go_over_midnight(local: str, quiet: bool) -> None:
    form = HOOK | {"quiet_from": "22:00", "quiet_until": "07:00", "time_zone": "Europe/London"}
    outlet = read_outlet(form)
    for day in ("2026-01-15", "2026-07-15"):  # GMT, and British Summer Time
        offset = "+00:00" if day == "2026-01-15" else "+01:00"
        assert bool(outlet.lets_through(at(f"{day}T{local}:00{offset}"), is_away=False)) is quiet


def test_while_a_person_is_away_what_is_not_urgent_waits(post: Post) -> None:
    outlet, receiver = post.outlet(person="Ann", site=SITE, away_lowest="high"), Receiver()
    away = Away("by-hand", "at the seaside", T0 - HOUR_S, T0 + HOUR_S)
    post.do(lambda work: work.add_away(SITE, "Ann", away))
    post.ring("front")
    post.ring("garden", kind="alarm", priority="critical")
    carrier = post.carrier(outlet, receiver)
    post.run(carrier, T0 + HOUR_S - 60.0)
    assert receiver.doors == ["garden"]
    post.run(carrier, T0 + HOUR_S + 60.0)
    assert receiver.doors == ["garden", "front"]


def test_another_persons_absence_changes_nothing(post: Post) -> None:
    outlet, receiver = post.outlet(person="Ann", site=SITE, away_lowest="high"), Receiver()
    post.do(lambda work: work.add_away(SITE, "Ben", Away("by-hand", "", T0 - HOUR_S, T0 + HOUR_S)))
    post.ring("front")
    post.run(post.carrier(outlet, receiver), T0)
    assert receiver.doors == ["front"]


def test_a_digest_by_hour_goes_at_the_full_hour(post: Post) -> None:
    outlet = post.do(lambda work: work.put_outlet(read_outlet(MAIL | {"digest": "hour"})))
    receiver = Receiver()
    carrier = post.carrier(outlet, receiver)
    post.now_s = T0 + 600.0
    post.ring("front")
    post.run(carrier, T0 + 1800.0)
    post.ring("garden")
    post.run(carrier, T0 + HOUR_S + 60.0)
    assert [len(letters) for _, letters in receiver.letters] == [2]
    assert receiver.tried_after_s == pytest.approx([HOUR_S], abs=0.1)
    assert post.reader.outbox(outlet).waiting == 0


@pytest.mark.parametrize(
    ("first", "sent"),
    [
        ("2026-09-14T07:59:00+01:00", "2026-09-14T08:00:00+01:00"),
        ("2026-09-14T08:00:00+01:00", "2026-09-15T08:00:00+01:00"),
        ("2026-10-24T09:00:00+01:00", "2026-10-25T08:00:00+00:00"),  # summer time ends in between: 25 hours and more
        ("2026-03-28T09:00:00+00:00", "2026-03-29T08:00:00+01:00"),  # and begins
    ],
)
def test_a_digest_by_day_goes_at_its_hour_of_the_local_day(first: str, sent: str) -> None:
    outlet = read_outlet(MAIL | {"digest": "day", "digest_hour": 8, "time_zone": "Europe/London"})
    assert datetime.fromtimestamp(outlet.collected_until_s(at(first)), UTC).isoformat() == (
        datetime.fromisoformat(sent).astimezone(UTC).isoformat()
    )


def test_a_digest_that_was_not_taken_is_tried_again_whole(post: Post) -> None:
    outlet = post.do(lambda work: work.put_outlet(read_outlet(MAIL | {"digest": "hour"})))
    receiver = Receiver(down=True)
    post.ring("front", "garden")
    carrier = post.carrier(outlet, receiver)
    post.run(carrier, T0 + HOUR_S + 100.0)
    receiver.down = False
    post.run(carrier, T0 + HOUR_S + 400.0)
    keys = [[letter.key for letter in letters] for _, letters in receiver.letters]
    assert len(keys) == 3
    assert keys[0] == keys[1] == keys[2]
    assert receiver.doors == ["front", "garden"]


def test_more_than_one_mail_can_hold_follows_in_the_next(post: Post) -> None:
    outlet = post.do(lambda work: work.put_outlet(read_outlet(MAIL | {"digest": "hour"})))
    receiver = Receiver()
    post.ring(*[f"door{number}" for number in range(230)])
    post.run(post.carrier(outlet, receiver), T0 + HOUR_S + 60.0)
    assert [len(letters) for _, letters in receiver.letters] == [200, 30]


def held(post: Post, seconds: float, press: int = 7, start_s: float = T0) -> None:
    """The press as it is told while the button is held."""
    post.ring("front", id=press, start=rfc3339(start_s), end=rfc3339(start_s + seconds))


def test_a_button_that_is_held_writes_one_mail_and_tells_programs_each_time(post: Post) -> None:
    mail = post.do(lambda work: work.put_outlet(read_outlet(MAIL)))
    hook, person, program = post.outlet(), Receiver(), Receiver()
    carriers = post.carrier(mail, person), post.carrier(hook, program)
    for tenths in range(1, 30):
        held(post, tenths / 10.0)
        for carrier in carriers if tenths % 4 == 0 else ():  # some are written before the one before was sent
            carrier.again()
            post.run(carrier, post.now_s + 0.5)
    assert len(person.taken) == 1
    assert len({letter.key for letter in program.taken}) == 28
    held(post, 0.4, press=8, start_s=T0 + 5.0)  # another one
    held(post, 0.4, press=8, start_s=T0 + 5000.0)  # which a rebuild has given the same number
    post.run(carriers[0], post.now_s + 1.0)
    assert len(person.taken) == 3


def test_a_digest_tells_a_press_as_it_was_when_it_was_over(post: Post) -> None:
    outlet = post.do(lambda work: work.put_outlet(read_outlet(MAIL | {"digest": "hour"})))
    receiver = Receiver()
    with post.store.work() as work:  # in one transaction, and in several
        for tenths in (1, 2):
            told = {"door": "front", "id": 7, "start": rfc3339(T0), "end": rfc3339(T0 + tenths / 10.0)}
            work.add_event("press", T0, SITE, CHIME, told)
    for tenths in range(3, 30):
        held(post, tenths / 10.0)
    post.run(post.carrier(outlet, receiver), T0 + HOUR_S + 60.0)
    (letter,) = receiver.taken
    assert letter.content["data"]["end"] == rfc3339(T0 + 2.9)
    assert letter.content["id"] == letter.key


def test_what_was_tried_stays_as_it_was(post: Post) -> None:
    """It may have arrived, and under its key nothing else is sent."""
    outlet = post.do(lambda work: work.put_outlet(read_outlet(MAIL)))
    receiver = Receiver(down=True)
    carrier = post.carrier(outlet, receiver)
    held(post, 0.1)
    post.run(carrier, T0 + 1.0)
    held(post, 2.0)
    receiver.down = False
    carrier.again()
    post.run(carrier, T0 + 60.0)
    assert [letters[0].content["data"]["end"] for _, letters in receiver.letters] == [rfc3339(T0 + 0.1)] * 2


def test_an_event_has_the_priority_of_its_alarm() -> None:
    outlet = read_outlet(HOOK | {"lowest": "high"})
    assert outlet.wants(Event(1, T0, "alarm", SITE, CHIME, {"priority": "high"}))
    assert not outlet.wants(Event(1, T0, "alarm", SITE, CHIME, {"priority": "low"}))
    assert not outlet.wants(Event(1, T0, "press", SITE, CHIME, {"priority": "high"}))
