"""Promise: what packs tell is in the record once, at its time, whatever the order of arrival; what fails changes nothing."""

import random

import pytest

from adapters.sql.work import SqlStore
from service.errors import NotFound
from service.model import (
    Arrival,
    ContactChange,
    LoadChange,
    Pack,
    Press,
    PulseTrain,
    RailWindow,
    Switch,
    Visit,
    Waveform,
)
from service.understanding import Batch

T0 = 1_789_380_000.0
SITE, CHIME = "tern-cottage", "hall"


def train(length_s: float, moment_s: float = 0.0, door: str = "front") -> PulseTrain:
    """A clean press at 50 Hz, beginning `moment_s` after the pack was made."""
    return PulseTrain(
        door, tuple((moment_s + 0.02 * n, moment_s + 0.02 * n + 0.007) for n in range(int(length_s * 50)))
    )


def take(
    store: SqlStore,
    up_s: float,
    late_s: float = 0.05,
    boot: int = 1,
    seq: int = 0,
    payload: bytes = b"",
    **records: object,
) -> bool:
    """One pack made `up_s` after T0 (start of the boot), arriving `late_s` later."""
    pack = Pack(boot=boot, seq=seq, up_s=up_s, **records)  # type: ignore[arg-type]
    arrival = Arrival(f"bellcrank/1/{SITE}/{CHIME}/pack", payload or repr(pack).encode(), T0 + up_s + late_s)
    with store.work() as work:
        batch = Batch(work)
        new = batch.understand(work.chime(SITE, CHIME, arrival.received_s), pack, arrival)
        batch.finish()
        return new


def presses(store: SqlStore) -> list[Press]:
    return list(store.reader().presses(SITE, 0.0, T0 * 2)[0])


def visits(store: SqlStore) -> list[Visit]:
    return list(store.reader().visits(SITE, 0.0, T0 * 2)[0])


def test_a_press_is_logged_at_its_door_and_time(store: SqlStore) -> None:
    take(store, 100.0, pulse_trains=(train(0.4, -0.5),))
    (press,) = presses(store)
    assert (press.door, press.pulses, press.doubtful) == ("front", 20, False)
    assert press.start_s == pytest.approx(T0 + 99.5, abs=0.06)
    assert press.end_s == pytest.approx(T0 + 99.887, abs=0.06)


def test_the_same_pack_twice_is_one_press(store: SqlStore) -> None:
    assert take(store, 100.0, pulse_trains=(train(0.4),))
    before = presses(store)
    assert not take(store, 100.0, late_s=30.0, pulse_trains=(train(0.4),))
    assert presses(store) == before


def test_a_chime_that_counts_afresh_is_not_taken_for_an_echo(store: SqlStore) -> None:
    take(store, 100.0, pulse_trains=(train(0.4),))
    take(store, 5.0, late_s=9000.0, pulse_trains=(train(0.2),))  # the same boot and seq, another content
    assert [press.pulses for press in presses(store)] == [20, 10]


def test_pieces_of_one_press_in_any_order_are_one_press(store: SqlStore) -> None:
    whole = train(1.0).pulses
    pieces = [PulseTrain("front", whole[n : n + 10]) for n in range(0, 50, 10)]
    order = list(range(5))
    random.Random(4).shuffle(order)
    for seq in order:
        take(store, 100.0, late_s=0.05 + seq, seq=seq, pulse_trains=(pieces[seq],))
    (press,) = presses(store)
    assert press.pulses == 50
    (visit,) = visits(store)
    assert [p.id for p in visit.presses] == [press.id]


def test_a_chime_that_debounces_by_itself_gives_presses_too(store: SqlStore) -> None:
    take(store, 100.0, seq=0, contact_changes=(ContactChange("front", 0.0, True),))
    assert presses(store)[0].end_s is None
    take(store, 100.4, seq=1, contact_changes=(ContactChange("front", 0.0, False),))
    (press,) = presses(store)
    assert press.end_s == pytest.approx(press.start_s + 0.4)
    assert press.source == "contact"


def test_presses_of_one_caller_are_one_visit_and_later_ones_another(store: SqlStore) -> None:
    for seq, at in enumerate([100.0, 110.0, 400.0]):
        take(store, at, seq=seq, pulse_trains=(train(0.3),))
    assert [len(visit.presses) for visit in visits(store)] == [2, 1]


def test_a_press_that_arrives_late_bridges_two_visits_into_one(store: SqlStore) -> None:
    take(store, 100.0, seq=0, pulse_trains=(train(0.3),))
    take(store, 200.0, seq=1, pulse_trains=(train(0.3),))
    assert len(visits(store)) == 2
    take(store, 150.0, seq=2, late_s=500.0, pulse_trains=(train(0.3),))
    (visit,) = visits(store)
    assert len(visit.presses) == 3


def test_doors_keep_their_visits_apart(store: SqlStore) -> None:
    take(store, 100.0, pulse_trains=(train(0.3), train(0.3, 1.0, "garden")))
    assert [visit.door for visit in visits(store)] == ["front", "garden"]


