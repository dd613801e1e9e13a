"""Where a standing supply ceases to carry its load: the curve through reservoirs and source resistances. Knows no sheet and no drawing.

On this curve the rail falls in proportion to 1/C between two charges, and its crest sinks with about the two-thirds power of R, as the
angle of conduction grows: between 1/C and R^(2/3) the curve is almost straight. It is looked for along rays of that plane.
"""

from dataclasses import dataclass, replace
from math import acos, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from service.supply.rectifier import Supply, sketched, steady_state

Floats = NDArray[np.float64]

RAYS, BETWEEN = 10, 5
"""So many rays are solved, and so many points are told from one to the next."""

LEAST_OHM = 0.2
DROP_V = 1.5  # of two silicon diodes, for the first guess
ANGLES = np.linspace(0.02, 1.55, 120)  # half the angle of conduction [rad]
REACHES = np.linspace(0.3, 2.5, 200)[:, np.newaxis]

PASSES, SKETCHED, EXACT = 6, 0.03, 0.01
"""Coarse cycles serve until the rail is as near to the drop-out as this; a point that ends farther from it than `EXACT` is left out."""

TRIED, FROM, TO = 9, 0.5, 1.7
FOLDS = 0.05
"""Where constant power gives way while the rail is still so far above the drop-out, there is no meeting it."""


@dataclass(frozen=True, slots=True)
class _Rays:
    """From the place where everything is carried; along each a supply is told by how far it is out, 1 being a guess."""

    least: float  # 1/C of the largest reservoir [1/F]
    beyond: float  # to the 1/C that a stiff source bears
    wide: float  # R^(2/3) that the largest reservoir bears
    share: Floats  # of the way from one to the other, rising with the reservoir

    def at(self, reach: Floats) -> tuple[Floats, Floats]:
        """Reservoirs [F] and source resistances [Ω]."""
        farad = 1.0 / (self.least + self.beyond * (1.0 - self.share) * reach)
        return farad, np.maximum((self.wide * self.share * reach) ** 1.5, LEAST_OHM)

    def among(self, share: Floats) -> "_Rays":
        return replace(self, share=share)


@np.errstate(all="ignore")  # supplies are tried that carry nothing
def limit_curve(supply: Supply, most_f: float) -> tuple[Floats, Floats]:
    """Reservoirs [F] up to `most_f` and the source resistances [Ω] at which the lowest rail just meets `supply.dropout_v`, both (N,)
    and rising; a larger resistance or a smaller reservoir does not carry the load.

    A switching regulator's load of constant power may give way before the rail is so low; then that is the limit. Where only larger
    reservoirs carry the load the curve begins beyond `most_f`; it is empty where none does. `supply` holds single numbers; its own
    source and reservoir count for nothing.
    """
    draw_a = float(supply.load_a)
    if supply.regulator == "switching":  # at a rail half-way between its ends
        draw_a *= 2.0 * float(supply.rated_rail_v) / (float(supply.dropout_v) + _crest_v(supply))
    guessed = _guess(supply, draw_a, most_f)
    if guessed is None:
        return np.array([]), np.array([])
    rays, reach = guessed
    found = _met(supply, rays, reach) if supply.regulator == "linear" else _given_way(supply, rays, reach)
    good = np.isfinite(found)
    if good.sum() < 2:
        return np.array([]), np.array([])
    share = np.linspace(rays.share[good][0], rays.share[good][-1], BETWEEN * (RAYS - 1) + 1)
    farad, ohm = rays.among(share).at(_smooth(share, rays.share[good], found[good]))
    return np.maximum.accumulate(farad), np.maximum.accumulate(ohm)


def _smooth(at: Floats, x: Floats, y: Floats) -> Floats:
    """Cubic from point to point (Hermite), with the slopes between a point's neighbours."""
    slope = np.gradient(y, x)
    n = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    wide = x[n + 1] - x[n]
    part = (at - x[n]) / wide
    ahead = part * part * (3.0 - 2.0 * part)
    bend = slope[n] * part * (1.0 - part) ** 2 - slope[n + 1] * part * part * (1.0 - part)
    return np.asarray(y[n] + (y[n + 1] - y[n]) * ahead + wide * bend)


def _crest_v(supply: Supply) -> float:
    """Of the rail behind a stiff source, about."""
    return sqrt(2.0) * float(supply.open_circuit_v) - DROP_V - float(supply.drop_shift_v)


