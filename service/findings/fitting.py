"""A survey fitted: what is known of the chime from its fit-out sheet, and what the commissioning survey has taught.

Prepares the identification and says which bursts can take part. Knows no faults.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from service.findings.testimony import Samples, Survey
from service.model import LoadState, WaveformKind
from service.supply.assumptions import TYPICAL, Basis
from service.supply.fitout import FitOut
from service.supply.folding import Run, discharge
from service.supply.identification import identify
from service.supply.unknowns import BROAD, KINDS, NAMES, Chime, Identified, Kind, Prior

FEWEST_SAMPLES = 30

MISSING_SHARE = 0.02
"""A burst of which more is missing was broken off: the chime lost its supply."""

BELOW_DROPOUT = 0.99
"""A rail this far below the set drop-out, converter errors allowed for, has dropped out."""

SHAPE_KEEPS = {"third_cos": 0.008, "third_sin": 0.008, "fifth_cos": 0.008, "l": 0.35}
"""What stays from survey to survey, and by how much it may move: shape of the mains (shares), leakage inductance (logarithm)."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """A survey and its fit. `lowest_sounding_v`: of the rail while it sounded; `broken_off`: the chime stopped while it sounded."""

    survey: Survey
    identified: Identified
    lowest_sounding_v: float | None
    broken_off: bool
    sound_a: float | None  # by the fall alone, where the sounding burst could not take part in the fit


def chime_of(survey: Survey, sheet: FitOut, mains_hz: float) -> Chime:
    return Chime(
        mains_hz=mains_hz,
        regulator=sheet.regulator or "linear",
        rated_rail_v=sheet.rail_rated_v or 12.0,
        dropout_v=sheet.dropout_v or 0.0,
        test_a=survey.test_a if survey.test_a is not None or survey.test_ohm is not None else sheet.test_a,
        test_ohm=survey.test_ohm if survey.test_a is not None or survey.test_ohm is not None else sheet.test_ohm,
        temperature_c=survey.temperature_c if survey.temperature_c is not None else 30.0,
    )


def prior_of(sheet: FitOut, basis: Basis | None, before: Identified | None) -> Prior:
    """What may be expected before the samples are looked at; wide enough for every fault."""
    prior = BROAD
    if basis is not None:
        prior = prior.at(
            v=(float(np.log(basis.open_circuit_v[TYPICAL])), 0.4),
            r=(float(np.log(max(basis.source_ohm[TYPICAL], 0.5))), 0.9),
        )
    for name, value, spread in (
        ("c", sheet.reservoir_f, 0.7),
        ("idle", sheet.idle_a, 0.6),
        ("sound", sheet.sound_a, 0.7),
    ):
        if value:
            prior = prior.at(**{name: (float(np.log(value)), spread)})
    if before is not None:
        for name, moves in SHAPE_KEEPS.items():
            index = NAMES.index(name)
            spread = float(np.hypot(np.sqrt(before.covariance[index, index]), moves))
            if spread < prior.sd[index]:
                prior = prior.at(**{name: (float(before.mean[index]), spread)})
    return prior


def fitted(
    survey: Survey,
    loads: Sequence[tuple[float, LoadState]],
    sheet: FitOut,
    basis: Basis | None,
    mains_hz: float,
    before: Identified | None,
    bridged: bool,
) -> Fitted | None:
    """Fit the bursts of a survey. None where it has none that can be fitted. `bridged`: the button's diode conducts both ways."""
    chime = replace(chime_of(survey, sheet, mains_hz), bridged=bridged)
    bursts = {kind: burst for kind, burst in survey.bursts.items() if _loaded(burst, kind, loads)}
    survey = replace(survey, bursts=bursts)
    runs = {kind: _run(survey, kind) for kind in KINDS if kind in survey.bursts}
    sound = survey.bursts.get("sound")
    broken_off = sound is not None and float(np.mean(np.isnan(sound.volts))) > MISSING_SHARE
    lowest = None
    if sound is not None and np.isfinite(sound.volts).any():
        lowest = float(np.nanmin(sound.volts))
    dropped = broken_off or (lowest is not None and lowest < chime.dropout_v)
    usable: dict[Kind, Run] = {
        kind: run for kind, run in runs.items() if len(run.at_s) > FEWEST_SAMPLES and not (kind == "sound" and dropped)
    }
    found = identify(usable, chime, prior_of(sheet, basis, before))
    if found is None:
        return None
    by_fall = None
    if "sound" not in usable and "sound" in runs and len(runs["sound"].at_s) > FEWEST_SAMPLES:
        fall = discharge(runs["sound"], found.mains_hz)
        by_fall = -fall[0] * found.value("c") if fall is not None else None
    return Fitted(survey, found, lowest, broken_off, by_fall)


def _loaded(burst: Samples, kind: WaveformKind, loads: Sequence[tuple[float, LoadState]]) -> bool:
    """Whether the chime's own log agrees that this was the load, in the middle of the burst."""
    middle = float(burst.at_s[len(burst.volts) // 2])
    said = [state for moment, state in loads if moment <= middle]
    return kind == "step" or not said or said[-1] == kind


def _run(survey: Survey, kind: Kind) -> Run:
    samples: Samples = survey.bursts[kind]
    good = np.isfinite(samples.volts)
    return Run(samples.at_s[good] - survey.at_s, samples.volts[good], samples.lsb_v)
