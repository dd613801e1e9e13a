"""The circuit that a fit-out sheet describes, with what is taken where it is silent, and what that costs.

Three transformers are carried side by side, a stiff one, a typical one and a soft one, because the label tells neither the open
voltage nor the resistance. Refuses to know mains that are low or high, and what follows from the circuit.
"""

from dataclasses import dataclass
from math import log, sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from service.supply.fitout import FitOut
from service.supply.wires import loop_ohm

STIFF, TYPICAL, SOFT = 0, 1, 2

OVER_RATED = (0.15, 0.30)
"""A bell transformer's open voltage lies 15 to 30 % above its label (common practice, no source)."""

SMALL_VA, LARGE_VA = 5.0, 30.0
"""Usual bell transformers; the small one is the soft one (common practice, no source)."""

UNKNOWN_VA = 10.0
UNKNOWN_IDLE_A = 10e-3
"""Between the 2 and 20 mA that electronic chimes draw at rest (common practice, no source)."""

HEADROOM_V = 2.0
"""Between rail and regulated voltage, where the sheet says nothing: three-terminal regulators drop some 2 V (typical, from memory)."""

MAINS_HZ = (50.0, 60.0)

WIRE_C = 20.0


@dataclass(frozen=True, slots=True)
class Assumption:
    """A field that the sheet leaves out, and one sentence: what is taken instead and what that costs."""

    field: str
    cost: str


@dataclass(frozen=True, slots=True)
class Basis:
    """The circuit as taken. The arrays hold the stiff, the typical and the soft transformer, shape (3,)."""

    mains_hz: tuple[float, ...]
    open_circuit_v: NDArray[np.float64]  # rms, at nominal mains
    transformer_ohm: NDArray[np.float64]
    wire_ohm: float
    regulator: Literal["linear", "switching"]
    rated_rail_v: float
    dropout_v: float | None
    loads_a: dict[str, float]  # of the states that the sheet allows: "idle", "sounding"
    standing: bool  # whether a diode across some button lets a supply stand while nobody presses
    assumptions: tuple[Assumption, ...]

    @property
    def source_ohm(self) -> NDArray[np.float64]:
        return self.transformer_ohm + self.wire_ohm

    @property
    def peak_v(self) -> NDArray[np.float64]:
        """Crest of the open secondary at nominal mains [V], shape (3,)."""
        return sqrt(2.0) * self.open_circuit_v


def regulation(apparent_va: float) -> float:
    """How far the open voltage lies above the label for a transformer of this apparent power: 0.30 at 5 VA, 0.15 at 30 VA.

    Between them by the logarithm, beyond them at the ends.

    >>> [round(regulation(va), 3) for va in (5, 10, 30)]
    [0.3, 0.242, 0.15]
    """
    least, most = OVER_RATED
    share = log(apparent_va / SMALL_VA) / log(LARGE_VA / SMALL_VA)
    return most - (most - least) * min(max(share, 0.0), 1.0)


def transformer_ohm(rated_v: float, apparent_va: float, over_rated: float) -> float:
    """Resistance that brings the open voltage down to the label at rated current [Ohm]: k V / (S / V).

    By hand: 16 V and 10 VA carry 0.625 A; 25 % over 16 V are 4 V, and 4 V / 0.625 A = 6.4 Ohm.

    >>> transformer_ohm(16.0, 10.0, 0.25)
    6.4
    """
    return over_rated * rated_v * rated_v / apparent_va


def basis_of(sheet: FitOut) -> Basis | None:
    """The circuit of a sheet; None where it does not name the transformer's voltage, without which nothing can be predicted.

    Raises SettingError for a wire that is none.
    """
    if sheet.transformer_v is None and sheet.transformer_open_v is None:
        return None
    found: list[Assumption] = []
    open_v, ohm = _transformer(sheet, found)
    standing = _standing(sheet, found)
    loads = _loads(sheet, found)
    dropout_v = sheet.dropout_v
    if dropout_v is None and sheet.regulator_v is not None:
        dropout_v = sheet.regulator_v + HEADROOM_V
        _say(
            found,
            "dropout_v",
            f"the regulator is taken to drop out below {dropout_v:.3g} V, {HEADROOM_V:g} V above its output",
        )
    elif dropout_v is None:
        _say(found, "dropout_v", "no head-room, no hold-up time and no largest load can be told")
    if sheet.regulator is None:
        _say(found, "regulator", "a linear one is taken; behind a switching one the current grows as the rail sags")
    if sheet.mains_hz is None:
        _say(found, "mains_hz", "50 and 60 Hz are both calculated, and the worse of them counts")
    if sheet.reservoir_f is None:
        _say(found, "reservoir_f", "neither the rail nor its ripple can be told")
    if sheet.detector_ohm is None or sheet.detector_on_a is None:
        missing = [name for name in ("detector_ohm", "detector_on_a") if getattr(sheet, name) is None]
        _say(found, " and ".join(missing), "the shortest press that is always seen cannot be told")
    rated_rail_v = sheet.rail_rated_v
    if rated_rail_v is None:
        rated_rail_v = max(sqrt(2.0) * float(open_v[TYPICAL]) - 1.5, 1.0)  # less two diodes
        if sheet.regulator == "switching":
            _say(
                found,
                "rail_rated_v",
                f"the currents are taken to hold at a rail of {rated_rail_v:.3g} V, that of an idle chime",
            )
    return Basis(
        mains_hz=(sheet.mains_hz,) if sheet.mains_hz else MAINS_HZ,
        open_circuit_v=open_v,
        transformer_ohm=ohm,
        wire_ohm=_wire(sheet, found),
        regulator=sheet.regulator or "linear",
        rated_rail_v=rated_rail_v,
        dropout_v=dropout_v,
        loads_a=loads,
        standing=standing,
        assumptions=tuple(found),
    )


