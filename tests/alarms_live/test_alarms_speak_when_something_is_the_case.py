"""Promise: a house has alarms without anybody writing a rule; they speak once, go on after a restart, and are told as they change."""

from service.alarm_set import ready_set
from tests.alarms_live.conftest import Cottage
from tests.blind_time.listening import PRESS, minutes, sent
from tests.builders import CHIME, SITE

DAY_S = 86_400.0
OWN = {
    "id": "late-callers",
    "watch": {"kind": "quiet-hours", "begins": "00:00", "ends": "23:59"},
    "cause": "Somebody rang.",
    "consequence": "It was heard.",
    "action": "Look who it was.",
    "priority": "high",
}


def test_a_new_house_has_the_ready_set_and_is_quiet(cottage: Cottage) -> None:
    kept = cottage.store.reader().alarm_rules(SITE, CHIME)
    assert len(kept) > 20
    assert [one.rule for one in kept] == ready_set(cottage.store.reader(), cottage.store.reader().chime(SITE, CHIME))
    assert {one.standing.alarm.state.value for one in kept if one.standing} == {"normal"}
    assert cottage.told == []


def test_a_door_that_is_heard_of_gets_its_rules(cottage: Cottage) -> None:
    cottage.hears(sent(6, 365.0, PRESS), until_s=366.0)
    cottage.tick(2000.0)
    assert cottage.state("held-front") == "normal"


def test_a_week_of_silence_speaks_once_and_is_over_with_the_next_pack(cottage: Cottage) -> None:
    for hour in range(1, 8 * 24):
        cottage.tick(hour * 3600.0)
    silent = [event.data for event in cottage.told if event.data["rule"] == "chime-silent"]
    assert [(one["event"], one["told"], one["priority"]) for one in silent] == [
        ("the condition has come", "annunciated", "medium")
    ]
    # that much of the week was blind follows from it, and is no call of its own, neither before nor afterwards
    assert cottage.state("often-blind") == "suppressed by design"
    cottage.hears(sent(6, 8 * DAY_S), until_s=8 * DAY_S + 1.0)
    for hour in range(8 * 24 + 1, 12 * 24):
        cottage.hears(sent(hour, hour * 3600.0), until_s=hour * 3600.0 + 120.0)
    called = {event.data["rule"] for event in cottage.told if event.data["told"] == "annunciated"}
    assert called == {"chime-silent"}
    assert ("chime-silent", "the condition has gone", "returned to normal, unacknowledged") in cottage.said()


def test_a_restart_tells_nothing_twice_and_forgets_nothing(cottage: Cottage) -> None:
    cottage.tick(8 * DAY_S)
    before = cottage.said()
    cottage.restart()
    cottage.tick(8 * DAY_S + 61.0)
    assert cottage.said() == before != []
    assert cottage.state("chime-silent") == "unacknowledged"


def test_where_nothing_changes_nothing_is_written(cottage: Cottage) -> None:
    versions = [one.version for one in cottage.store.reader().alarm_rules(SITE, CHIME)]
    cottage.hears(sent(6, 365.0), until_s=367.0)
    cottage.tick(500.0)
    assert [one.version for one in cottage.store.reader().alarm_rules(SITE, CHIME)] == versions


def test_a_press_is_looked_at_with_the_next_tick(cottage: Cottage) -> None:
    cottage.actions.put(SITE, CHIME, OWN, "Ann")
    cottage.tick(310.0)
    cottage.hears(sent(6, 320.0, PRESS), until_s=320.5)
    assert cottage.said()[0] == ("late-callers", "the condition has come", "unacknowledged")
    assert "front was pressed" in cottage.told[0].data["why"]


def test_what_was_the_case_before_a_rule_was_switched_on_is_not_news(cottage: Cottage) -> None:
    cottage.hears(sent(6, 320.0, PRESS), until_s=320.5)
    cottage.actions.put(SITE, CHIME, OWN, "Ann")
    cottage.tick(400.0)
    assert cottage.told == []


def test_news_that_come_late_are_told_and_those_of_long_ago_are_not(cottage: Cottage) -> None:
    cottage.actions.put(SITE, CHIME, OWN, "Ann")
    cottage.tick(310.0)
    cottage.hears(*minutes(6, 10), until_s=10_000.0)
    cottage.hears(sent(11, 900.0, PRESS, at_s=10_100.0), until_s=10_101.0)
    assert [rule for rule, _, _ in cottage.said()][:1] == ["late-callers"]
    cottage.told.clear()
    cottage.tick(3 * DAY_S)
    cottage.hears(sent(12, 1200.0, PRESS, at_s=3 * DAY_S + 10.0), until_s=3 * DAY_S + 11.0)
    assert [rule for rule, _, _ in cottage.said() if rule == "late-callers"] == []
