"""Promise: what a survey measured is kept once under its time, however often it is examined, and every survey is kept."""

from functools import partial

import pytest

from service import examination
from service.findings.testimony import Evidence
from service.findings.verdict import Measured, Surveyed, Verdict
from tests.examinations.conftest import CHIME, SITE, T0, Bench, survey

DAY_S = 86_400.0


def measured(farad: float) -> dict[str, Measured]:
    return {"reservoir_f": Measured(farad, farad * 0.97, farad * 1.03)}


def keep(bench: Bench, at_s: float, farad: float, temperature_c: float | None = None) -> None:
    one = Surveyed(at_s, measured(farad), temperature_c)
    bench.do(lambda work: examination.keep_survey(work, SITE, CHIME, one))


def kept(bench: Bench, name: str = "reservoir_f") -> list[tuple[float, float]]:
    points = bench.store.reader().quantities(SITE, CHIME, name, 0.0, 2.0 * T0)
    return [(round(point.at_s - T0, 3), point.measured.value) for point in points]


@pytest.fixture
def heard(bench: Bench) -> Bench:
    bench.take(*survey(), up_s=100.0)
    return bench


def test_the_same_survey_examined_again_changes_its_figures_and_adds_none(heard: Bench) -> None:
    for farad in (3.1e-4, 3.1e-4, 3.2e-4):  # as when a commissioning record is taken, or a fit-out sheet handed in
        keep(heard, T0 + 100.0, farad)
    assert kept(heard) == [(100.0, 3.2e-4)]


def test_a_boot_dated_anew_does_not_double_its_surveys(heard: Bench) -> None:
    keep(heard, T0 + 100.0, 3.1e-4)
    keep(heard, T0 + 100.7, 3.12e-4)  # the clock was found to be off by less than a second
    assert kept(heard) == [(100.7, 3.12e-4)]
    keep(heard, T0 + 3700.0, 3.12e-4)  # by an hour, as after an outage of the network: the very same figures
    assert len(kept(heard)) == 1


def test_two_surveys_are_two_readings_also_when_they_measure_the_same(heard: Bench) -> None:
    keep(heard, T0 + 100.0, 3.1e-4)
    keep(heard, T0 + 160.0, 3.2e-4)
    keep(heard, T0 + 160.0 + DAY_S, 3.2e-4)
    assert kept(heard) == [(100.0, 3.1e-4), (160.0, 3.2e-4), (160.0 + DAY_S, 3.2e-4)]


def test_a_survey_measured_later_takes_its_place_in_time(heard: Bench) -> None:
    keep(heard, T0 + 5.0 * DAY_S, 3.0e-4)
    keep(heard, T0 + 2.0 * DAY_S, 3.1e-4)
    assert [farad for _, farad in kept(heard)] == [3.1e-4, 3.0e-4]
    assert heard.store.reader().latest_quantities(SITE, CHIME)[0].measured.value == 3.0e-4


def test_the_temperature_is_kept_beside_where_it_is_told(heard: Bench) -> None:
    keep(heard, T0 + 100.0, 3.1e-4, 19.5)
    assert kept(heard, "temperature_c") == [(100.0, 19.5)]


def test_what_the_commissioning_record_measured_is_kept_at_its_own_time(heard: Bench) -> None:
    heard.take(*survey(), up_s=100.0 + DAY_S)
    verdict = Verdict(
        measured(3.1e-4),
        surveyed=Surveyed(T0 + 100.0 + DAY_S, measured(3.1e-4)),
        commissioned=Surveyed(T0 + 100.0, measured(4.7e-4)),
    )

    def judge(now: Evidence, commissioning: Evidence | None, sheet: object) -> Verdict:
        return verdict

    for _ in range(2):
        examined = examination.examine(heard.store.reader(), judge, SITE, CHIME, T0 + 2.0 * DAY_S)
        assert examined is not None
        heard.do(partial(examination.conclude, examined=examined))
    assert kept(heard) == [(100.0, 4.7e-4), (100.0 + DAY_S, 3.1e-4)]
