"""Promise: what people do about alarms and rules is done, recorded with who and why, and outlives every other change."""

import pytest

from adapters.sql.work import SqlWork
from service.alarm_set import in_use
from service.alarming import weigh
from service.alarms.life import Event
from service.alarms.rule_form import write_rule
from service.alarms.rules import RuleRefused
from service.errors import NotFound, Refused
from tests.alarms_live.conftest import Cottage
from tests.alarms_live.test_alarms_speak_when_something_is_the_case import DAY_S, OWN
from tests.blind_time.listening import PRESS, sent
from tests.builders import CHIME, SITE, T0


@pytest.fixture
def silent(cottage: Cottage) -> Cottage:
    cottage.tick(8 * DAY_S)
    assert cottage.state("chime-silent") == "unacknowledged"
    return cottage


def test_an_alarm_is_acknowledged_and_it_is_recorded_by_whom(silent: Cottage) -> None:
    silent.actions.ask(SITE, CHIME, "chime-silent", Event.ACKNOWLEDGE, "Ann", "on holiday")
    assert silent.state("chime-silent") == "acknowledged"
    _, last = silent.store.reader().alarm_transitions(SITE, CHIME, 0.0, 1e12)[-1]
    assert (last.who, last.why, last.after.value) == ("Ann", "on holiday", "acknowledged")
    silent.tick(8 * DAY_S + 120.0)
    assert silent.state("chime-silent") == "acknowledged"


def test_shelving_needs_a_reason_and_an_end_and_ends_by_itself(silent: Cottage) -> None:
    until_s = T0 + 9 * DAY_S
    with pytest.raises(Refused, match="with a reason"):
        silent.actions.ask(SITE, CHIME, "chime-silent", Event.SHELVE, "Ann", "", until_s)
    with pytest.raises(Refused, match="must end"):
        silent.actions.ask(SITE, CHIME, "chime-silent", Event.SHELVE, "Ann", "router is away")
    silent.actions.ask(SITE, CHIME, "chime-silent", Event.SHELVE, "Ann", "router is away", until_s)
    assert silent.state("chime-silent") == "shelved"
    silent.tick(9 * DAY_S + 61.0)
    assert silent.said()[-1] == ("chime-silent", "shelving ended", "unacknowledged")


def test_nobody_can_ask_for_what_only_happens(silent: Cottage) -> None:
    with pytest.raises(Refused):
        silent.actions.ask(SITE, CHIME, "chime-silent", Event.COMES, "Ann")


def test_what_a_person_does_between_a_look_and_its_writing_is_not_undone(silent: Cottage) -> None:
    reader = silent.store.reader()
    silent.now_s = 8 * DAY_S + 4000.0
    kept = in_use(reader.alarm_rules(SITE, CHIME))
    standings, _, _ = weigh(reader, reader.chime(SITE, CHIME), kept, T0 + silent.now_s)
    silent.actions.ask(SITE, CHIME, "chime-silent", Event.ACKNOWLEDGE, "Ann")

    def write(work: SqlWork) -> bool:
        return work.put_standings(SITE, CHIME, [(one, standings[one.rule.id]) for one in kept])

    assert silent.do(write) is False  # type: ignore[arg-type]
    assert silent.state("chime-silent") == "acknowledged"


def test_a_changed_rule_of_the_ready_set_stays_as_it_was_changed_until_it_is_made_ready_again(cottage: Cottage) -> None:
    mine = write_rule(cottage.alarm("chime-silent").rule)
    mine["watch"]["longer_than_s"] = 3600.0
    cottage.actions.put(SITE, CHIME, mine, "Ann")
    with cottage.store.work() as work:
        work.keep_fitout(SITE, CHIME, {"doors": {"front": {}}, "dropout_v": 9.0}, T0 + 400.0, "Ann")
    cottage.alarming.hurry(SITE, CHIME)
    cottage.tick(500.0)
    assert cottage.alarm("chime-silent").changed_by == "Ann"
    assert cottage.alarm("chime-silent").rule.watch.longer_than_s == 3600.0  # type: ignore[union-attr]
    assert cottage.state("rail-low-sounding") == "normal"  # which the sheet has brought
    back = cottage.actions.make_ready(SITE, CHIME, "chime-silent")
    assert (back.changed_by, back.rule) == ("", back.ready)


