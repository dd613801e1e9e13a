"""Promise: packs give the same evidence in whatever order they arrive; what was not taken stays empty."""

import random

import numpy as np

from service.findings.testimony import Told, evidence, volts
from service.model import BurstFigures, LoadChange, Pack, PulseTrain, RailWindow, Switch, Waveform


def codes(*values: int) -> bytes:
    return np.array(values, "<i2").tobytes()


def packs() -> list[Told]:
    """A minute of a chime: a survey in two packs, cycle extremes, presses, windows, and a second power-up."""
    burst = Waveform("idle", -1.0, 2000.0, 0.01, codes(*range(1500, 1600)))
    test = Waveform("test", -0.5, 2000.0, 0.01, codes(*range(1400, 1500)))
    peaks = Waveform("peaks", -2.0, 50.0, 0.01, codes(1800, 1801, -32768, 1803))
    troughs = Waveform("troughs", -2.0, 50.0, 0.01, codes(1790, 1791, 1792))
    front = PulseTrain("front", ((-0.3, -0.293), (-0.28, -0.273)))
    later = PulseTrain("front", ((-0.2, -0.193),))
    first = {"boot": 1, "version": 10}
    return [
        Told(Pack(**first, seq=0, up_s=1.0, boot_cause="power-on"), 1, 101.0),
        Told(Pack(**first, seq=1, up_s=5.0, waveforms=(burst,), test_load_ohm=330.0), 1, 105.0),
        Told(Pack(**first, seq=2, up_s=6.0, waveforms=(test,), temperature_c=21.0), 1, 106.0),
        Told(Pack(**first, seq=3, up_s=10.0, waveforms=(peaks, troughs)), 1, 110.0),
        Told(Pack(**first, seq=4, up_s=12.0, pulse_trains=(front,), radio=(Switch(-1.0, True),)), 1, 112.0),
        Told(
            Pack(**first, seq=5, up_s=14.0, pulse_trains=(later,), load_changes=(LoadChange(-3.0, "sound"),)), 1, 114.0
        ),
        Told(Pack(**first, seq=6, up_s=16.0, rail_windows=(RailWindow(0.0, 2.0, 17.9, 17.8, 18.0),)), 1, 116.0),
        Told(Pack(boot=2, seq=0, up_s=1.0, boot_cause="brown-out"), 2, 160.0),
        Told(Pack(boot=2, seq=1, up_s=3.0, burst_figures=(BurstFigures("idle", -1.0, 18.0),)), 2, 162.0),
    ]


def test_packs_in_any_order_give_the_same_evidence() -> None:
    expected = evidence(packs())
    for seed in range(8):
        shuffled = packs()
        random.Random(seed).shuffle(shuffled)
        found = evidence(shuffled)
        assert repr(found) == repr(expected)


def test_bursts_of_one_power_up_close_in_time_are_one_survey() -> None:
    found = evidence(packs())
    assert [set(survey.bursts) for survey in found.surveys] == [{"idle", "test"}, set()]
    assert found.surveys[0].test_ohm == 330.0
    assert found.surveys[0].temperature_c == 21.0
    assert found.surveys[0].bursts["idle"].start_s == 104.0
    assert set(found.surveys[1].figures) == {"idle"}


def test_moments_are_laid_on_one_line_of_time() -> None:
    found = evidence(packs())
    assert found.pulses["front"][:, 0].tolist() == [111.7, 111.72, 113.8]
    assert found.loads == ((111.0, "sound"),)
    assert found.radio == ((111.0, True),)
    assert [(one.start_s, one.last_heard_s, one.cause) for one in found.powered] == [
        (100.0, 116.0, "power-on"),
        (159.0, 162.0, "brown-out"),
    ]


def test_what_was_not_taken_stays_empty() -> None:
    found = evidence(packs())
    assert np.isnan(found.maxima_v).tolist() == [False, False, True, False]
    assert np.isnan(found.minima_v).tolist() == [False, False, False, True]
    assert found.cycle_s == 0.02
    assert volts(Waveform("idle", 0.0, 1000.0, 0.5, codes(2, -32768))).tolist()[0] == 1.0


def test_a_pack_that_comes_twice_counts_once() -> None:
    twice = evidence([*packs(), *packs()])
    once = evidence(packs())
    assert twice.pulses["front"].tolist() == once.pulses["front"].tolist()
    assert twice.loads == once.loads
    assert len(twice.surveys) == len(once.surveys)
    assert evidence([]).is_empty
