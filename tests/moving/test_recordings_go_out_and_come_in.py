"""Promise: kept packs leave as they came, byte by byte, and come in once; what their surveys measured is there at once."""

import json
from collections.abc import Sequence
from pathlib import Path

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from adapters.sql.kept_reader import AT_ONCE, kept_packs
from adapters.sql.work import SqlStore
from service import pack, recordings
from service.errors import BadPack
from service.examine import take_in
from service.hostclock import HostClock
from service.intake import Understander, receive
from service.leaving import Counted, recording_of
from service.model import Arrival
from service.moving import Taken, take_in_recording
from tests.builders import CHIME, SITE, T0, TOPIC, arrival
from tests.examined.recorded import HEALTHY_F, survey, text_of
from tests.moving.conftest import Opened, of_the_house, presses

DAY_S = 86_400.0


def lines_of(store: SqlStore, *asked: object) -> list[str]:
    parts = recording_of(kept_packs(store.engine, *asked), Counted())  # type: ignore[arg-type]
    return [line.decode() for line in parts]


def imported(store: SqlStore, lines: Sequence[str]) -> Taken:
    return take_in_recording(store, recordings.read(lines), kept_packs(store.engine), Understander(store))


def test_everything_that_was_kept_comes_back(house: SqlStore, opened: Opened) -> None:
    other = opened("other")
    lines = lines_of(house)
    taken = imported(other, lines)
    assert (taken.read, taken.new, taken.there, taken.refused) == (9, 7, 1, 1)  # one came twice, one is no SenML
    sent = [(one.topic, one.payload, one.received_s, one.commissioning) for one in of_the_house()]
    assert [(one.topic, one.payload, one.received_s, one.commissioning) for one in kept_packs(other.engine)] == sent
    assert [(p.door, p.start_s, p.end_s, p.pulses) for p in presses(other)] == [
        (p.door, p.start_s, p.end_s, p.pulses) for p in presses(house)
    ]


def test_the_same_recording_twice_keeps_nothing_twice(house: SqlStore, opened: Opened) -> None:
    other = opened("other")
    lines = lines_of(house)
    imported(other, lines)
    for store in (other, house):
        before = list(kept_packs(store.engine)), presses(store)
        taken = imported(store, lines)
        assert (taken.new, taken.there, taken.refused) == (0, 9, 0)
        assert (list(kept_packs(store.engine)), presses(store)) == before


@given(
    payload=st.one_of(
        st.binary(max_size=40),
        st.sampled_from(
            [b'[\n {"n": "temp", "v": 20}\n]\n', b'\t[{"n":"temp","v":20}]', cbor2.dumps([{0: "temp", 2: 20}])]
        ),
        st.recursive(
            st.none() | st.booleans() | st.integers() | st.text(max_size=5),
            lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
            max_leaves=8,
        ).map(lambda value: json.dumps(value, indent=1).encode()),
    ),
    at_s=st.floats(0.0, 4e9),
    commissioning=st.booleans(),
)
def test_bytes_come_back_as_they_were(payload: bytes, at_s: float, commissioning: bool) -> None:
    sent = Arrival(TOPIC, payload, at_s, commissioning=commissioning)
    line = recordings.write(sent)
    assert "\n" not in line
    (back,) = recordings.read([line])
    assert (back.payload, back.received_s, back.commissioning) == (payload, at_s, commissioning)
    assert _decoded(back) == _decoded(sent)


def _decoded(one: Arrival) -> object:
    try:
        return pack.decode(one.payload, one.content_type, one.received_s)
    except BadPack:
        return None


def test_site_chime_and_time_choose(house: SqlStore) -> None:
    assert [json.loads(line)["at"] for line in lines_of(house, SITE, "porch")] == [T0 + 700.0, T0 + 700.6, T0 + 800.0]
    assert lines_of(house, "tern") == []  # part of a name is no name
    some = lines_of(house, SITE, CHIME, T0 + 200.05, T0 + 600.05)
    assert [json.loads(line)["at"] for line in some] == [T0 + 200.05, T0 + 300.05]  # half open


def test_what_no_recording_can_hold_is_left_out_and_counted(opened: Opened) -> None:
    store = opened("record")
    bad = [arrival(b"x", topic="bellcrank/1/tern-cottage/hall/news"), arrival(b"yes", topic=TOPIC[:-4] + "alive")]
    receive(store, [*bad, arrival(b"1", topic=TOPIC[:-4] + "alive")])
    counted = Counted()
    assert len(list(recording_of(kept_packs(store.engine), counted))) == 1
    assert str(counted) == "1 written; 2 outside the contract left out."


def test_what_comes_meanwhile_is_for_the_next_time(opened: Opened) -> None:
    store = opened("record")
    receive(store, [arrival(b"[]", float(k)) for k in range(AT_ONCE + 5)])
    going = kept_packs(store.engine)
    first = next(going)
    receive(store, [arrival(b"[]", 9e5)])  # the writer is not kept waiting
    assert len([first, *going]) == AT_ONCE + 5


def test_times_are_those_of_the_clock_as_it_was_set(opened: Opened) -> None:
    store = opened("record")
    with store.work() as work:
        work.listen(HostClock("power-up", 0.0), T0)
    receive(store, [arrival(b"[]", 10.0)])
    with store.work() as work:
        work.listen(HostClock("power-up", 3600.0), T0 + 20.0)
    receive(store, [arrival(b"[]", 3630.0)])
    assert [one.received_s for one in kept_packs(store.engine)] == [T0 + 3610.0, T0 + 3630.0]


def test_a_bad_line_is_named_and_only_whole_batches_are_taken(opened: Opened, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("service.moving.BATCH", 2)
    store = opened("record")
    lines = [recordings.write(one) for one in of_the_house()[:3]]
    with pytest.raises(BadPack, match="line 4 of the recording"):
        imported(store, [*lines, "{}"])
    assert len(list(kept_packs(store.engine))) == 2


def test_surveys_of_the_past_are_measured(opened: Opened, tmp_path: Path) -> None:
    """Twelve surveys over 24 days: what they measured is kept, once, as if an examination had followed each."""
    store = opened("record")
    lines = [line for day in range(0, 24, 2) for line in survey(T0 + day * DAY_S, 1 + day, HEALTHY_F)]
    text = text_of(lines).splitlines()
    assert imported(store, text).refused == 0
    found = store.reader().quantities(SITE, CHIME, "reservoir_f", 0.0, T0 * 2, 100)
    assert len(found) == 12
    for one in found:
        assert one.measured.low < HEALTHY_F * 1.02
        assert one.measured.high > HEALTHY_F * 0.98
    take_in(store, [], Understander(store))
    assert imported(store, text).new == 0
    assert store.reader().quantities(SITE, CHIME, "reservoir_f", 0.0, T0 * 2, 100) == found
