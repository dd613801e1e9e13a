"""Promise: presses that were exported become the same presses in another record, and nothing in the one they came from; twice is
as once, and a rebuild keeps them."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select

from adapters.press_files_read import Form
from adapters.sql import tables
from adapters.sql.engine import table
from adapters.sql.rebuilding import Rebuilding
from adapters.sql.work import SqlStore
from service.leaving import Asked
from service.model import Press
from tests.builders import SITE, T0
from tests.moving.conftest import FORMS, Opened, exported, imported, presses

MICRO_S = 2e-6
"""Files have times to the microsecond, cut."""


def kept(store: SqlStore) -> int:
    with store.engine.connect() as connection:
        return int(connection.execute(select(func.count()).select_from(table(tables.KeptPack))).scalar_one())


def told(found: list[Press]) -> list[tuple[object, ...]]:
    """What must survive the way through a file."""
    return [
        (
            one.chime,
            one.door,
            one.pulses,
            one.sure,
            one.end_s is None,
            (one.source == "contact"),
            round(one.longest_gap_s, 4),
        )
        for one in found
    ]


@pytest.mark.parametrize("form", FORMS)
def test_another_record_gets_the_same_presses(house: SqlStore, opened: Opened, form: Form) -> None:
    other = opened("other")
    taken = imported(other, exported(house, form))
    assert (taken.new, taken.there, taken.refused) == (8, 0, 0)
    before, after = presses(house), presses(other)
    assert told(after) == told(before)
    for one, same in zip(before, after, strict=True):
        assert same.start_s == pytest.approx(one.start_s, abs=MICRO_S)
        assert (same.end_s or 0.0) == pytest.approx(one.end_s or 0.0, abs=MICRO_S)


@pytest.mark.parametrize("form", FORMS)
def test_the_same_file_twice_and_the_record_it_came_from_stay_as_they_are(
    house: SqlStore, opened: Opened, form: Form
) -> None:
    other, text = opened("other"), exported(house, form)
    imported(other, text)
    for store in (other, house):
        before = presses(store), kept(store)
        taken = imported(store, text)
        assert (taken.new, taken.there, taken.refused) == (0, 8, 0)
        assert (presses(store), kept(store)) == before


def test_what_was_exported_anew_is_known_whatever_the_form(house: SqlStore, opened: Opened) -> None:
    other = opened("other")
    imported(other, exported(house, "csv"))
    for form in FORMS:
        assert imported(house, exported(other, form)).new == 0
        assert imported(other, exported(other, form)).new == 0


def test_part_of_a_log_and_then_the_whole(house: SqlStore, opened: Opened) -> None:
    other = opened("other")
    assert imported(other, exported(house, "jsonl", Asked(SITE, "hall"))).new == 5
    taken = imported(other, exported(house, "jsonl"))
    assert (taken.new, taken.there) == (3, 5)
    assert told(presses(other)) == told(presses(house))


def test_a_rebuild_keeps_what_was_imported(house: SqlStore, opened: Opened, tmp_path: Path) -> None:
    other = opened("other")
    imported(other, exported(house, "csv"))
    before = [(one.door, one.start_s, one.end_s, one.source) for one in presses(other)]
    making = Rebuilding(f"sqlite:///{tmp_path / 'other'}.sqlite", tmp_path / "beside.sqlite", "bellcrank", True)
    while making.advance():
        pass
    assert making.exchange()
    making.close()
    assert [(one.door, one.start_s, one.end_s, one.source) for one in presses(other)] == before


def test_one_press_of_the_record_stands_for_one_of_the_file(opened: Opened) -> None:
    """Two presses within the uncertainty of either: near is not the same."""
    store = opened("record")
    head = "site,chime,door,start,end,uncertainty_s,source\n"
    line = "tern-cottage,hall,front,2026-09-14T10:00:{:06.3f}Z,2026-09-14T10:00:{:06.3f}Z,1.0,contact\n"
    assert imported(store, head + line.format(10.0, 10.2)).new == 1
    taken = imported(store, head + line.format(9.7, 9.9) + line.format(10.4, 10.6))
    assert (taken.new, taken.there) == (1, 1)
    assert len(presses(store)) == 2


def test_enrolment_that_is_closed_refuses_strangers_until_they_are_claimed(house: SqlStore, opened: Opened) -> None:
    other, text = opened("other"), exported(house, "csv", Asked(SITE, "hall"))
    taken = imported(other, text, enrolment_open=False)
    assert (taken.new, taken.refused) == (0, 5)
    assert presses(other) == []
    with other.work() as work:
        work.chime(SITE, "hall", T0)
        work.claim(SITE, "hall", None)
    taken = imported(other, text, enrolment_open=False)
    assert (taken.new, taken.refused) == (5, 0)
    assert len(presses(other)) == 5


moments = st.lists(
    st.tuples(
        st.integers(0, 40_000_000),  # microseconds between two presses, from 0.1 s on
        st.integers(1_000, 3_000_000),  # how long it was held, microseconds
        st.sampled_from(["front", "garden"]),
        st.sampled_from(["summary", "contact"]),
    ),
    min_size=1,
    max_size=12,
)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(drawn=moments)
def test_any_log_survives_the_way_out_and_in(drawn: list[tuple[int, int, str, str]]) -> None:
    at, lines = int(T0) * 1_000_000, ["site,chime,door,start,end,source,pulses"]
    for wait, held, door, source in drawn:
        at += wait + 1_100_000  # a second apart: what chatters for a minute is one press
        lines.append(f"{SITE},hall,{door},{stamp(at)},{stamp(at + held)},{source},{'' if source == 'contact' else 7}")
        at += held
    first, second = SqlStore("sqlite://"), SqlStore("sqlite://")
    try:
        assert imported(first, "\n".join(lines)).new == len(drawn)
        assert len(presses(first)) == len(drawn)
        for form in FORMS:
            imported(second, exported(first, form))
            assert told(presses(second)) == told(presses(first))
            assert imported(first, exported(second, form)).new == 0
    finally:
        first.close()
        second.close()


def stamp(micros: int) -> str:
    return f"{datetime.fromtimestamp(micros // 1_000_000, UTC):%Y-%m-%dT%H:%M:%S}.{micros % 1_000_000:06d}Z"