def test_a_boot_dated_too_late_takes_its_presses_along_when_the_time_is_known(store: SqlStore) -> None:
    take(store, 100.0, late_s=7200.0, seq=0, pulse_trains=(train(0.3),), rail_windows=(RailWindow(0.0, 60.0, 14.0),))
    assert presses(store)[0].start_s == pytest.approx(T0 + 7300.0, abs=0.1)
    take(store, 7400.0, late_s=0.05, seq=1)
    assert presses(store)[0].start_s == pytest.approx(T0 + 100.0, abs=0.1)
    assert visits(store)[0].start_s == presses(store)[0].start_s
    assert store.reader().supply(SITE, CHIME, 0.0, T0 * 2)[0].end_s == pytest.approx(T0 + 100.0, abs=0.1)


def test_the_chimes_answer_is_counted_where_it_tells_when_it_sounds(store: SqlStore) -> None:
    take(store, 100.0, seq=0, pulse_trains=(train(0.3),))
    assert visits(store)[0].sounded is None
    take(store, 103.0, seq=1, sound=(Switch(-2.9, True), Switch(-0.2, False)))
    assert visits(store)[0].sounded == 1
    (sounding,) = store.reader().soundings(SITE, 0.0, T0 * 2)
    assert sounding.end_s == pytest.approx(sounding.start_s + 2.7)


def test_between_two_boots_the_record_was_blind(store: SqlStore) -> None:
    take(store, 100.0, boot=1)
    take(store, 5.0, boot=2, late_s=3600.05)
    (spell,) = store.reader().blind_spells(SITE, 0.0, T0 * 2, T0 * 2)
    assert spell.why == "chime without power"
    assert (spell.start_s, spell.end_s) == (pytest.approx(T0 + 100.05), pytest.approx(T0 + 3600.05))


def test_supply_windows_are_kept_and_joined(store: SqlStore) -> None:
    for seq in range(60):
        take(
            store,
            60.0 * (seq + 1),
            seq=seq,
            temperature_c=20.0,
            rail_windows=(RailWindow(0.0, 60.0, 14.0 + seq % 2, 13.0, 15.0),),
        )
    reader = store.reader()
    assert len(reader.supply(SITE, CHIME, T0, T0 + 4000.0)) == 60
    joined = reader.supply(SITE, CHIME, T0, T0 + 4000.0, step_s=1800.0)
    assert [point.windows for point in joined] == [29, 30, 1]
    assert joined[1].mean_v == pytest.approx(14.5)
    assert (joined[1].min_v, joined[1].max_v) == (13.0, 15.0)


def test_the_present_supply_is_the_newest_of_each_figure(store: SqlStore) -> None:
    take(store, 60.0, seq=0, rail_windows=(RailWindow(0.0, 60.0, 14.0, 13.5, 14.5),))
    take(store, 70.0, seq=1, rail_windows=(RailWindow(0.0, low_v=9.5),), regulated_min_v=5.0)
    now = store.reader().latest_supply(SITE, CHIME)
    assert now is not None
    assert (now.mean_v, now.min_v, now.low_v, now.regulated_min_v) == (14.0, 13.5, 9.5, 5.0)
    assert now.end_s == pytest.approx(T0 + 60.05)


def test_bursts_are_kept_as_they_came(store: SqlStore) -> None:
    take(
        store,
        50.0,
        waveforms=(Waveform("idle", -1.0, 2000.0, 0.008, b"\x01\x00\x02\x00"),),
        load_changes=(LoadChange(0.0, "idle"),),
    )
    (burst,) = store.reader().latest_bursts(SITE, CHIME)
    assert (burst.kind, burst.rate_hz, burst.codes) == ("idle", 2000.0, b"\x01\x00\x02\x00")


def fail_halfway(store: SqlStore) -> None:
    with store.work() as work:
        pack = Pack(boot=1, seq=1, up_s=200.0, pulse_trains=(train(0.3),))
        Batch(work).understand(work.chime(SITE, CHIME, T0), pack, Arrival("", b"x", T0 + 200.0))
        work.claim("nowhere", "none", None)


def test_a_transaction_that_fails_leaves_nothing_behind(store: SqlStore) -> None:
    take(store, 100.0, seq=0, pulse_trains=(train(0.3),))
    before, counts = presses(store), store.reader().counts()
    with pytest.raises(NotFound):
        fail_halfway(store)
    assert (presses(store), store.reader().counts()) == (before, counts)
    assert take(store, 200.0, seq=1, pulse_trains=(train(0.3),))
    assert len(presses(store)) == 2


def test_pages_of_presses_follow_each_other_without_gap_or_overlap(store: SqlStore) -> None:
    for seq in range(25):
        take(store, 100.0 * (seq + 1), seq=seq, pulse_trains=(train(0.3),))
    reader, seen, cursor = store.reader(), list[int](), None
    while True:
        page, cursor = reader.presses(SITE, 0.0, T0 * 2, cursor=cursor, limit=10)
        seen += [press.id for press in page]
        if cursor is None:
            break
    assert seen == sorted(press.id for press in presses(store))
    newest, _ = reader.presses(SITE, 0.0, T0 * 2, limit=1, newest_first=True)
    assert newest[0].id == seen[-1]
