"""Promise: a chime that tells four numbers a burst, or windows of its rail only, is told less, but nothing that is not so.

The rails are ngspice's (see rails.py); the figures are taken from their samples as any chime would.
"""

from dataclasses import replace

import numpy as np
import pytest

from service.findings.fitting import Fitted
from service.findings.lesser import fitted_figures, fitted_windows, from_windows
from service.findings.quantities import quantities
from service.findings.testimony import Evidence, Powered, Survey
from service.model import BurstFigures, LoadState, RailWindow
from service.supply.fitout import FitOut
from service.supply.folding import Run
from service.supply.unknowns import Kind
from tests.identified.rails import HOUSES, Converter, House

Rails = list[dict[Kind, np.ndarray]]
TRUE = {
    "reservoir_f": "farad",
    "source_ohm": "ohm",
    "open_circuit_v": "open_v",
    "idle_a": "idle_a",
    "sound_a": "sound_a",
}
CONVERTERS = (Converter(), Converter(1000.0, 10, 40.0, 0.012))


def four_numbers(kind: LoadState, run: Run, hertz: float) -> BurstFigures:
    """Means of cycle maxima and minima, mean, and the median slope from 15 to 65 % of a cycle after each maximum."""
    cycle = np.floor((run.at_s - run.at_s[0]) * hertz).astype(int)
    whole = [cycle == number for number in range(10)]
    top = float(run.at_s[whole[0]][np.argmax(run.volts[whole[0]])])
    since = np.mod((run.at_s - top) * hertz, 1.0)
    number = np.floor((run.at_s - top) * hertz)
    slopes = []
    for n in range(1, 9):
        part = (number == n) & (since > 0.15) & (since < 0.65)
        slopes.append(float(np.polyfit(run.at_s[part], run.volts[part], 1)[0]))
    return BurstFigures(
        kind,
        0.0,
        float(np.mean([run.volts[inside].max() for inside in whole])),
        float(np.mean([run.volts[inside].min() for inside in whole])),
        float(np.mean([run.volts[inside].mean() for inside in whole])),
        -float(np.median(slopes)),
    )


def sheet_of(house: House) -> FitOut:
    return FitOut(
        mains_hz=house.chime.mains_hz,
        test_a=house.test_a or None,
        test_ohm=house.test_ohm or None,
        dropout_v=6.0,
        idle_a=0.9 * house.idle_a,
        sound_a=1.1 * house.sound_a,
    )


def surveyed(house: House, rails: dict[Kind, np.ndarray], converter: Converter, seed: int) -> Survey:
    runs = converter.runs(rails, house.hertz, np.random.default_rng(seed))
    figures: dict[LoadState, BurstFigures] = {kind: four_numbers(kind, run, house.hertz) for kind, run in runs.items()}
    return Survey(
        0.0, figures=figures, mains_hz=house.hertz + 0.02, test_a=house.test_a or None, test_ohm=house.test_ohm or None
    )


@pytest.fixture(scope="module")
def fits(simulated: Rails) -> list[tuple[House, FitOut, Fitted]]:
    found = []
    for house, rails in zip(HOUSES, simulated, strict=True):
        for converter in CONVERTERS:
            sheet = sheet_of(house)
            fit = fitted_figures(surveyed(house, rails, converter, 4), (), sheet, None, 50.0, None, False)
            assert fit is not None
            found.append((house, sheet, fit))
    return found


def test_four_numbers_a_burst_give_the_circuit_more_coarsely(fits: list[tuple[House, FitOut, Fitted]]) -> None:
    for house, _, fit in fits:
        found = fit.identified
        assert found.value("c") == pytest.approx(house.farad, rel=0.08), house
        assert found.value("r") == pytest.approx(house.ohm, rel=0.45), house
        assert found.value("v") == pytest.approx(house.open_v, rel=0.05), house
        assert found.load_a["sound"] == pytest.approx(house.sound_a, rel=0.08), house


