"""A finding is raised once, confirmed, cleared only when judged so, and begins anew when it comes back, as the table says."""

from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest

from service.findings.life import LIFE, Held, Look, Outcome, State, follow
from service.findings.verdict import EvidenceLine, Finding, Verdict

SITE, CHIME = "tern-cottage", "hall"
AGED = Finding("reservoir-aged", 0.9, evidence=(EvidenceLine("reservoir_f", 3.1e-4, expected=4.7e-4),), since_s=50.0)
STUCK = Finding("contact-stuck", 0.8, "front")
DAY_S = 86400.0
DEVELOPERS = Path(__file__).parents[2] / "DEVELOPERS.md"


class Life:
    """A record of findings in a list, and one look a day, each with a survey of its own."""

    def __init__(self) -> None:
        self.held: list[Held] = []
        self.told: list[tuple[State | None, State, str]] = []
        self.day = 0

    def look(
        self,
        *found: Finding,
        judged: tuple[Finding, ...] = (AGED, STUCK),
        worked_s: float | None = None,
        same_survey: bool = False,
    ) -> Held:
        self.day += 0 if same_survey else 1
        at_s = self.day * DAY_S + (600.0 if same_survey else 0.0)
        verdict = Verdict(findings=found, judged=frozenset((f.name, f.door) for f in judged))
        look = Look(at_s, at_s - 60.0, self.day * DAY_S - 60.0, worked_s)
        for step in follow(SITE, CHIME, self.held, verdict, look):
            if step.held.id:
                self.held[step.held.id - 1] = step.held
            else:
                self.held.append(replace(step.held, id=len(self.held) + 1))
            if step.change is not None:
                self.told.append((step.change.before, step.change.after, step.change.why))
        return self.held[-1]


def test_the_table_has_a_place_for_everything_that_can_happen() -> None:
    assert set(LIFE) == set(product(State, Outcome))


def test_only_judgement_clears_and_only_finding_raises() -> None:
    clearing = {said for (before, said), after in LIFE.items() if before is not after and after is State.CLEARED}
    raising = {said for (before, said), after in LIFE.items() if before is State.CLEARED and after is not before}
    assert clearing == {Outcome.ABSENT_AGAIN, Outcome.ABSENT_AFTER_WORK}
    assert raising == {Outcome.FOUND}
    assert all(after is before for (before, said), after in LIFE.items() if said is Outcome.NOTHING_NEW)


def test_the_developers_guide_shows_this_table() -> None:
    section = DEVELOPERS.read_text().partition("## The life of a finding")[2].partition("\n## ")[0]
    rows = [line for line in section.splitlines() if line.startswith("| ")]
    for said in Outcome:
        (row,) = [line for line in rows if line.startswith(f"| {said} |")]
        assert [cell.strip() for cell in row.strip("|").split("|")][1:] == [
            LIFE[before, said].value for before in State
        ]


def test_what_is_found_is_raised_and_what_is_found_again_is_confirmed() -> None:
    life = Life()
    assert life.look(AGED).state is State.RAISED
    confirmed = life.look(replace(AGED, likelihood=0.95, since_s=None))
    assert (confirmed.state, confirmed.finding.likelihood, confirmed.finding.since_s) == (State.CONFIRMED, 0.95, 50.0)
    assert (confirmed.raised_s, confirmed.found_s) == (DAY_S, 2 * DAY_S)
    assert [after for _, after, _ in life.told] == [State.RAISED, State.CONFIRMED]


def test_one_survey_that_misses_it_does_not_clear_it_but_two_running_do() -> None:
    life = Life()
    life.look(AGED)
    assert life.look().state is State.RAISED
    assert life.look(AGED).state is State.CONFIRMED  # so the two are not running
    assert life.look().state is State.CONFIRMED
    cleared = life.look()
    assert (cleared.state, cleared.cleared_s) == (State.CLEARED, 5 * DAY_S)
    assert life.told[-1] == (State.CONFIRMED, State.CLEARED, "judged and not found twice running")


def test_the_same_survey_examined_again_says_nothing_new() -> None:
    life = Life()
    life.look(AGED)
    assert life.look(AGED, same_survey=True).state is State.RAISED
    life.look()
    assert life.look(same_survey=True).absences == 1


def test_what_pulses_show_is_judged_by_any_new_testimony() -> None:
    life = Life()
    life.look(STUCK)
    assert life.look(STUCK, same_survey=True).state is State.CONFIRMED


def test_what_cannot_be_judged_stays_as_it_was() -> None:
    life = Life()
    before = life.look(AGED)
    for _ in range(5):
        assert life.look(judged=()) == before


def test_what_hides_behind_another_finding_at_the_same_door_is_not_cleared() -> None:
    life = Life()
    life.look(STUCK)
    shorted = Finding("button-diode-shorted", 0.6, "front", also_possible=("contact-stuck",))
    for _ in range(3):
        life.look(shorted)
    assert [one.state for one in life.held] == [State.RAISED, State.CONFIRMED]


def test_after_work_on_the_installation_one_look_is_enough() -> None:
    life = Life()
    life.look(AGED)
    life.look(AGED)
    cleared = life.look(worked_s=2.5 * DAY_S)
    assert cleared.state is State.CLEARED
    assert life.told[-1][2] == "judged and not found since it was commissioned anew or its parts changed"


def test_work_counts_even_for_the_same_survey_and_until_something_is_judged() -> None:
    life = Life()
    life.look(AGED)
    worked_s = DAY_S + 300.0
    assert life.look(judged=(), worked_s=worked_s, same_survey=True).state is State.RAISED
    assert life.look(worked_s=worked_s, same_survey=True).state is State.CLEARED


def test_a_cleared_finding_that_comes_back_is_a_new_one() -> None:
    life = Life()
    life.look(AGED)
    life.look()
    life.look()
    assert life.look(same_survey=True).state is State.CLEARED
    life.look(replace(AGED, since_s=3.5 * DAY_S))
    old, new = life.held
    assert (old.state, new.state, new.finding.since_s) == (State.CLEARED, State.RAISED, 3.5 * DAY_S)
    assert life.told[-1][:2] == (None, State.RAISED)


def test_what_is_judged_of_no_door_is_judged_of_all() -> None:
    life = Life()
    life.look(STUCK)
    for _ in range(2):
        life.look(judged=(replace(STUCK, door=None),))
    assert life.held[0].state is State.CLEARED


def test_a_door_that_can_no_longer_be_named_is_not_cleared() -> None:
    life = Life()
    life.look(STUCK)
    for _ in range(3):
        life.look(replace(STUCK, door=None))
    assert life.held[0].state is State.RAISED


@pytest.mark.parametrize("door", ["garden", None])
def test_doors_have_findings_of_their_own(door: str | None) -> None:
    life = Life()
    life.look(STUCK)
    other = Finding("contact-stuck", 0.7, door)
    life.look(other, judged=(other,))
    assert [one.state for one in life.held] == [State.RAISED, State.RAISED]