def _transformer(sheet: FitOut, found: list[Assumption]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    power = sheet.transformer_va
    typical = regulation(power or UNKNOWN_VA)
    if sheet.transformer_open_v is not None and sheet.transformer_v is not None:
        measured = max(sheet.transformer_open_v / sheet.transformer_v - 1.0, 0.02)
        over = (measured, measured, measured)
    else:
        over = (OVER_RATED[0], typical, OVER_RATED[1])
    powers = (power, power, power) if power else (LARGE_VA, UNKNOWN_VA, SMALL_VA)
    rated = sheet.transformer_v
    if rated is None:
        assert sheet.transformer_open_v is not None
        rated = sheet.transformer_open_v / (1.0 + typical)
        _say(found, "transformer_v", f"a label of {rated:.3g} V is taken, from the open voltage")
    if sheet.transformer_open_v is None:
        low, high = (rated * (1.0 + share) for share in OVER_RATED)
        _say(
            found,
            "transformer_open_v",
            f"the open secondary is taken as {rated * (1.0 + typical):.3g} V and may have {low:.3g} to {high:.3g} V, "
            "15 to 30 % above the label; a voltmeter at the transformer narrows everything below",
        )
    ohm = [transformer_ohm(rated, power_of, share) for power_of, share in zip(powers, over, strict=True)]
    if power is None:
        _say(
            found,
            "transformer_va",
            f"the source resistance is taken as that of a {UNKNOWN_VA:g} VA transformer, {ohm[TYPICAL]:.2g} Ω, "
            f"and may be anything from {ohm[STIFF]:.2g} to {ohm[SOFT]:.2g} Ω",
        )
    open_v = [sheet.transformer_open_v or rated * (1.0 + share) for share in over]
    return np.array(open_v), np.array(ohm)


def _wire(sheet: FitOut, found: list[Assumption]) -> float:
    if sheet.wire is not None and sheet.wire_loop_m is not None:
        return loop_ohm(sheet.wire, sheet.wire_loop_m, WIRE_C)
    if sheet.wire is not None:
        loop_ohm(sheet.wire, 0.0)  # a name that is none is told in any case
        _say(found, "wire_loop_m", "the wire is taken to have no resistance; 30 m of AWG 20 there and back have 1.0 Ω")
    elif sheet.wire_loop_m:
        ohm = loop_ohm("AWG 20", sheet.wire_loop_m)
        _say(found, "wire", f"AWG 20 is taken, {ohm:.2g} Ω; AWG 18 would have 0.63 of that, AWG 24 2.5 times as much")
        return ohm
    elif sheet.wire_loop_m is None:
        _say(
            found,
            "wire_loop_m and wire",
            "the wire is taken to have no resistance; 30 m of AWG 20 there and back have 1.0 Ω",
        )
    return 0.0


def _loads(sheet: FitOut, found: list[Assumption]) -> dict[str, float]:
    loads = {"idle": sheet.idle_a if sheet.idle_a is not None else UNKNOWN_IDLE_A}
    if sheet.idle_a is None:
        _say(found, "idle_a", f"{1000 * UNKNOWN_IDLE_A:g} mA at rest are taken; chimes draw 2 to 20 mA")
    if sheet.sound_a is not None:
        loads["sounding"] = sheet.sound_a
    else:
        _say(found, "sound_a", "nothing can be told of the rail while the chime sounds, only what it could carry")
    return loads


def _standing(sheet: FitOut, found: list[Assumption]) -> bool:
    if not sheet.doors or all(door.diode is None for door in sheet.doors):
        _say(found, "doors", "a diode across a button is taken, so that a supply stands while nobody presses")
        return True
    return any(door.diode is not False for door in sheet.doors)


def _say(found: list[Assumption], field: str, cost: str) -> None:
    found.append(Assumption(field, f"Without {field} {cost}."))