def test_their_intervals_hold(fits: list[tuple[House, FitOut, Fitted]]) -> None:
    """Meant: nine times in ten. Of 50 at least 41 (the binomial's 5 % point)."""
    held = []
    for house, sheet, fit in fits:
        told = quantities(fit, sheet)
        assert set(TRUE) <= told.keys()
        held += [told[name].low <= getattr(house, field) <= told[name].high for name, field in TRUE.items()]
    assert len(held) == 50
    assert sum(held) >= 41


def test_what_was_not_told_is_missing_and_not_made_up(simulated: Rails) -> None:
    house, sheet = HOUSES[0], sheet_of(HOUSES[0])
    whole = surveyed(house, simulated[0], CONVERTERS[0], 4)
    idle = replace(whole, figures={"idle": whole.figures["idle"]})
    fit = fitted_figures(idle, (), sheet, None, 50.0, None, False)
    assert fit is not None
    assert {"reservoir_f", "source_ohm", "sound_a", "headroom_v"} & quantities(fit, sheet).keys() == set()
    nothing = replace(whole, figures={"idle": BurstFigures("idle", 0.0, fall_v_per_s=20.0)})
    assert fitted_figures(nothing, (), sheet, None, 50.0, None, False) is None
    assert fitted_figures(replace(whole, figures={}), (), sheet, None, 50.0, None, False) is None


def test_a_rail_that_dropped_out_while_sounding_is_seen_and_not_fitted(simulated: Rails) -> None:
    house = HOUSES[0]
    whole = surveyed(house, simulated[0], CONVERTERS[0], 4)
    lowest = whole.figures["sound"].min_v
    assert lowest is not None
    fit = fitted_figures(whole, (), replace(sheet_of(house), dropout_v=lowest + 1.0), None, 50.0, None, False)
    assert fit is not None
    assert "sound" not in fit.identified.load_a
    assert fit.lowest_sounding_v == lowest
    assert fit.sound_a == pytest.approx(house.sound_a, rel=0.1)  # by the fall alone


# ── windows ─────────────────────────────────────────────────────────────────────────────────────────────────────────────


def windows(house: House, rails: dict[Kind, np.ndarray], seed: int = 2) -> Evidence:
    """Ten windows of two seconds: eight idle, one partly sounding, one sounding."""
    converter = CONVERTERS[0]
    random = np.random.default_rng(seed)
    told = []
    for number in range(10):
        run = converter.run(rails["sound" if number == 9 else "idle"], 0.0, house.hertz, random)
        lowest = 1.0 if number == 8 else float(run.volts.min())  # nonsense, which must not count
        window = RailWindow(0.0, 2.0, float(run.volts.mean()), lowest, float(run.volts.max()))
        told.append((2.0 * number + 2.0, window))
    loads: tuple[tuple[float, LoadState], ...] = ((0.0, "idle"), (17.0, "sound"))
    return Evidence(windows=tuple(told), loads=loads, powered=(Powered(-5.0, 20.0),))


def test_windows_give_the_height_of_the_source_and_no_more_than_they_can(simulated: Rails) -> None:
    held = 0
    for house, rails in zip(HOUSES, simulated, strict=True):
        told = from_windows(windows(house, rails), sheet_of(house), None, house.chime.mains_hz)
        assert {"reservoir_f", "source_ohm", "mains_hz"} & told.keys() == set()
        volts = told["open_circuit_v"]
        assert volts.value == pytest.approx(house.open_v, rel=0.15), house
        held += volts.low <= house.open_v <= volts.high
        lowest = float(rails["sound"].min())
        assert told["headroom_v"].value == pytest.approx(lowest - 6.0, abs=0.3)
    assert held >= 4


def test_a_window_of_two_loads_counts_for_neither(simulated: Rails) -> None:
    fit = fitted_windows(windows(HOUSES[0], simulated[0]), sheet_of(HOUSES[0]), None, 50.0, None, False)
    assert fit is not None
    assert fit.identified.rail_min_v["idle"] > 10.0


def test_no_window_no_fit() -> None:
    assert fitted_windows(Evidence(), FitOut(), None, 50.0, None, False) is None
    assert from_windows(Evidence(), FitOut(), None, 50.0) == {}
