"""Rectifier diodes by their law: current from drop, drop from current, both at a temperature.

The law is the one circuit simulators use: drop = N·Vt·ln(1 + i/Is) + Rs·i, with Is growing with temperature.
Refuses to know breakdown, stored charge and ageing: at mains frequency and bell voltages they do not show.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

_ZERO_CELSIUS_K = 273.15
_BOLTZMANN_V_PER_K = 1.380649e-23 / 1.602176634e-19  # Boltzmann constant over elementary charge, exact since 2019 (SI)
_DEEPEST = -30.0  # below this the current is some 1e-13 of the scale: nothing, and 1 + exp() still sees it


def wright_omega(z: Array) -> Array:
    """Solve w + ln w = z for w > 0, elementwise; an array of at least one dimension.

    It turns "a resistor and a diode in series" into a formula, so that no step of the rectifier needs iteration.
    A first guess good to a hundredth (Iacono and Boyd's for the Lambert W of exp z) and one step of Halley's rule, both from
    memory: smooth in z, relative error below 1e-6. z below −30 is taken as −30.

    >>> w = wright_omega(np.array([1.0, 101.0]))  # 1 + ln 1 = 1
    >>> [round(float(x), 4) for x in w], round(float(w[1] + np.log(w[1])), 4)
    ([1.0, 96.4312], 101.0)
    """
    z = np.maximum(z, _DEEPEST)
    soft = np.abs(z)  # in place from here on: this is where the rectifier spends its time
    np.negative(soft, soft)
    np.exp(soft, soft)
    soft += 1.0
    np.log(soft, soft)
    soft += np.maximum(z, 0.0)
    guess = soft + 1.0
    np.log(guess, guess)
    guess /= soft + 2.0
    np.subtract(1.0, guess, guess)
    guess *= soft
    residual = np.log(guess)
    residual += guess
    np.subtract(z, residual, residual)
    above = guess + 1.0
    bent = residual / above
    bent *= -0.5
    bent += above
    residual *= guess
    residual /= bent
    residual += guess
    return residual


@dataclass(frozen=True, slots=True)
class Diode:
    """A junction diode; every field a float or an array.

    Parameters
    ----------
    saturation_a : saturation current Is at `temperature_c` [A].
    emission : emission coefficient N.
    series_ohm : ohmic part Rs [Ω].
    temperature_c : junction temperature at which the others hold [°C]; model cards mean 27 °C where they say nothing.
    gap_ev : energy gap for the change of Is with temperature [eV]; 1.11 silicon, 0.69 Schottky (the simulators' usual).
    saturation_exponent : its power of the absolute temperature; 3 for a junction, 2 for a Schottky barrier.

    Examples
    --------
    By hand: 1.776 · 25.865 mV · ln(1 + 0.1/3.872e-9) + 0.0166 Ω · 0.1 A = 0.7856 V.

    >>> round(float(SILICON.drop_v(0.1)), 4)
    0.7856
    >>> round(float(SILICON.current_a(SILICON.drop_v(0.1))), 6)
    0.1
    """

    saturation_a: float | Array
    emission: float | Array
    series_ohm: float | Array
    temperature_c: float | Array = 27.0
    gap_ev: float | Array = 1.11
    saturation_exponent: float | Array = 3.0

    @property
    def thermal_v(self) -> Any:
        """Thermal voltage kT/q at `temperature_c` [V]; 25.7 mV at 25 °C."""
        return _BOLTZMANN_V_PER_K * (np.asarray(self.temperature_c) + _ZERO_CELSIUS_K)

    def at(self, temperature_c: ArrayLike) -> "Diode":
        """The same part at another junction temperature [°C]. A silicon drop falls by some 2 mV/K.

        >>> hot = SILICON.at(47.0)
        >>> round(float(hot.drop_v(0.01) - SILICON.drop_v(0.01)) / 20 * 1000, 1)  # mV/K
        -1.7
        """
        here_k = np.asarray(temperature_c, dtype=np.float64) + _ZERO_CELSIUS_K
        there_k = np.asarray(self.temperature_c) + _ZERO_CELSIUS_K
        ratio = here_k / there_k
        scaled_v = np.asarray(self.emission) * _BOLTZMANN_V_PER_K * here_k
        power = np.asarray(self.saturation_exponent) / np.asarray(self.emission)
        growth = np.exp((ratio - 1.0) * np.asarray(self.gap_ev) / scaled_v) * ratio**power
        saturation = np.asarray(self.saturation_a) * growth
        return replace(self, saturation_a=saturation, temperature_c=np.asarray(temperature_c, dtype=np.float64))

    def drop_v(self, current_a: ArrayLike) -> Array:
        """Forward drop at a current above −Is [V]. NaN below it, where no drop belongs to it."""
        current = np.asarray(current_a, dtype=np.float64)
        with np.errstate(invalid="ignore", divide="ignore"):
            junction = np.asarray(self.emission) * self.thermal_v * np.log1p(current / np.asarray(self.saturation_a))
        return np.asarray(junction + np.asarray(self.series_ohm) * current, dtype=np.float64)

    def current_a(self, drop_v: ArrayLike) -> Array:
        """Current at a forward drop [A]; about −Is at a reverse one."""
        scaled_v = np.asarray(self.emission) * self.thermal_v
        saturation = np.asarray(self.saturation_a)
        ohm = np.maximum(np.asarray(self.series_ohm), 1e-5)  # the formula needs an ohmic part
        argument = (np.asarray(drop_v) + ohm * saturation) / scaled_v + np.log(ohm * saturation / scaled_v)
        return np.asarray(
            wright_omega(np.atleast_1d(argument)).reshape(argument.shape) * scaled_v / ohm - saturation,
            dtype=np.float64,
        )


SILICON = Diode(saturation_a=3.872e-9, emission=1.776, series_ohm=16.6e-3)
"""1N4007. With these the simulator ngspice 39.3 gave 0.572, 0.678, 0.785, 0.906 V at 1, 10, 100 mA, 1 A (27 °C)."""

SCHOTTKY = Diode(saturation_a=390e-9, emission=1.0, series_ohm=115e-3, gap_ev=0.69, saturation_exponent=2.0)
"""A 1 A, 40 V Schottky diode such as the 1N5819; values of a common model card, from memory."""
