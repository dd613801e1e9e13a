"""A chime is examined once it has been quiet, at the latest every quarter of an hour; a failed examination stops nothing."""

import logging
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

import pytest

from service.errors import StoreUnavailable
from service.examination import examine
from service.examiner import LATEST_S, QUIET_S, Examiner
from service.findings.life import State
from service.findings.verdict import EvidenceLine, Finding, Measured, Verdict
from service.model import Event
from service.ports import Work
from tests.builders import PRESS, arrival
from tests.examinations.conftest import CHIME, SITE, T0, WINDOW, Bench, FakeJudge, survey

AGED = Finding(
    "reservoir-aged", 0.93, evidence=(EvidenceLine("reservoir_f", 3.1e-4, 3.0e-4, 3.2e-4, 4.7e-4),), since_s=T0
)
JUDGED = frozenset((("reservoir-aged", None),))
FOUND = Verdict({"reservoir_f": Measured(3.1e-4, 3.0e-4, 3.2e-4)}, (AGED,), JUDGED, ("no fit-out sheet",))
SOUND = Verdict({"reservoir_f": Measured(4.7e-4, 4.6e-4, 4.8e-4)}, (), JUDGED)


class Hours:
    """A clock set by hand, an examiner on it, and the record."""

    def __init__(self, bench: Bench) -> None:
        self.bench, self.judge, self.now_s = bench, FakeJudge(FOUND), T0 + 50_000.0
        self.failing = 0
        self.begin()

    def begin(self) -> None:
        reader = self.bench.store.reader()
        self.examiner = Examiner(reader, self, partial(examine, reader, self.judge), lambda: self.now_s)

    def do(self, action: Callable[[Work], Any], timeout_s: float = 10.0) -> Any:
        if self.failing:
            self.failing -= 1
            raise StoreUnavailable("The record cannot be written: the disk is full.")
        return self.bench.do(action)

    def wait(self, seconds: float) -> int:
        """Let time pass, looking every five seconds; how many examinations there were."""
        before = len(self.judge.shown)
        for _ in range(int(seconds // 5)):
            self.now_s += 5.0
            self.examiner.tick()
        return len(self.judge.shown) - before

    def events(self) -> list[Event]:
        return [event for event in self.bench.store.fresh_events() if event.kind == "finding"]


@pytest.fixture
def hours(bench: Bench) -> Hours:
    return Hours(bench)


def test_a_chime_that_told_nothing_is_not_examined(hours: Hours) -> None:
    hours.bench.take({"n": "link", "u": "dBW", "v": -96.0}, up_s=100.0)
    assert hours.wait(2 * LATEST_S) == 0


def test_it_is_examined_once_when_it_has_been_quiet(hours: Hours) -> None:
    hours.wait(5.0)
    hours.bench.take(*survey(), up_s=100.0)
    assert hours.wait(QUIET_S) == 0
    hours.bench.take(PRESS, up_s=160.0)
    assert hours.wait(QUIET_S) == 0
    assert hours.wait(10.0) == 1
    assert hours.wait(2 * LATEST_S) == 0
    evidence, commissioning, sheet = hours.judge.shown[0]
    assert (len(evidence.surveys), list(evidence.pulses), commissioning) == (1, ["front"], None)
    assert sheet.reservoir_f is None


@pytest.mark.parametrize("records", [WINDOW, [PRESS]])
def test_one_that_is_never_quiet_is_examined_every_quarter_of_an_hour(hours: Hours, records: list[Any]) -> None:
    hours.wait(5.0)
    count = 0
    for n in range(180):  # every twenty seconds, for an hour
        hours.bench.take(*records, up_s=100.0 + 20.0 * n)
        count += hours.wait(20.0)
    assert count in (3, 4)


def test_windows_that_come_all_day_break_no_quiet(hours: Hours) -> None:
    hours.wait(5.0)
    hours.bench.take(*survey(), up_s=100.0)
    count = 0
    for n in range(4):
        hours.bench.take(*WINDOW, up_s=120.0 + 20.0 * n)
        count += hours.wait(20.0)
    assert count == 1


def test_what_came_while_nobody_examined_is_examined_after_the_start_but_only_once(hours: Hours) -> None:
    hours.bench.take(*survey(), up_s=100.0)
    hours.begin()
    assert hours.wait(QUIET_S + 10.0) == 1
    hours.begin()
    assert hours.wait(QUIET_S + 10.0) == 0


def test_an_examination_sees_one_day(hours: Hours) -> None:
    for up_s in (100.0, 80_000.0, 86_600.0):
        hours.bench.take(*survey(), up_s=up_s)
    hours.wait(QUIET_S + 10.0)
    assert [round(s.at_s - T0) for s in hours.judge.shown[0][0].surveys] == [80_000, 86_600]


def test_what_was_measured_and_found_is_in_the_record_and_told(hours: Hours) -> None:
    hours.bench.take(*survey(), up_s=100.0)
    hours.wait(QUIET_S + 10.0)
    reader = hours.bench.store.reader()
    (held,) = reader.findings(SITE)
    assert replace(held.finding, since_s=T0) == AGED
    assert (held.state, [change.why for change in held.changes]) == (State.RAISED, ["found"])
    (quantity,) = reader.latest_quantities(SITE, CHIME)
    assert (quantity.name, quantity.measured) == ("reservoir_f", Measured(3.1e-4, 3.0e-4, 3.2e-4))
    assert quantity.at_s == pytest.approx(T0 + 100.05)
    (examination,) = reader.examinations(SITE)
    assert (examination.missing, examination.trouble) == (("no fit-out sheet",), None)
    (event,) = hours.events()
    assert (event.site, event.chime, event.data["name"], event.data["state"]) == (
        SITE,
        CHIME,
        "reservoir-aged",
        "raised",
    )
    assert event.data["id"] == held.id


def test_a_finding_lives_through_surveys_and_its_end_is_told(hours: Hours) -> None:
    for day, verdict in enumerate([FOUND, FOUND, SOUND, SOUND, SOUND, FOUND]):
        hours.judge.verdict = verdict
        hours.bench.take(*survey(), up_s=100.0 + 86_400.0 * day)
        hours.wait(QUIET_S + 10.0)
    assert [event.data["state"] for event in hours.events()] == ["raised", "cleared", "raised"]
    reader = hours.bench.store.reader()
    anew, old = reader.findings(SITE, states=("raised", "confirmed", "cleared"))
    assert [change.after for change in old.changes] == [State.RAISED, State.CONFIRMED, State.CLEARED]
    assert anew.state is State.RAISED
    assert [one.id for one in reader.findings(SITE)] == [anew.id]


def test_quantities_are_kept_where_they_change(hours: Hours) -> None:
    for n, verdict in enumerate([FOUND, FOUND, SOUND]):
        hours.judge.verdict = verdict
        hours.bench.take(*survey(), up_s=100.0 + 1000.0 * n)
        hours.wait(QUIET_S + 10.0)
    reader = hours.bench.store.reader()
    told = reader.quantities(SITE, CHIME, "reservoir_f", 0.0, T0 * 2)
    assert [(point.measured.value, round(point.at_s - T0)) for point in told] == [(3.1e-4, 100), (4.7e-4, 2100)]
    assert reader.latest_quantities(SITE, CHIME)[0].measured.value == 4.7e-4


def test_one_chimes_failure_is_told_and_stops_no_other(hours: Hours, caplog: pytest.LogCaptureFixture) -> None:
    hours.judge.trouble = ZeroDivisionError("division by zero")
    hours.bench.take(*survey(), up_s=100.0)
    with caplog.at_level(logging.ERROR):
        hours.wait(QUIET_S + 10.0)
    assert "hall at tern-cottage failed" in caplog.text
    reader = hours.bench.store.reader()
    (failed,) = reader.examinations(SITE)
    assert failed.trouble == "ZeroDivisionError: division by zero"
    assert reader.findings(SITE) == []
    hours.judge.trouble = None
    hours.bench.take_arrival(arrival(b'[{"n":"front.press","vb":true}]', 7.0, "bellcrank/1/tern-cottage/attic/pack"))
    hours.wait(QUIET_S + 10.0)
    assert [(one.chime, one.trouble) for one in reader.examinations(SITE)] == [(CHIME, failed.trouble), ("attic", None)]


def test_what_cannot_be_written_is_no_failure_of_the_store_and_leaves_nothing(hours: Hours) -> None:
    hours.judge.verdict = replace(FOUND, quantities={"reservoir_f": Measured(float("nan"), 0.0, 1.0)})
    hours.bench.take(*survey(), up_s=100.0)
    hours.wait(QUIET_S + 10.0)
    reader = hours.bench.store.reader()
    assert reader.findings(SITE) == reader.latest_quantities(SITE, CHIME) == []
    assert (reader.examinations(SITE)[0].trouble or "").startswith("IntegrityError")


def test_a_store_that_is_away_is_met_again(hours: Hours) -> None:
    hours.bench.take(*survey(), up_s=100.0)
    hours.failing = 2
    hours.wait(QUIET_S + 15.0)
    assert len(hours.bench.store.reader().findings(SITE)) == 1


def test_one_that_is_asked_for_is_examined_at_once(hours: Hours) -> None:
    hours.bench.take(*survey(), up_s=100.0)
    hours.wait(QUIET_S + 10.0)
    hours.examiner.ask(SITE, CHIME)
    assert hours.wait(5.0) == 1


def test_the_commissioning_record_and_the_sheet_that_count_are_shown_to_the_judge(hours: Hours) -> None:
    hours.bench.take(*survey(14.0), up_s=100.0, commissioning=True)
    hours.bench.take(*survey(13.0), up_s=200_000.0)
    for farad in (4.7e-4, 1e-3):
        sheet = {"reservoir_f": farad, "doors": {"front": {"diode": True}}}
        hours.bench.do(lambda work, sheet=sheet: work.keep_fitout(SITE, CHIME, sheet, hours.now_s, "Ann"))
    hours.wait(QUIET_S + 10.0)
    now, commissioning, fitout = hours.judge.shown[0]
    assert commissioning is not None
    assert [s.bursts["idle"].volts[0] for s in (now.surveys[0], commissioning.surveys[0])] == pytest.approx(
        [13.0, 14.0]
    )
    assert (fitout.reservoir_f, fitout.doors[0].door) == (1e-3, "front")


def test_what_was_marked_as_commissioning_is_not_of_now_unless_nothing_else_is(hours: Hours) -> None:
    hours.bench.take(*survey(14.0), up_s=100.0, commissioning=True)
    hours.wait(QUIET_S + 10.0)
    hours.bench.take(*survey(13.0), up_s=5000.0)
    hours.wait(QUIET_S + 10.0)
    shown = [[s.bursts["idle"].volts[0] for s in now.surveys] for now, _, _ in hours.judge.shown]
    assert shown == [pytest.approx([14.0]), pytest.approx([13.0])]


def test_after_new_parts_one_look_clears(hours: Hours) -> None:
    hours.bench.take(*survey(), up_s=100.0)
    hours.wait(QUIET_S + 10.0)
    hours.bench.do(lambda work: work.keep_fitout(SITE, CHIME, {"reservoir_f": 3.3e-4}, hours.now_s, ""))
    hours.judge.verdict = SOUND
    hours.examiner.ask(SITE, CHIME)
    hours.wait(5.0)
    assert hours.bench.store.reader().findings(SITE) == []
    assert hours.events()[-1].data["state"] == "cleared"


def test_a_chime_that_talks_without_end_is_examined_in_bounded_time(
    hours: Hours, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("service.examination.LIMITS", {"survey": 2, "event": 3, "window": 4})
    for n in range(30):
        hours.bench.take(*(survey(), [PRESS], WINDOW)[n % 3], up_s=100.0 + n)
    hours.wait(QUIET_S + 10.0)
    evidence = hours.judge.shown[0][0]
    assert (len(evidence.windows), sum(len(p) for p in evidence.pulses.values())) == (4, 3 * 7)
