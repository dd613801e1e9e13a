"""Eighty captures at five points of eight invented circuits, by ngspice, in nine ways of writing: named, measured, compared."""

from collections import Counter

import pytest

from service.scope.naming import Shape
from service.scope.told import Look, look
from service.supply.fitout import FitOut, FittedDoor
from tests.scope.conftest import Taken
from tests.scope.dialects import DIALECTS, FULL_SCALE_V

STATE = {True: "pressed", False: "at rest"}


@pytest.fixture(scope="module")
def looks(taken: list[Taken]) -> list[tuple[Taken, Look]]:
    return [(one, look(one.data, one.point, full_scale_v=FULL_SCALE_V, sheet=_sheet(one))) for one in taken]


def test_there_are_enough_of_every_kind(taken: list[Taken]) -> None:
    assert len(taken) >= 40
    assert {one.dialect for one in taken} == set(DIALECTS)
    assert len(DIALECTS) >= 7
    assert len({(one.point, one.wired.pressed) for one in taken}) == 10


def test_shape_and_state_are_named_right(looks: list[tuple[Taken, Look]]) -> None:
    """What is usual at each point: common practice, no source. Asked: 97 % right."""
    wrong = [
        (one.wired.name, one.point, one.dialect, found.seen[0].named.shape, found.seen[0].named.pressed)
        for one, found in looks
        if len(found.seen) != 1
        or found.seen[0].named.shape not in _shapes(one)
        or found.seen[0].named.pressed != _state(one)
    ]
    assert len(wrong) <= 0.03 * len(looks), wrong


def test_rms_is_right_within_one_per_cent(looks: list[tuple[Taken, Look]]) -> None:
    for one, found in looks:
        if one.rms_v > 0.5:  # the detector's low level is a tenth of a volt in eight bits
            assert found.seen[0].named.figures.rms_v == pytest.approx(one.rms_v, rel=0.01), (one.point, one.dialect)


def test_frequency_is_right_within_a_thousandth(looks: list[tuple[Taken, Look]]) -> None:
    told = [
        (one, found.seen[0].named.figures) for one, found in looks if found.seen[0].named.figures.mains_hz is not None
    ]
    assert len(told) > 40
    for one, figures in told:
        assert figures.mains_hz == pytest.approx(one.wired.mains_hz, rel=1e-3), (one.point, one.dialect)


def test_a_frequency_without_one_is_not_invented(looks: list[tuple[Taken, Look]]) -> None:
    for one, found in looks:
        if one.point == "detector" and not one.wired.pressed:
            assert found.seen[0].named.figures.mains_hz is None


def test_a_sheet_that_fits_is_confirmed(looks: list[tuple[Taken, Look]]) -> None:
    """Of some three hundred figures nearly all are as the sheet predicts; it names a transformer by its label only."""
    verdicts = Counter(
        line.verdict for _, found in looks for part in found.seen if part.comparison for line in part.comparison.lines
    )
    assert sum(verdicts.values()) > 150
    assert verdicts["as predicted"] >= 0.95 * sum(verdicts.values()), verdicts


def test_a_sheet_that_does_not_fit_is_not(taken: list[Taken]) -> None:
    """A reservoir of a fifth of the sheet's shows in the ripple, a transformer of half the voltage in every peak."""
    rail = max((one for one in taken if one.point == "rectifier"), key=lambda one: one.height_v / one.rms_v)
    right = _sheet(rail)
    assert right.reservoir_f is not None
    assert right.transformer_open_v is not None
    more = FitOut(
        **{name: getattr(right, name) for name in FitOut.__slots__} | {"reservoir_f": 5.0 * right.reservoir_f}
    )
    found = look(rail.data, "rectifier", full_scale_v=FULL_SCALE_V, sheet=more).seen[0].comparison
    assert found is not None
    ripple = next(line for line in found.lines if line.quantity == "ripple_v")
    assert ripple.verdict == "higher"
    assert "reservoir" in ripple.means

    bell = next(one for one in taken if one.point == "transformer")
    half = FitOut(
        mains_hz=50.0, transformer_v=bell.wired.open_v / 2.4, transformer_va=10.0, reservoir_f=470e-6, idle_a=0.01
    )
    told = look(bell.data, "transformer", full_scale_v=FULL_SCALE_V, sheet=half).seen[0].comparison
    assert told is not None
    assert next(line for line in told.lines if line.quantity == "rms_v").verdict == "higher"


def _shapes(one: Taken) -> tuple[Shape, ...]:
    if one.point == "terminal":
        if one.wired.pressed:
            return ("full sine", "uneven sine")
        return ("half-wave, negative",) if one.wired.swapped else ("half-wave, positive",)
    if one.point == "rectifier":  # less ripple than a fiftieth is a line of an instrument's eight bits
        return ("rectified with ripple",) if one.height_v > 0.02 * one.rms_v else ("rectified with ripple", "flat")
    if one.point == "detector":
        return ("square pulses",) if one.wired.pressed else ("flat",)
    return ("full sine",) if one.point == "transformer" else ("flat",)


def _state(one: Taken) -> str | None:
    return STATE[one.wired.pressed] if one.point in ("terminal", "detector") else None


def _sheet(one: Taken) -> FitOut:
    """As the installer would have written it: open voltage as measured, the wire and the transformer by what stands on them."""
    wired = one.wired
    return FitOut(
        mains_hz=float(round(wired.mains_hz, -1)),
        transformer_open_v=wired.open_v,
        transformer_v=wired.open_v / 1.2,
        transformer_va=20.0,
        wire="AWG 20",
        wire_loop_m=20.0,
        reservoir_f=wired.reservoir_f,
        idle_a=wired.load_a,
        regulator_v=wired.regulator_v,
        dropout_v=wired.regulator_v + 1.6,
        detector_ohm=2200.0,
        detector_on_a=0.4e-3,
        doors=(FittedDoor("front", diode=True),),
    )
