"""A fit-out sheet and a commissioning record are taken whole or refused, kept with who and when, and examined at once."""

import threading
from typing import Any

import pytest

from adapters.sql.work import SqlStore
from service.actions import Actions
from service.errors import NotFound, Refused, SettingError
from service.health import Health
from service.intake import Understander
from service.keeper import Keeper
from service.model import Event
from tests.builders import PRESS
from tests.examinations.conftest import CHIME, SITE, T0, WINDOW, Bench, survey
from tests.fakes import FakeSource

NOW_S = T0 + 50_000.0


class Person:
    """Acts on the record of a bench; `due` are the chimes that are to be examined at once."""

    def __init__(self, bench: Bench) -> None:
        self.due: list[tuple[str, str]] = []
        self.actions = Actions(bench, lambda *place: self.due.append(place))  # type: ignore[arg-type]  # does as the keeper
        self.reader = bench.store.reader()


@pytest.fixture
def person(bench: Bench) -> Person:
    bench.take(*survey(), up_s=100.0)
    bench.take(*survey(), up_s=110.0)
    bench.take(PRESS, up_s=200.0)
    bench.take(*survey(), up_s=20_000.0)
    bench.take(*survey(), up_s=20_020.0)
    bench.take(PRESS, up_s=20_300.0)
    bench.take(*WINDOW, up_s=30_000.0)
    return Person(bench)


def test_a_sheet_is_kept_as_it_was_handed_in(person: Person) -> None:
    sheet: dict[str, Any] = {"reservoir_f": 4.7e-4, "remark": "in the loft"}
    person.actions.keep_fitout(SITE, CHIME, sheet, "  Ann   Tern ", NOW_S)
    (kept,) = person.reader.fitouts(SITE, CHIME)
    assert (kept.sheet, kept.by, kept.kept_s) == (sheet, "Ann Tern", NOW_S)
    assert person.due == [(SITE, CHIME)]


def test_the_newest_sheet_stands_first(person: Person) -> None:
    for n in range(3):
        person.actions.keep_fitout(SITE, CHIME, {"transformer_va": 8.0 + n}, "", NOW_S + n)
    assert [kept.sheet["transformer_va"] for kept in person.reader.fitouts(SITE, CHIME)] == [10.0, 9.0, 8.0]
    assert len(person.reader.fitouts(SITE, CHIME, limit=1)) == 1


@pytest.mark.parametrize(
    ("sheet", "chime", "error"),
    [
        ({"reservoir_f": 47.0}, CHIME, SettingError),  # 47 F: microfarads were meant
        ({"remark": "x" * 70_000}, CHIME, Refused),
        ({"reservoir_f": 4.7e-4}, "attic", NotFound),
    ],
)
def test_a_sheet_that_is_refused_changes_nothing(
    person: Person, sheet: dict[str, Any], chime: str, error: type[Exception]
) -> None:
    with pytest.raises(error):
        person.actions.keep_fitout(SITE, chime, sheet, "", NOW_S)
    assert (person.reader.fitouts(SITE, CHIME), person.due) == ([], [])


def test_the_newest_survey_is_taken_with_the_presses_after_it(person: Person) -> None:
    person.actions.commission(SITE, CHIME, None, "Ann", NOW_S)
    (record,) = person.reader.commissionings(SITE, CHIME)
    assert (record.by, record.taken_s, record.packs) == ("Ann", NOW_S, 3)
    told = person.reader.commissioning_testimony(record.id)
    assert [round(one.at_s - T0) for one in told] == [20_000, 20_020, 20_300]
    assert person.due == [(SITE, CHIME)]


def test_a_stretch_is_taken_with_both_ends_and_the_earlier_record_stays(person: Person) -> None:
    person.actions.commission(SITE, CHIME, None, "Ann", NOW_S)
    person.actions.commission(SITE, CHIME, (T0 + 100.0, T0 + 300.0), "", NOW_S + 60.0)
    newest, earlier = person.reader.commissionings(SITE, CHIME)
    assert (newest.by, newest.packs, newest.start_s) == ("somebody", 3, T0 + 100.0)
    assert (earlier.by, earlier.packs) == ("Ann", 3)


@pytest.mark.parametrize("stretch_s", [(T0 + 300.0, T0 + 100.0), (T0, T0 + 86_401.0), (T0 - 9000.0, T0 - 100.0)])
def test_a_stretch_that_cannot_be_is_refused_and_changes_nothing(
    person: Person, stretch_s: tuple[float, float]
) -> None:
    with pytest.raises(Refused):
        person.actions.commission(SITE, CHIME, stretch_s, "", NOW_S)
    assert (person.reader.commissionings(SITE, CHIME), person.due) == ([], [])


def test_a_chime_that_never_sent_a_survey_has_none_to_take(bench: Bench) -> None:
    bench.take(PRESS, up_s=100.0)
    with pytest.raises(Refused, match="never sent a survey"):
        Person(bench).actions.commission(SITE, CHIME, None, "", NOW_S)


def test_what_an_action_tells_reaches_those_who_listen() -> None:
    store, told, done = SqlStore("sqlite://"), list[Event](), threading.Event()

    def tell(events: Any) -> None:
        told.extend(events)
        done.set()

    keeper = Keeper(store, FakeSource([]), Understander(store), Health("0.0", T0, ""), lambda: T0, tell)
    thread = threading.Thread(target=keeper.run)
    thread.start()
    keeper.do(lambda work: work.add_event("finding", T0, SITE, CHIME, {"name": "reservoir-aged"}))
    assert done.wait(10.0)
    keeper.stop()
    thread.join()
    store.close()
    assert [(event.kind, event.data["name"]) for event in told] == [("finding", "reservoir-aged")]
