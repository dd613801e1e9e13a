"""Packs that tell of supply or presses are found again by when they were put together, as bytes, once, and bounded."""

import pytest

from service import finding_ports
from service import pack as packs
from service.errors import NotFound
from tests.builders import PRESS, arrival
from tests.examinations.conftest import CHIME, SITE, T0, WINDOW, Bench, survey

ALL = {"survey": 100, "event": 100, "window": 100}


def told(bench: Bench, start_s: float = 0.0, end_s: float = T0 * 2, **limits: int) -> list[finding_ports.Testimony]:
    return list(bench.store.reader().testimony(SITE, CHIME, start_s, end_s, limits or ALL))  # type: ignore[arg-type]


def test_each_pack_stands_under_what_it_tells(bench: Bench) -> None:
    bench.take(*survey(), up_s=100.0)
    bench.take(PRESS, *WINDOW, up_s=200.0)
    bench.take({"n": "boot.cause", "vs": "power-on"}, *WINDOW, up_s=300.0)  # told again, as in every pack
    bench.take({"n": "link", "u": "dBW", "v": -96.0}, up_s=400.0)  # nothing of supply or presses
    found = told(bench)
    assert [one.kind for one in found] == ["survey", "event", "window"]
    assert [one.at_s for one in found] == pytest.approx([T0 + 100.05, T0 + 200.05, T0 + 300.05])
    decoded = packs.decode(found[0].payload, found[0].content_type, found[0].received_s)
    assert [waveform.kind for waveform in decoded.waveforms] == ["idle", "test"]


def test_a_pack_that_comes_twice_is_one_testimony(bench: Bench) -> None:
    bench.take(*survey(), up_s=100.0)
    bench.seq = 0
    bench.take(*survey(), up_s=100.0, late_s=30.0)
    assert len(told(bench)) == 1


def test_a_stretch_is_half_open_and_limits_keep_the_newest_of_each_kind(bench: Bench) -> None:
    for n in range(6):
        bench.take(*(WINDOW if n % 2 else survey()), up_s=100.0 * (n + 1))
    middle = told(bench, T0 + 200.04, T0 + 500.04)
    assert [round(one.at_s - T0) for one in middle] == [200, 300, 400]
    assert [round(one.at_s - T0) for one in told(bench, survey=2, window=1)] == [300, 500, 600]
    assert [round(one.at_s - T0) for one in told(bench, survey=1)] == [500]


def test_time_follows_the_boots_dating_even_when_it_is_learnt_later(bench: Bench) -> None:
    bench.take(*survey(), up_s=100.0, late_s=7200.0)
    assert told(bench)[0].at_s == pytest.approx(T0 + 7300.0)
    bench.take(*WINDOW, up_s=7400.0)
    assert told(bench)[0].at_s == pytest.approx(T0 + 100.05)
    assert told(bench, T0, T0 + 200.0)[0].kind == "survey"
    assert bench.store.reader().newest_testimony_s(SITE, CHIME) == pytest.approx(T0 + 7400.05)


def test_testimony_of_several_boots_is_in_order_and_bounded_together(bench: Bench) -> None:
    bench.take(*survey(), up_s=100.0)
    bench.take(*survey(), up_s=50.0, late_s=1000.05, boot=2)
    found = told(bench)
    assert [round(one.at_s - T0) for one in found] == [100, 1050]
    assert found[0].boot_id != found[1].boot_id
    assert [round(one.at_s - T0) for one in told(bench, survey=1)] == [1050]


def test_a_chime_without_a_clock_testifies_at_the_time_of_arrival(bench: Bench) -> None:
    bench.take_arrival(arrival(b'[{"n":"front.press","vb":true}]', 77.0))
    assert [(one.kind, one.at_s) for one in told(bench)] == [("event", T0 + 77.0)]


def test_what_is_new_is_noticed_by_chime(bench: Bench) -> None:
    reader = bench.store.reader()
    assert reader.testimony_after(0) == (0, [])
    bench.take(*survey(), up_s=100.0)
    newest, heard = reader.testimony_after(0)
    assert heard == [(SITE, CHIME, True)]
    assert reader.testimony_after(newest) == (newest, [])
    bench.take_arrival(arrival(b'[{"n":"front.press","vb":true}]', 7.0, "bellcrank/1/tern-cottage/attic/pack"))
    bench.take(*WINDOW, up_s=300.0)
    assert sorted(reader.testimony_after(newest)[1]) == [(SITE, "attic", True), (SITE, CHIME, False)]


def test_packs_marked_on_arrival_are_the_commissioning_record(bench: Bench) -> None:
    bench.take(*survey(), up_s=100.0, commissioning=True)
    bench.take(PRESS, up_s=160.0, commissioning=True)
    bench.take(*survey(), up_s=90_000.0)
    reader = bench.store.reader()
    (record,) = reader.commissionings(SITE, CHIME)
    assert (record.packs, record.by) == (2, "")
    assert (record.start_s, record.end_s) == pytest.approx((T0 + 100.05, T0 + 160.05))
    assert record.taken_s == record.end_s
    assert [one.kind for one in reader.commissioning_testimony(record.id)] == ["survey", "event"]


def test_marked_packs_days_apart_are_two_records_and_the_later_counts(bench: Bench) -> None:
    for up_s in (100.0, 300_000.0):
        bench.take(*survey(), up_s=up_s, commissioning=True)
    newest, earlier = bench.store.reader().commissionings(SITE, CHIME)
    assert newest.start_s == pytest.approx(T0 + 300_000.05)
    assert earlier.packs == 1


def test_what_concerns_no_chime_is_empty_or_not_found(bench: Bench) -> None:
    reader = bench.store.reader()
    assert told(bench) == []
    assert reader.newest_testimony_s(SITE, CHIME) is None
    assert reader.commissionings(SITE, CHIME) == reader.fitouts(SITE, CHIME) == reader.findings(SITE) == []
    with pytest.raises(NotFound):
        bench.do(lambda work: work.survey_moments(SITE, CHIME, 10))
