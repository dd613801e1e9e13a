"""What the identification looks for, what is known of a chime beforehand, and what comes out. Values and the circuit they stand for.

Knows no samples and no fit.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from service.supply.diodes import SILICON
from service.supply.rectifier import Supply

Floats = NDArray[np.floating[Any]]
Kind = Literal["idle", "test", "sound"]
KINDS: tuple[Kind, ...] = ("idle", "test", "sound")

DROP_SHIFT_V = -0.15
"""Which diode is on the board nobody says. A Schottky diode drops some 0.35 V less than one of silicon: taken half-way between the
two, neither leads the open-circuit voltage far astray (common practice, no source)."""

NAMES = ("v", "r", "c", "esr", "l", "third_cos", "third_sin", "fifth_cos", "idle", "sound")
"""Logarithms of: open-circuit voltage [V rms], source resistance [ohm], reservoir [F], ESR [ohm], leakage inductance [H]; shares of
the third and fifth harmonic; logarithms of the idle and the sounding load [A]."""


@dataclass(frozen=True, slots=True)
class Chime:
    """What is known of the chime before it is measured. None: not said."""

    mains_hz: float
    regulator: Literal["linear", "switching"] = "linear"
    rated_rail_v: float = 1.0
    dropout_v: float = 0.0
    test_a: float | None = None
    test_ohm: float | None = None
    temperature_c: float = 30.0
    bridged: bool = False  # the diode across the button conducts both ways all the time


@dataclass(frozen=True, slots=True)
class Prior:
    """Mean and standard deviation of each of `NAMES`, independent."""

    mean: Floats
    sd: Floats

    def at(self, **changes: tuple[float, float]) -> "Prior":
        mean, sd = self.mean.copy(), self.sd.copy()
        for name, (value, spread) in changes.items():
            mean[NAMES.index(name)], sd[NAMES.index(name)] = value, spread
        return Prior(mean, sd)


BROAD = Prior(
    # Bell supplies as they are (common practice, no source): 8-24 V, some ohms, 100-2200 uF. Mains are flat-topped by the rectifiers
    # on them: third harmonic positive, fifth negative in the series of sines.
    np.array(
        [
            np.log(18.0),
            np.log(5.0),
            np.log(470e-6),
            np.log(0.12),
            np.log(2.5e-3),
            0.012,
            0.0,
            -0.008,
            np.log(6e-3),
            np.log(0.12),
        ]
    ),
    np.array([0.6, 1.1, 1.2, 1.0, 1.0, 0.016, 0.012, 0.012, 1.5, 1.2]),
)


@dataclass(frozen=True, slots=True)
class Identified:
    """The fit: mean and covariance of `NAMES`; which bursts took part; the mains frequency with its standard error [Hz]."""

    mean: Floats
    covariance: Floats
    mains_hz: float
    mains_hz_error: float
    noise_v: Mapping[Kind, float]
    rail_max_v: Mapping[Kind, float]
    rail_min_v: Mapping[Kind, float]
    load_a: Mapping[Kind, float]
    chime: Chime
    folded: Mapping[Kind, Floats] = field(default_factory=dict)  # fitted rail over a cycle [V]
    drift_v_per_s: Mapping[Kind, float] = field(default_factory=dict)  # of the rail during the burst
    radio_a: Mapping[Kind, float] = field(
        default_factory=dict
    )  # of packets sent while sampling, mean, beside load_a [A]

    def value(self, name: str) -> float:
        return float(np.exp(self.mean[NAMES.index(name)]))

    def sd(self, name: str) -> float:
        """Of the logarithm."""
        i = NAMES.index(name)
        return float(np.sqrt(self.covariance[i, i]))


def supply_of(theta: Floats, kinds: Sequence[Kind], chime: Chime, mains_hz: float, charging_a: Floats) -> Supply:
    """The circuit of rows of unknowns (n, len(NAMES)), each under the load of its kind.

    `charging_a` (n,): what the reservoir takes beside, while the rail is on its way, in terms of `Supply.load_a`.
    """
    test = np.array([kind == "test" for kind in kinds])
    sound = np.array([kind == "sound" for kind in kinds])
    third, fifth = np.hypot(theta[:, 5], theta[:, 6]), theta[:, 7]
    return Supply(
        mains_hz=mains_hz,
        open_circuit_v=np.exp(theta[:, 0]),
        source_ohm=np.exp(theta[:, 1]),
        reservoir_f=np.exp(theta[:, 2]),
        esr_ohm=np.exp(theta[:, 3]),
        leakage_h=np.exp(theta[:, 4]),
        third=third,
        third_phase=np.arctan2(theta[:, 6], theta[:, 5]),
        fifth=np.abs(fifth),
        fifth_phase=np.where(fifth < 0.0, np.pi, 0.0),
        load_a=np.maximum(np.exp(np.where(sound, theta[:, 9], theta[:, 8])) + charging_a, 2e-5),
        test_a=np.where(test, chime.test_a or 0.0, 0.0),
        test_ohm=np.where(test, chime.test_ohm or np.inf, np.inf),
        regulator=chime.regulator,
        rated_rail_v=chime.rated_rail_v,
        # a burst in which a linear regulator dropped out takes no part, and a load that does not follow the rail is quicker
        dropout_v=chime.dropout_v if chime.regulator == "switching" else 0.0,
        temperature_c=chime.temperature_c,
        drop_shift_v=DROP_SHIFT_V,
        button_diode=None if chime.bridged else SILICON,
    )
