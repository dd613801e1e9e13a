"""Promise: samples lie on the fitted rail where they belong, every cycle and press is drawn at its time, and a gap stays a gap."""

import doctest
import re
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dashboard import examined_chime, stretches
from dashboard.folded import folded
from dashboard.recorded_rail import Happened, draw_rail
from dashboard.stretches import line_of
from service.examine import Examined
from service.supply.unknowns import KINDS, Kind
from tests.examined.recorded import AGED_F, BURST_S, HERTZ, LSB_V, NOISE_V, RATE_HZ, rail

UTC = ZoneInfo("UTC")
NOTHING = Happened({}, (), (), (), (), ())


@pytest.mark.parametrize("kind", KINDS)
def test_samples_are_folded_onto_the_fit(of_aged: Examined, kind: Kind) -> None:
    (chime,) = of_aged.chimes
    assert chime.here.fit is not None
    assert chime.then is not None
    one = folded(chime.here.fit, kind, chime.then.fit)
    assert one is not None
    assert len(one.volts) == int(BURST_S * RATE_HZ)
    assert one.cycles == pytest.approx(BURST_S * HERTZ, rel=0.01)
    # The noise that the recording was made with, and what rounding to codes adds (LSB / sqrt 12).
    assert one.scatter_v == pytest.approx(float(np.hypot(NOISE_V, LSB_V / np.sqrt(12.0))), rel=0.35)
    assert one.fitted is not None
    assert one.before is not None
    assert np.ptp(one.fitted) == pytest.approx(np.ptp(rail(AGED_F)[kind]), rel=0.1)
    assert np.ptp(one.fitted) > 1.3 * np.ptp(one.before)  # ripple goes with 1 / C (closed form): 470 to 260 uF is 1.8


def test_the_drawn_cycle_begins_before_the_rail_is_lowest(of_aged: Examined) -> None:
    (chime,) = of_aged.chimes
    assert chime.here.fit is not None
    one = folded(chime.here.fit, "sound")
    assert one is not None
    assert one.fitted is not None
    assert np.argmin(one.fitted) / len(one.fitted) == pytest.approx(0.15, abs=0.02)
    lowest = one.turns[np.argsort(one.volts)[:20]]
    assert np.median(lowest) == pytest.approx(0.15, abs=0.05)


def test_a_burst_that_took_no_part_in_the_fit_is_drawn_by_itself(of_aged: Examined) -> None:
    (chime,) = of_aged.chimes
    assert chime.here.fit is not None
    found = chime.here.fit.identified
    fit = replace(chime.here.fit, identified=replace(found, folded={"idle": found.folded["idle"]}))
    one = folded(fit, "sound")
    assert one is not None
    assert one.fitted is None
    assert one.scatter_v is None
    assert np.median(one.turns[np.argsort(one.volts)[:20]]) == pytest.approx(0.15, abs=0.08)


def test_three_bursts_and_one_rail_are_drawn(of_aged: Examined) -> None:
    told = examined_chime.make(of_aged.chimes[0], 0.0, UTC)
    assert [cycle.title for cycle in told.cycles] == ["At rest", "With the test load", "While it sounds"]
    for cycle in told.cycles:
        assert cycle.picture.count('class="predicted"') == cycle.picture.count('class="before"') == 1
        assert cycle.picture.count("h.01") == int(BURST_S * RATE_HZ)
    assert told.rail is not None
    assert told.rail.count('class="stroke"') == 1  # one press
    assert told.rail.count('class="dot"') == 1  # one sound
    assert told.rail.count('class="boot"') == 1


def test_a_gap_is_never_drawn_across() -> None:
    at_s = np.arange(0.0, 10.0, 0.02)
    volts = np.where((at_s > 4.0) & (at_s < 5.0), np.nan, 14.0 + 0.1 * np.sin(at_s))
    picture = draw_rail(line_of(at_s.tolist()), at_s, volts, NOTHING, UTC)
    (trace,) = re.findall(r'<path d="([^"]*)" class="trace"', picture)
    assert trace.count("M") == 2
    assert trace.count("L") == np.count_nonzero(np.isfinite(volts)) - 2


def test_windows_are_bars() -> None:
    at_s = np.arange(0.0, 600.0, 60.0)
    picture = draw_rail(line_of(at_s.tolist(), 180.0), at_s, 14.0 + at_s / 1000.0, NOTHING, UTC)
    assert 'class="trace"' not in picture
    (bars,) = re.findall(r'<path d="([^"]*)" class="low"', picture)
    assert bars.count("M") == 10


def test_of_many_cycles_none_is_hidden() -> None:
    at_s = np.arange(0.0, 400.0, 0.02)
    volts = np.full(len(at_s), 14.0)
    volts[7777] = 9.0
    picture = draw_rail(line_of(at_s.tolist()), at_s, volts, NOTHING, UTC)
    (ranges,) = re.findall(r'<path d="([^"]*)" class="interval"', picture)
    assert "V1000.0" in ranges or " 1000.0V" in ranges  # the lowest of the scale: 9 V


def test_a_line_of_time_leaves_silences_out() -> None:
    line = line_of([0.0, 30.0, 10_000.0, 10_030.0])
    assert line.place(5000.0) is None
    assert line.place(0.0) == 0.0
    assert line.place(10_030.0) == pytest.approx(1.0)
    assert len(line.spans(20.0, 10_010.0)) == 2
    assert len(line_of([1000.0 * n for n in range(30)]).stretches) == 8


def test_examples_hold() -> None:
    tried = doctest.testmod(stretches)
    assert tried.attempted > 0
    assert tried.failed == 0
