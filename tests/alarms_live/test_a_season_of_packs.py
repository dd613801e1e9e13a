"""Promise: over a season of the simulated house, pack by pack into a record and look by look at its alarms, they speak when something
was the case and at no other time.

What was the case is known from the simulation alone, which shares no code with record and rules: its mains fails twice
(`history.POWER_CUTS`), its network once (`NETWORK_OUTAGE`), and a button sticks after seven tenths (`FAULT_FROM`). Six weeks, in which
windows of the rail come each hour instead of each minute, and it is looked twice a day; `deploy/bench alarms` lives a year. At most
one alarm a week is the project's own target; chattering and floods after ISA-18.2 (`service/alarms/performance.py`).
"""

import json
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from adapters.simulated import history
from adapters.simulated.installation import CHIME, SITE, Installation
from adapters.sql.work import SqlStore
from deploy.benchmarks.lived import Lived
from service.alarm_facts import facts_of
from service.alarm_set import in_use
from service.alarms.conditions import reach_s
from service.alarms.life import Event
from service.alarms.trial import try_on
from service.model import Arrival

HOUR_S, DAY_S = 3600.0, 86_400.0
SPAN_S, STEP_S = 45 * DAY_S, 12 * HOUR_S
END_S = 1_793_000_000.0
START_S = END_S - SPAN_S
CUTS = [(START_S + share * SPAN_S, START_S + share * SPAN_S + length_s) for share, length_s in history.POWER_CUTS]
FAULT_S = START_S + history.FAULT_FROM * SPAN_S
Season = tuple[str | None, Lived]


@pytest.fixture(scope="module")
def packs() -> dict[str | None, list[Arrival]]:
    """Of a house that stays well, and of one whose button sticks; till then the same happens in both."""
    house = replace(Installation(), window_s=HOUR_S)
    return {
        fault: list(history.history(start_s=START_S, end_s=END_S, fault=fault, house=house))
        for fault in (None, "contact-stuck")
    }


@pytest.fixture(scope="module")
def till_then(packs: dict[str | None, list[Arrival]], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The record of what happens in both."""
    path: Path = tmp_path_factory.mktemp("season") / "record.sqlite"
    lived = Lived(SqlStore(f"sqlite:///{path}", "Europe/London"), START_S, START_S)
    lived.live(packs[None], FAULT_S, STEP_S)
    lived.store.close()
    return path


@pytest.fixture(scope="module", params=[None, "contact-stuck"])
def season(request: pytest.FixtureRequest, packs: dict[str | None, list[Arrival]], till_then: Path) -> Iterator[Season]:
    """Lived on from there, by a service that has been started anew."""
    path = shutil.copy(till_then, till_then.with_name(f"{request.param}.sqlite"))
    lived = Lived(SqlStore(f"sqlite:///{path}", "Europe/London"), START_S, FAULT_S)
    lived.live((one for one in packs[request.param] if one.received_s >= FAULT_S), END_S, STEP_S)
    yield request.param, lived
    lived.store.close()


def test_till_the_button_sticks_the_same_happens_in_both(packs: dict[str | None, list[Arrival]]) -> None:
    """But for the noise of the measurements."""

    def told(fault: str | None) -> list[tuple[object, ...]]:
        before = [one for one in packs[fault] if one.received_s < FAULT_S and one.topic.endswith("/pack")]
        return [
            (one.received_s, *((record["n"], record.get("t")) for record in json.loads(one.payload))) for one in before
        ]

    assert told(None) == told("contact-stuck")


def test_each_power_cut_is_told_and_nothing_else(season: Season) -> None:
    fault, lived = season
    power_out = [at_s for rule, at_s in lived.called if rule == "power-out"]
    assert len(power_out) == len(CUTS)
    for at_s, (cut_s, back_s) in zip(power_out, CUTS, strict=True):
        assert cut_s - STEP_S <= at_s <= back_s + STEP_S  # to the look
    others = {rule for rule, _ in lived.called} - {"power-out"}
    assert others == ({"held-front"} if fault else set())


def test_a_button_that_sticks_is_told_when_it_does(season: Season) -> None:
    fault, lived = season
    held = [at_s for rule, at_s in lived.called if rule == "held-front"]
    # once, though it is told bit by bit for weeks; and once more when the power is back after the second cut, as it still is so
    assert len(held) == (2 if fault else 0)
    for at_s, since_s in zip(held, (FAULT_S, CUTS[1][1]), strict=bool(held)):
        assert since_s <= at_s <= since_s + 3 * DAY_S


def test_what_was_kept_back_without_network_leaves_no_trace(season: Season) -> None:
    """Packs of the outage come late; for hours the chime was not heard, and no alarm was made of it, nor is any of it blind."""
    _, lived = season
    share, length_s = history.NETWORK_OUTAGE
    middle_s = START_S + share * SPAN_S
    spells = lived.store.reader().blind_spells(SITE, middle_s - DAY_S, middle_s + DAY_S, END_S)
    assert [
        one for one in spells if one.door is None and one.end_s is not None and one.end_s - one.start_s > length_s / 2
    ] == []
    assert not [
        one for one in lived.transitions if one.rule in ("chime-silent", "often-blind") and one.event is Event.COMES
    ]


def test_few_are_told_none_chatters_and_none_floods(season: Season) -> None:
    _, lived = season
    found = lived.performance()
    assert found.annunciated <= SPAN_S / (7 * DAY_S)
    assert (found.chattering, found.floods) == ({}, ())


def test_a_trial_of_the_season_says_the_same(season: Season) -> None:
    """The walk over history at once, from the record as it is at the end."""
    _, lived = season
    reader = lived.store.reader()
    rules = [one.rule for one in in_use(reader.alarm_rules(SITE, CHIME))]
    since = {rule.id: START_S - reach_s(rule.watch) for rule in rules}
    facts = facts_of(reader, reader.chime(SITE, CHIME), rules, since, END_S)
    for rule in rules:
        if rule.id in ("power-out", "held-front", "chime-silent", "often-blind"):
            tried = try_on(rule, facts, START_S, END_S, [one for one in rules if one is not rule])
            assert len(tried.spoken) == len([at_s for name, at_s in lived.called if name == rule.id]), rule.id
