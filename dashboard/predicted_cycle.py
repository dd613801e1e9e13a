"""Two measured cycles of the mains with the rail that the fit-out sheet predicts dotted through them.

The model of the circuit is loaded when somebody opens a survey.
"""

from collections.abc import Sequence

import numpy as np

from dashboard import bench_chart, stretch_contexts, words
from dashboard.cycle import Cycles, two_cycles
from dashboard.house import House
from dashboard.language import marked, say
from service import model
from service.ports import Reader

NAMES = {"idle": marked("At rest"), "test": marked("With the test load"), "sound": marked("While it sounds")}
STATES = {"idle": "idle", "test": "test", "sound": "sounding"}


def cycles_of(
    reader: Reader, house: House, chime: model.Chime, bursts: Sequence[model.Burst]
) -> list[stretch_contexts.Cycle]:
    """One for each kind of burst, on a common height scale."""
    from dashboard.checked import predicted_curves

    kept = reader.fitouts(house.site.site, chime.chime, limit=1)
    predicted = {str(curve.state): curve for curve in predicted_curves(kept[0].sheet)} if kept else {}
    waves: list[tuple[str, bench_chart.Wave, str]] = []
    for burst in sorted(bursts, key=lambda one: list(NAMES).index(one.kind) if one.kind in NAMES else len(NAMES)):
        cycles = two_cycles(burst) if burst.kind in NAMES else None
        if cycles is None or any(say(NAMES[burst.kind]) == name for name, _, _ in waves):
            continue
        curve = predicted.get(STATES[burst.kind])
        volts = np.asarray(curve.volts["nominal"]) if curve else np.zeros(0)
        beside = _from_trough(volts, len(cycles.volts)) if curve and cycles.mains_hz else []
        wave = bench_chart.Wave([float(v) for v in cycles.volts], beside, float(cycles.times_s[-1]) or 0.04)
        waves.append((say(NAMES[burst.kind]), wave, _told(cycles, beside)))
    scale = bench_chart.common_scale([wave for _, wave, _ in waves])
    return [
        stretch_contexts.Cycle(name, bench_chart.draw(wave, scale, number == 0), told, bool(wave.predicted))
        for number, (name, wave, told) in enumerate(waves)
    ]


def _from_trough(volts: "np.ndarray[tuple[int], np.dtype[np.float64]]", count: int) -> list[float]:
    """Two cycles that begin where the measured ones do, at the lowest rail, in as many steps."""
    one = volts[: len(volts) // 2]
    turned = np.roll(one, -int(np.argmin(one)))
    places = np.linspace(0.0, 2.0 * len(one), count)
    return [float(v) for v in np.interp(places % len(one), np.arange(len(one) + 1), np.append(turned, turned[0]))]


def _told(cycles: Cycles, predicted: Sequence[float]) -> str:
    said = say(
        "Measured {measured} to {measured2}",
        measured=words.measured(cycles.low_v, "V"),
        measured2=words.measured(cycles.high_v, "V"),
    )
    if predicted:
        said += say(
            ", predicted at nominal mains {measured} to {measured2}",
            measured=words.measured(min(predicted), "V"),
            measured2=words.measured(max(predicted), "V"),
        )
    return said + "."
