"""Which fault of the supply moved its quantities away from the commissioning record, and how sure that is.

Each fault moves its own axis: reservoir, source resistance, open-circuit voltage, idle load, sounding load. Every hypothesis (healthy,
one fault, two together) is a cloud of places where the five logarithms of ratios may lie; its weight is how well the measured place
fits the cloud, widened by what the measurement leaves open and by what healthy supplies do by themselves. Knows no doors.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]

AXES = ("c", "r", "v", "idle", "sound")


@dataclass(frozen=True, slots=True)
class Displacement:
    """Logarithms of now / reference on `AXES`, and the covariance of their measurement. NaN: not measured."""

    place: Floats
    covariance: Floats
    source_ohm: float  # of the reference
    idle_a: float  # of the reference
    dropped_out: bool | None = None  # whether the regulator was seen to drop out while sounding; None: it never sounded
    explained: float = (
        0.4  # how likely it would, with the present source and reservoir, and the sound as loud as it was
    )


@dataclass(frozen=True, slots=True)
class Judged:
    """Probability of each fault, alone or with others, and that of a healthy supply."""

    faults: Mapping[str, float]
    healthy: float


FAULT_PRIOR = 0.04
"""Before anything is measured, each fault of the supply; healthy is the rest (chosen; no source)."""

PAIR_PRIOR = 0.15
"""A second fault beside a first is rarer than a first by this factor."""

SINGLES = (
    "reservoir-aged",
    "source-resistance-high",
    "mains-low",
    "load-high",
    "wrong-transformer",
    "regulator-drops-out",
)
CAN_PAIR = ("reservoir-aged", "source-resistance-high", "mains-low", "load-high")

LOUDER_DROPS_OUT, UNHEARD_DROPS_OUT = 0.6, 0.2
"""How often a load that has grown lets the regulator drop out; less is said for it where the sounding load could not be measured."""

HEALTHY_DROP_OUT = 1e-5


def judge_axes(seen: Displacement, scatter: Floats) -> Judged:
    """Weigh the hypotheses. `scatter`: covariance of healthy supplies between two looks, on `AXES`.

    >>> still = Displacement(np.zeros(5), np.eye(5) * 1e-4, 5.0, 5e-3, False)
    >>> judge_axes(still, np.eye(5) * 1e-3).healthy > 0.95
    True
    """
    known = np.isfinite(seen.place)
    if not known.any():
        return Judged({}, 1.0)
    covariance = (seen.covariance + scatter)[np.ix_(known, known)]
    inverse, logdet = np.linalg.inv(covariance), float(np.linalg.slogdet(covariance)[1])

    def fit(clouds: Floats) -> float:
        """Mean density over the places of a cloud, Student's t with few degrees of freedom for what nobody foresaw."""
        off = seen.place[known] - clouds[:, known]
        squares = np.einsum("ni,ij,nj->n", off, inverse, off)
        size = off.shape[1]
        freedom = 6.0
        density = -0.5 * (freedom + size) * np.log1p(squares / freedom) - 0.5 * logdet
        top = float(density.max())
        return top + float(np.log(np.mean(np.exp(density - top))))

    clouds = {name: _cloud(name, seen) for name in SINGLES}
    weights: dict[tuple[str, ...], float] = {}
    healthy_prior = 1.0 - FAULT_PRIOR * len(SINGLES)
    weights[()] = fit(np.zeros((1, len(AXES)))) + np.log(healthy_prior) + _drop_out(seen, ())
    for name, cloud in clouds.items():
        weights[name,] = fit(cloud) + np.log(FAULT_PRIOR) + _drop_out(seen, (name,))
    for pair in combinations(CAN_PAIR, 2):
        both = (clouds[pair[0]][::2, None, :] + clouds[pair[1]][None, ::2, :]).reshape(-1, len(AXES))
        weights[pair] = fit(both) + np.log(FAULT_PRIOR * PAIR_PRIOR) + _drop_out(seen, pair)
    top = max(weights.values())
    shares = {names: float(np.exp(weight - top)) for names, weight in weights.items()}
    total = sum(shares.values())
    faults = {name: sum(s for names, s in shares.items() if name in names) / total for name in SINGLES}
    return Judged(faults, shares[()] / total)


def _drop_out(seen: Displacement, names: tuple[str, ...]) -> float:
    """Logarithm of how well a hypothesis explains whether the regulator dropped out."""
    if seen.dropped_out is None:
        return -20.0 if "regulator-drops-out" in names else 0.0
    if "regulator-drops-out" in names:  # a fault of its own only as far as the present source does not explain it
        return float(np.log(np.clip(1.0 - seen.explained, 0.05, 1.0))) if seen.dropped_out else -20.0
    if not seen.dropped_out:
        return 0.0
    if "load-high" in names:
        heard = bool(np.isfinite(seen.place[AXES.index("sound")]))
        return float(np.log(LOUDER_DROPS_OUT if heard else UNHEARD_DROPS_OUT))
    return float(np.log(np.clip(seen.explained, 0.02, 0.95) if names else HEALTHY_DROP_OUT))


def _cloud(name: str, seen: Displacement) -> Floats:
    """Places (n, axes) over the severities of a fault, the mildest that matters first."""
    if name == "reservoir-aged":
        return _line({"c": np.log(np.linspace(0.90, 0.12, 40))})
    if name == "source-resistance-high":
        more = np.log1p(np.geomspace(2.0, 45.0, 24) / max(seen.source_ohm, 0.3))
        # a smaller transformer lies higher when unloaded
        return np.concatenate([_line({"r": more, "v": np.full(24, rise)}) for rise in (0.0, 0.0, 0.05, 0.10, 0.16)])
    if name == "mains-low":
        return _line({"v": np.log(np.linspace(0.945, 0.72, 30))})
    if name == "load-high":
        idle = np.log1p(np.geomspace(5e-3, 70e-3, 16) / max(seen.idle_a, 5e-4))
        sound = np.log(np.geomspace(1.16, 2.4, 16))
        none = np.zeros(16)
        both = _grid(idle[::2], sound[::2])
        return np.concatenate([_line({"idle": idle, "sound": none}), _line({"sound": sound}), both])
    if name == "wrong-transformer":
        volts = np.concatenate([np.log(np.linspace(1.22, 3.2, 30))])
        return np.concatenate(
            [_line({"v": volts, "r": np.full(30, r)}) for r in np.log([0.5, 0.8, 1.0, 1.3, 1.8, 2.7])]
        )
    cells = [
        {"sound": np.log([s]), "r": np.log([r]), "v": np.log([v])}
        for s in (1.0, 1.08, 1.2, 1.35, 1.6, 2.0, 2.6, 3.2)
        for r in (1.0, 1.3, 1.7, 2.3)
        for v in (0.72, 0.82, 0.92, 1.0)
    ]
    return np.concatenate([_line(cell) for cell in cells])


def _line(columns: Mapping[str, Floats | Iterable[float]]) -> Floats:
    arrays = {name: np.asarray(values, float) for name, values in columns.items()}
    places = np.zeros((len(next(iter(arrays.values()))), len(AXES)))
    for name, values in arrays.items():
        places[:, AXES.index(name)] = values
    return places


def _grid(idle: Floats, sound: Floats) -> Floats:
    first, second = np.meshgrid(idle, sound)
    return _line({"idle": first.ravel(), "sound": second.ravel()})
