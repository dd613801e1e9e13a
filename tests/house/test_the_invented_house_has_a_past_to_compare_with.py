"""The invented house keeps a fit-out sheet and a commissioning record, so that a fault shows against them and health shows no trend."""

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from adapters.simulated.installation import FIT_OUT, Installation
from adapters.sql.work import SqlStore
from service import bootstrap, examination, outlooks
from service.examine import answer, examine
from service.findings.judge import judge
from service.intake import Understander
from service.model import Arrival
from service.settings import Settings

SITE, CHIME = bootstrap.Demo.SITE, bootstrap.Demo.CHIME
DAY_S = 86_400.0


def invented(fault: str | None) -> Iterator[SqlStore]:
    with tempfile.TemporaryDirectory() as folder:
        settings = Settings(data=Path(folder))
        bootstrap.invent(settings, fault, 0.7)
        store = SqlStore(settings.url_of_record, settings.time_zone)
        yield store
        store.close()


@pytest.fixture(scope="module")
def healthy() -> Iterator[SqlStore]:
    yield from invented(None)


@pytest.fixture(scope="module")
def aged() -> Iterator[SqlStore]:
    yield from invented("reservoir-aged")


def test_it_has_its_sheet_and_its_commissioning_record_marked_as_invented(healthy: SqlStore) -> None:
    reader = healthy.reader()
    (sheet,) = reader.fitouts(SITE, CHIME)
    (record,) = reader.commissionings(SITE, CHIME)
    assert (sheet.sheet, sheet.by) == (FIT_OUT, "the invented house")
    last_s = reader.chime(SITE, CHIME).last_heard_s
    assert 28.0 * DAY_S < last_s - record.end_s < 30.5 * DAY_S
    assert sheet.kept_s < record.start_s
    assert "(invented)" in reader.site(SITE).name


def test_the_sheet_is_true_to_the_installation() -> None:
    house = Installation()
    parts = house.parts
    told = {name: FIT_OUT[name] for name in ("mains_hz", "reservoir_f", "regulator_v", "dropout_v", "detector_ohm")}
    assert told == {name: getattr(parts, name) for name in told}
    assert [FIT_OUT[name] for name in ("idle_a", "sound_a", "test_a")] == [house.idle_a, house.sound_a, house.test_a]


def test_a_healthy_house_has_no_finding_and_no_trend(healthy: SqlStore) -> None:
    reader = healthy.reader()
    now_s = reader.chime(SITE, CHIME).last_heard_s
    examined = examination.examine(reader, judge, SITE, CHIME, now_s)
    assert examined is not None
    assert examined.verdict.findings == ()
    with healthy.work() as work:
        examination.conclude(work, examined)
    found = outlooks.of_chime(reader, SITE, CHIME, now_s)
    assert [one.name for one in found if one.drifts or one.changed_s is not None or one.passed] == []
    assert {one.why for one in found} <= {
        "the slope may as well be nothing",
        "a healthy supply moves as much by itself",
    }
    assert len(found) == 7


def test_a_fault_shows_against_what_was_commissioned_and_as_a_change_at_once(aged: SqlStore) -> None:
    reader = aged.reader()
    now_s = reader.chime(SITE, CHIME).last_heard_s
    examined = examination.examine(reader, judge, SITE, CHIME, now_s)
    assert examined is not None
    (finding,) = examined.verdict.findings
    (line,) = (one for one in finding.evidence if one.quantity == "reservoir_f")
    assert finding.name == "reservoir-aged"
    assert line.expected == pytest.approx(1000e-6, rel=0.03)  # the sheet's
    assert line.value == pytest.approx((0.88 - 0.7 * 0.68) * 1000e-6, rel=0.05)  # severity 0.7 between 0.88 and 0.20
    with aged.work() as work:
        examination.conclude(work, examined)
    reservoir = next(one for one in outlooks.of_chime(reader, SITE, CHIME, now_s) if one.name == "reservoir_f")
    assert reservoir.passed
    assert reservoir.changed_s is not None
    # the fault sets in at seven tenths of the thirty days; every third day is measured
    assert 5.0 * DAY_S < now_s - reservoir.changed_s < 9.5 * DAY_S


def test_a_recording_of_weeks_has_an_outlook_and_one_of_days_has_none(healthy: SqlStore) -> None:
    reader = healthy.reader()
    last_s = reader.chime(SITE, CHIME).last_heard_s
    packs = reader.testimony(SITE, CHIME, 0.0, last_s + 1.0, {"survey": 1000})
    first = int(packs[0].at_s // DAY_S)
    some = [one for one in packs if (int(one.at_s // DAY_S) - first) % 3 < 1]
    topic = f"bellcrank/1/{SITE}/{CHIME}/pack"

    def examined(since_s: float) -> dict[str, object]:
        store = SqlStore("sqlite://")
        arrivals = [Arrival(topic, p.payload, p.received_s, "file", p.content_type) for p in some if p.at_s >= since_s]
        found = answer(examine(store, arrivals, Understander(store), FIT_OUT))
        store.close()
        return found

    weeks, days = examined(0.0), examined(last_s - 15.0 * DAY_S)
    assert isinstance(weeks["outlook"], list)
    assert {"site", "chime", "quantity", "share_per_year", "limit", "meets", "why"} <= set(weeks["outlook"][0])
    assert "outlook" in str(weeks["looked_for"])
    assert "outlook" not in days
    assert "outlook" not in str(days["looked_for"])