def test_a_rule_that_is_off_is_not_looked_at_and_suppresses_nothing(cottage: Cottage) -> None:
    mine = {"id": "mine", "watch": {"kind": "no-pack", "longer_than_s": 2 * DAY_S}, "suppressed_by": ["chime-silent"]}
    cottage.actions.put(SITE, CHIME, OWN | mine, "Ann")
    cottage.actions.switch(SITE, CHIME, "power-out", False, "the mains here is what it is")
    cottage.actions.switch(SITE, CHIME, "chime-silent", False, "")
    cottage.tick(400.0)
    cottage.tick(9 * DAY_S)
    assert [rule for rule, _, _ in cottage.said()] == ["mine"]  # which else the silence would have suppressed
    cottage.told.clear()
    cottage.actions.switch(SITE, CHIME, "chime-silent", True, "")
    cottage.tick(9 * DAY_S + 61.0)
    assert ("chime-silent", "the condition has come", "unacknowledged") in cottage.said()  # as it is the case now


def test_rules_of_ones_own_come_and_go_and_the_ready_set_stays(cottage: Cottage) -> None:
    cottage.actions.put(SITE, CHIME, OWN, "Ann")
    cottage.actions.remove(SITE, CHIME, "late-callers")
    with pytest.raises(NotFound):
        cottage.alarm("late-callers")
    with pytest.raises(Refused, match="switch it off"):
        cottage.actions.remove(SITE, CHIME, "chime-silent")


def test_a_bad_rule_is_refused_with_every_field(cottage: Cottage) -> None:
    with pytest.raises(RuleRefused) as refused:
        cottage.actions.put(SITE, CHIME, OWN | {"priority": "loud", "suppressed_by": ["nobody"]}, "Ann")
    assert {one.field for one in refused.value.problems} == {"priority"}
    with pytest.raises(RuleRefused, match="there is no such rule"):
        cottage.actions.put(SITE, CHIME, OWN | {"suppressed_by": ["nobody"]}, "Ann")


def test_a_rule_is_tried_on_the_record_before_it_is_switched_on(cottage: Cottage) -> None:
    for seq, day in enumerate((1, 2, 3), 6):
        cottage.hears(sent(seq, day * DAY_S, PRESS), until_s=day * DAY_S + 1.0)
    cottage.now_s = 5 * DAY_S
    trial = cottage.actions.try_on(SITE, CHIME, OWN, 30.0)
    assert [round(one.at_s - T0) for one in trial.spoken] == [round(day * DAY_S - 0.4) for day in (1, 2, 3)]
    assert trial.sentence == "The record holds 5 of these 30 days; in them this would have spoken 3 times."
    assert [one for one in cottage.said() if one[0] == "late-callers"] == []


def test_the_figures_name_the_worst_rule_and_say_when_there_is_not_enough(cottage: Cottage) -> None:
    cottage.actions.put(SITE, CHIME, OWN, "Ann")
    cottage.tick(310.0)
    for seq in range(6, 16):
        cottage.hears(sent(seq, 60.0 * seq, PRESS), until_s=60.0 * seq + 1.0)
    report = cottage.actions.report(SITE, CHIME)
    assert report.performance.annunciated >= 10
    assert not report.performance.is_enough
    assert {one.verdict for one in report.performance.figures} == {"not enough data"}
    assert report.performance.top[0].rule == "late-callers"
    assert cottage.actions.report(SITE, None).performance.top[0].rule == "hall/late-callers"
