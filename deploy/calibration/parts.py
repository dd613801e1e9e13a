"""What an invented installation is made of: the house as fitted, and the circuit as it is at one survey.

Diodes by the usual SPICE equations, the 1N4007 as in published models, the others from memory. Refuses to know how houses are
drawn, faults, time and recordings.
"""

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

Draw = np.random.Generator
OPEN_OHM = 1e9
KINDS = ("current", "retrofit")

# ohms per metre of one conductor at 20 degC, 17.24e-9 ohm m copper
WIRES = {
    "AWG 18": 0.02095, "AWG 20": 0.03331, "AWG 22": 0.05296, "0.5 mm2": 0.0345, "0.8 mm": 0.0343, "0.6 mm": 0.0610,
    "0.75 mm2": 0.0230,
}  # fmt: skip

RESERVOIRS_UF = (220, 330, 470, 680, 1000, 1500, 2200)


@dataclass(frozen=True, slots=True)
class Diode:
    """A junction at 25 degC: saturation current [A], emission coefficient, series ohms, band gap [eV], exponent of temperature."""

    saturation_a: float
    emission: float
    series_ohm: float
    gap_ev: float = 1.11
    exponent: float = 3.0

    def at(self, temperature_c: float) -> tuple[float, float, float]:
        """ln(saturation current / A), emission x thermal voltage [V], series ohms, by the SPICE temperature law.

        >>> n_is, v, r = Diode(3.872e-9, 1.776, 0.0166).at(25.0)
        >>> round(v * math.log(0.1 / math.exp(n_is)) + 0.1 * r, 2)  # drop at 100 mA
        0.78
        """
        kelvin, reference = temperature_c + 273.15, 298.15
        thermal_v = 8.617333e-5 * kelvin
        step = (kelvin / reference - 1.0) * self.gap_ev / (self.emission * thermal_v)
        step += self.exponent / self.emission * math.log(kelvin / reference)
        return math.log(self.saturation_a) + step, self.emission * thermal_v, self.series_ohm


SILICON = (Diode(3.872e-9, 1.776, 0.0166), Diode(7.03e-9, 1.808, 0.034), Diode(14.1e-9, 1.984, 0.0339))
SCHOTTKY = (Diode(3.17e-5, 1.373, 0.051, 0.69, 2.0), Diode(1.0e-6, 1.05, 0.06, 0.69, 2.0))


@dataclass(slots=True)
class Circuit:
    """Everything that decides the rail at one survey, SI units. Demands are amperes (linear) or watts (switching)."""

    mains_hz: float
    level: float
    harmonics: tuple[tuple[int, float, float], ...]  # order, share, phase [rad]
    wander: float  # sd of the slow wander of the level
    flicker_per_s: float
    phase_steps_per_s: float
    emf_v: float  # rms of the fundamental behind the transformer, at level 1
    core_v: float  # rms at which its core has flux 1
    transformer_ohm: float
    ahead: float  # share of it ahead of the magnetising branch
    leakage_h: float
    magnetising_a: float
    saturation: float
    wire_ohm: float
    joint_ohm: float
    contact_ohm: float
    garden_contact_ohm: float
    parallel_ohm: float
    parallel_drop_v: float
    button: str  # normal, open, reversed, shorted, stuck
    garden_stuck: bool
    board: Diode
    button_diode: Diode
    board_c: float
    button_c: float
    reservoir_f: float
    esr_ohm: float
    idle: float
    sound: float
    front_alive: bool = True

    @property
    def source_ohm(self) -> float:
        return self.transformer_ohm + self.wire_ohm + self.joint_ohm


@dataclass(slots=True)
class House:
    """What was fitted, once: chime, sheet and detector."""

    kind: str
    nominal_hz: float
    transformer_v: float
    transformer_va: float
    wire: str
    loop_m: float
    nominal_f: float
    rated_rail_v: float
    linear: bool
    dropout_v: float
    off_v: float
    on_v: float
    quiescent_a: float
    soft_s: float
    boot_s: float
    resumes: bool
    divider_ohm: float
    test_a: float  # as told; 0 for a resistor
    test_ohm: float  # as told; 0 for a current
    test_error: float  # true / told
    sound_share: float  # modulation
    sound_hz: float
    radio: float  # A, or W, while a packet is sent
    radio_packet_s: float
    beacon_s: float
    packets_per_s: float
    muted: bool
    detector_ohm: float
    detector_error: tuple[float, float]  # true / told, front and garden
    detector_drop_v: float  # LED and diode at 1 mA, 25 degC
    detector_gain: float
    detector_cap: float
    detector_high: float
    detector_low: float
    detector_on_s: float
    detector_off_s: float
    detector_delay_s: tuple[float, float]  # made, broken
    detector_on_a: float
    garden: bool
    garden_wire_ohm: float
    bits: int
    full_scale_v: float
    rate_hz: float
    cycles: int
    gain: float
    offset_v: float
    noise_v: float
    curvature_lsb: tuple[float, float]  # bow and S of the converter
    jitter_s: float
    lost: float
    clock: float  # device seconds per second
    bounces: int  # most openings at each end of a healthy press
    drift: tuple[float, float] = (0.0, 0.0)  # of gain and offset until the later survey
    sheet: dict[str, Any] = field(default_factory=dict)

    @property
    def doors(self) -> tuple[str, ...]:
        return ("front", "garden") if self.garden else ("front",)
