"""Where a standing supply ceases to carry its load: for each reservoir the largest source resistance. Knows no sheet and no drawing."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from service.supply.rectifier import Supply, steady_state

Floats = NDArray[np.float64]

LEAST_OHM, MOST_OHM = 0.2, 100.0
"""Between these it is looked for [Ω]."""

TIMES, CLOSE = 12, 0.002
"""So many steps at the most, until the next one is shorter than this share of the resistance."""

BESIDE, GROWS = 1.01, 4.0
"""The slope is taken to a resistance so many times as large; a step leads no further than this factor."""


@np.errstate(all="ignore")  # resistances are tried that carry nothing
def largest_source_ohm(supply: Supply, reservoir_f: Floats) -> Floats:
    """The source resistance [Ω] at which the lowest rail just meets `supply.dropout_v`, for each reservoir (N,) [F].

    NaN where even a stiff source would not carry the load, `MOST_OHM` where every resistance does. `supply` holds single numbers; its
    own source and reservoir count for nothing. Newton's steps come from the side where the load is carried, since the rail falls less
    and less steeply; where one leads beyond, as where constant power gives way at once, the bracket is halved.
    """
    reservoirs = np.asarray(reservoir_f, dtype=float)
    smooth = replace(supply, dropout_v=0.0) if supply.regulator == "linear" else supply
    good, bad = np.full(len(reservoirs), np.nan), np.full(len(reservoirs), MOST_OHM)
    tried, open_ = np.full(len(reservoirs), LEAST_OHM), np.ones(len(reservoirs), bool)
    for _ in range(TIMES):
        rail, slope = _rail_and_slope(smooth, tried[open_], reservoirs[open_])
        fits, over = np.zeros(len(tried), bool), np.zeros(len(tried))
        over[open_] = rail - supply.dropout_v
        fits[open_] = over[open_] >= 0.0
        step = np.zeros(len(tried))
        step[open_] = over[open_] / -slope
        good = np.where(open_ & fits, np.fmax(good, tried), good)
        bad = np.where(open_ & ~fits, np.fmin(bad, tried), bad)
        halved = np.where(bad >= MOST_OHM, GROWS * tried, np.sqrt(good * bad))
        ahead = np.minimum(np.minimum(tried + step, GROWS * tried), MOST_OHM)
        ahead = np.where(fits & (step >= 0.0) & (ahead < bad), ahead, np.minimum(halved, MOST_OHM))
        open_ &= (
            np.isfinite(good) & (good < MOST_OHM) & (np.abs(ahead / tried - 1.0) > CLOSE) & (bad / good - 1.0 > CLOSE)
        )
        if not open_.any():
            break
        tried = np.where(open_, ahead, tried)
    return good


def _rail_and_slope(supply: Supply, ohm: Floats, reservoirs: Floats) -> tuple[Floats, Floats]:
    """The lowest rail [V], below nothing where the load is not carried, and how it changes [V/Ω]."""
    steady = steady_state(
        replace(supply, source_ohm=np.append(ohm, BESIDE * ohm), reservoir_f=np.append(reservoirs, reservoirs))
    )
    rail = np.where(steady.carried, steady.rail_min_v, -1.0)
    here, beside = rail[: len(ohm)], rail[len(ohm) :]
    return here, np.where(beside >= 0.0, beside - here, -np.inf) / ((BESIDE - 1.0) * ohm)
