"""Where a supply stands between its reservoir and its source resistance: where it was, how it came here, and where the rail gives way.

Puts what surveys measured beside the model of the rectifier. Knows no record, no drawing and no wording.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from service.errors import SettingError
from service.findings.verdict import Measured
from service.supply.assumptions import basis_of
from service.supply.boundary import LEAST_OHM, largest_source_ohm
from service.supply.fitout import FitOut
from service.supply.rectifier import Supply
from service.supply.unknowns import DROP_SHIFT_V

ABOUT = frozenset(("reservoir_f", "source_ohm", "ripple_v", "headroom_v"))
"""Evidence of these is seen in the plane."""

POINTS, CLOSER = 9, 2  # of the curve
Place = tuple[float, float]
"""Reservoir [F] and source resistance [Ω]."""


@dataclass(frozen=True, slots=True)
class Limit:
    """Where the lowest rail just meets `dropout_v` under the largest load that was measured, on a plain sine: source resistances `ohm`,
    rising with the reservoirs `farad`, both (N,)."""

    farad: tuple[float, ...]
    ohm: tuple[float, ...]
    dropout_v: float
    sounding: bool  # the load; otherwise at rest

    def ohm_at(self, farad: float) -> float:
        """The largest source resistance that this reservoir bears; `MOST_OHM` where it bears all that are looked at."""
        return float(np.interp(farad, self.farad, self.ohm))

    def farad_at(self, ohm: float) -> float:
        """The smallest reservoir that bears this source resistance."""
        return float(np.interp(ohm, self.ohm, self.farad))


@dataclass(frozen=True, slots=True)
class Seen:
    """`track`: surveys between, oldest first. Without `limit` the sheet does not say where the regulator drops out."""

    farad: Measured
    ohm: Measured
    then: Place | None
    track: Sequence[Place]
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
    most_f = 1.15 * max(farad.high, *(one[0] for one in (before, *track) if one is not None), farad.value)
    limit = _limit(now, sheet, most_f)
    return Seen(farad, ohm, before, track, limit) if before or limit else None


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
    farads, ohms = _solved(supply, now["reservoir_f"].value, now["source_ohm"].value, most_f)
    return Limit(farads, ohms, basis.dropout_v, "sound_a" in now)


@lru_cache(maxsize=16)
def _solved(supply: Supply, now_f: float, now_ohm: float, most_f: float) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """The curve up to a reservoir, at the present one, and closer where it crosses the present resistance. A survey that is looked at
    again is not solved again."""
    farads = np.sort(np.append(np.geomspace(0.06 * most_f, most_f, POINTS), now_f))
    ohms = largest_source_ohm(supply, farads)
    first = max(int(np.isnan(ohms).sum()) - 1, 0)  # the largest reservoir that bears nothing is where the curve begins
    farads, ohms = farads[first:], np.nan_to_num(ohms[first:], nan=LEAST_OHM)
    after = int(np.searchsorted(ohms, now_ohm))
    if 0 < after < len(ohms):
        between = np.linspace(farads[after - 1], farads[after], CLOSER + 2)[1:-1]
        farads = np.insert(farads, after, between)
        ohms = np.insert(ohms, after, np.nan_to_num(largest_source_ohm(supply, between), nan=LEAST_OHM))
    return tuple(map(float, farads)), tuple(map(float, ohms))
