"""Where a supply stands between its reservoir and its source resistance: where it was, how it came here, and where the rail gives way.

Puts what surveys measured beside the model of the rectifier. Knows no record, no drawing and no wording.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor, inf, log10

import numpy as np
from numpy.typing import NDArray

from service.errors import SettingError
from service.findings.verdict import Measured, Surveyed
from service.supply.assumptions import basis_of
from service.supply.boundary import limit_curve
from service.supply.fitout import FitOut
from service.supply.rectifier import Supply
from service.supply.unknowns import DROP_SHIFT_V

Floats = NDArray[np.float64]

ABOUT = frozenset(("reservoir_f", "source_ohm", "ripple_v", "headroom_v"))
"""Evidence of these is seen in the plane."""

Place = tuple[float, float]
"""Reservoir [F] and source resistance [Ω]."""

WIDER = 1.5  # the curve reaches so far beyond the largest reservoir that was seen: to the end of any round scale


@dataclass(frozen=True, slots=True)
class Limit:
    """Where the lowest rail just meets `dropout_v` under the largest load that was measured, on a plain sine: source resistances `ohm`,
    rising with the reservoirs `farad`, both (N,) and empty where no reservoir bears the load."""

    farad: tuple[float, ...]
    ohm: tuple[float, ...]
    dropout_v: float
    sounding: bool  # the load; otherwise at rest

    def ohm_at(self, farad: float) -> float:
        """The largest source resistance that this reservoir bears, 0 where it bears none. Told of the largest reservoir of the curve
        for larger ones."""
        if not self.farad or farad < self.farad[0]:
            return 0.0
        inverse, power = _straight(self.farad, self.ohm)
        return float(np.interp(-1.0 / farad, -inverse, power) ** 1.5)

    def farad_at(self, ohm: float) -> float:
        """The smallest reservoir that bears this source resistance, infinite where none of the curve does."""
        if not self.ohm or ohm > self.ohm[-1]:
            return inf
        inverse, power = _straight(self.farad, self.ohm)
        return float(1.0 / np.interp(ohm ** (2 / 3), power, inverse))


def _straight(farad: Sequence[float], ohm: Sequence[float]) -> tuple[Floats, Floats]:
    """The curve as 1/C and R^(2/3), between which it is almost straight."""
    return 1.0 / np.array(farad), np.array(ohm) ** (2 / 3)


@dataclass(frozen=True, slots=True)
class Seen:
    """`track`: surveys between, oldest first. `rated_f`: as the sheet has it. Without `limit` the sheet does not say where the regulator
    drops out."""

    farad: Measured
    ohm: Measured
    then: Place | None
    track: tuple[Place, ...]
    rated_f: float | None
    limit: Limit | None


def seen(
    now: Mapping[str, Measured], then: Mapping[str, Measured], track: Sequence[Place], sheet: FitOut
) -> Seen | None:
    """None where the newest survey does not tell both, or there is nothing to see it beside."""
    if "reservoir_f" not in now or "source_ohm" not in now:
        return None
    farad, ohm = now["reservoir_f"], now["source_ohm"]
    before = (
        (then["reservoir_f"].value, then["source_ohm"].value) if {"reservoir_f", "source_ohm"} <= set(then) else None
    )
    known = [farad.high, farad.value, sheet.reservoir_f or 0.0, *(one[0] for one in (before, *track) if one)]
    limit = _limit(now, sheet, _rounded_up(WIDER * max(known)))
    return Seen(farad, ohm, before, tuple(track), sheet.reservoir_f, limit) if before or limit else None


def track_of(surveys: Sequence[Surveyed], most: int) -> list[Place]:
    """Where `surveys`, oldest first, found it before the last of them, `most` of these at the most, evenly spread."""
    told = [one.quantities for one in surveys[:-1] if {"reservoir_f", "source_ohm"} <= one.quantities.keys()]
    chosen = range(len(told)) if len(told) <= most else (len(told) * n // most for n in range(most))
    return [(told[n]["reservoir_f"].value, told[n]["source_ohm"].value) for n in chosen]


def _rounded_up(farad: float) -> float:
    """To two figures, so that another choice among the surveys between does not ask for another curve."""
    step = 10.0 ** (floor(log10(farad)) - 1)
    return ceil(farad / step) * step


def _limit(now: Mapping[str, Measured], sheet: FitOut, most_f: float) -> Limit | None:
    try:
        basis = basis_of(sheet)
    except SettingError:
        return None
    load = now.get("sound_a") or now.get("idle_a")
    if basis is None or basis.dropout_v is None or load is None or "open_circuit_v" not in now:
        return None
    supply = Supply(
        mains_hz=round(now["mains_hz"].value) if "mains_hz" in now else basis.mains_hz[0],
        open_circuit_v=now["open_circuit_v"].value,
        source_ohm=1.0,
        reservoir_f=1e-3,
        load_a=load.value,
        regulator=basis.regulator,
        rated_rail_v=basis.rated_rail_v,
        dropout_v=basis.dropout_v,
        drop_shift_v=DROP_SHIFT_V,
    )
    farads, ohms = _solved(supply, most_f)
    return Limit(farads, ohms, basis.dropout_v, "sound_a" in now)


@lru_cache(maxsize=64)
def _solved(supply: Supply, most_f: float) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """A survey that is looked at again is not solved again."""
    farads, ohms = limit_curve(supply, most_f)
    return tuple(map(float, farads)), tuple(map(float, ohms))