def _guess(supply: Supply, draw_a: float, most_f: float) -> tuple[_Rays, Floats] | None:
    """The rays, and about how far out the limit is, from a constant current through a stiff rail; None where no source is stiff enough."""
    crest_v, dropout_v = _crest_v(supply), float(supply.dropout_v)
    open_v = sqrt(2.0) * float(supply.open_circuit_v)
    drop_v = open_v - crest_v
    if crest_v <= 1.02 * dropout_v or draw_a <= 0.0:
        return None
    # the diodes take over where the source rises through the lowest rail: that much earlier the fall ends
    fall = draw_a / float(supply.mains_hz) * (1.0 - acos((dropout_v + drop_v) / open_v) / (2.0 * pi))
    stiff = (crest_v - dropout_v) / fall
    least = min(1.0 / most_f, stiff / 3.0)
    wide = (open_v * (np.sin(ANGLES) - ANGLES * np.cos(ANGLES)) / pi / draw_a) ** (2 / 3)
    widest = float(np.interp(-(dropout_v + drop_v + 0.7 * fall * least), -open_v * np.cos(ANGLES), wide))
    rays = _Rays(least, stiff - least, widest, np.linspace(0.0, 1.0, RAYS))
    angles = np.interp(widest * rays.share * REACHES, wide, ANGLES)
    lowest_v = open_v * np.cos(angles) - drop_v - 0.8 * fall * (least + rays.beyond * (1.0 - rays.share) * REACHES)
    return rays, REACHES[np.argmin(np.abs(lowest_v - dropout_v), axis=0), 0]


def _met(supply: Supply, rays: _Rays, reach: Floats) -> Floats:
    """By the secant, in coarse cycles, then a last time in fine ones. NaN where that leads nowhere."""
    dropout_v = float(supply.dropout_v)
    smooth = replace(supply, dropout_v=0.5 * dropout_v)  # so that nothing happens to the load just there
    slope = np.full(len(reach), dropout_v - _crest_v(supply))
    state, before, fine = None, None, False
    for _ in range(PASSES):
        farad, ohm = rays.at(reach)
        here = replace(smooth, reservoir_f=farad, source_ohm=ohm)
        state = steady_state(here, state) if fine else sketched(here, state)
        over_v = state.rail_min_v - dropout_v
        if before is not None and not fine:
            moved = reach - before[0]
            slope = np.where(np.abs(moved) > 1e-3, (over_v - before[1]) / moved, slope)
        step = np.clip(-over_v / slope, -0.4 * reach, 0.6 * reach)
        before, reach = (reach, over_v), reach + step
        if fine:
            return np.where(state.closed & (np.abs(over_v) < (SKETCHED + EXACT) * dropout_v), reach, np.nan)
        fine = bool(np.all(np.abs(over_v) < SKETCHED * dropout_v))
    return np.where(np.abs(before[1]) < EXACT * dropout_v, before[0], np.nan) if before else reach


def _given_way(supply: Supply, rays: _Rays, reach: Floats) -> Floats:
    """Between one that is carried and one that is not, in coarse cycles; a last step in fine ones where the rail meets the drop-out."""
    dropout_v = float(supply.dropout_v)
    smooth = replace(supply, dropout_v=0.5 * dropout_v)
    near, far, each = FROM * reach, TO * reach, np.arange(len(reach))
    for _ in range(2):
        tried = np.geomspace(near, far, TRIED)
        farad, ohm = rays.at(tried)
        state = sketched(replace(smooth, reservoir_f=farad.ravel(), source_ohm=ohm.ravel()))
        over_v = state.rail_min_v.reshape(tried.shape) - dropout_v
        carried = (over_v >= 0.0) & state.closed.reshape(tried.shape)
        first_not = np.where(carried.all(axis=0), TRIED - 1, np.argmin(carried, axis=0))
        last = np.maximum(first_not - 1, 0)
        near, far = tried[last, each], tried[np.maximum(first_not, 1), each]
    slope = (over_v[last, each] - over_v[0]) / (near - tried[0])
    slope = np.where(slope < 0.0, slope, 2.0 * (dropout_v - _crest_v(supply)))
    found = np.sqrt(near * far)
    meets = np.flatnonzero(np.abs(over_v[last, each]) < FOLDS * dropout_v)
    if len(meets):
        farad, ohm = rays.among(rays.share[meets]).at(near[meets])
        fine_v = steady_state(replace(smooth, reservoir_f=farad, source_ohm=ohm)).rail_min_v - dropout_v
        step = np.where(np.abs(fine_v) < FOLDS * dropout_v, -fine_v / slope[meets], 0.0)
        found[meets] = near[meets] + step
    return found
