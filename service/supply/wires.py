"""Resistance of copper bell wire, from the name on its box. Refuses to know joints and contacts.

Three kinds of name: a gauge ("AWG 20", "20 AWG"), a cross-section ("0.5 mm2"), a diameter ("0.8 mm").
"""

import math
import re

from service.errors import SettingError

COPPER_OHM_M = 1.7241e-8
"""Resistivity of annealed copper at 20 C [Ohm m]: the international standard of 1913, IEC 60028 (from memory)."""

COPPER_PER_K = 0.00393
"""Its temperature coefficient at 20 C [1/K], same source."""

IEC_60228_OHM_PER_M: dict[float, float] = {
    # Largest permitted at 20 C, class 1, plain copper. 0.5 mm2: IEC 60228 on a secondary page; the others from memory.
    0.5: 36.0e-3,
    0.75: 24.5e-3,
    1.0: 18.1e-3,
    1.5: 12.1e-3,
    2.5: 7.41e-3,
}

THINNEST_OHM_PER_M = 0.5
"""Above that of AWG 31: no bell wire, and most likely a slip of the pen."""

_NAME = re.compile(
    r"(?:AWG (?P<gauge>\d{1,2})|(?P<gauge_first>\d{1,2}) AWG|(?P<size>\d{1,2}(?:\.\d{1,3})?) (?P<unit>mm2?))"
)


def ohm_per_m(wire: str, temperature_c: float = 20.0) -> float:
    """Resistance of one conductor [Ohm/m] at a temperature [Cel].

    A cross-section that IEC 60228 lists is taken at the largest resistance that it permits. Raises SettingError for another name.

    >>> [round(1000 * ohm_per_m(name), 2) for name in ("AWG 20", "0.5 mm2", "0.8 mm")]
    [33.31, 36.0, 34.3]
    """
    size = _NAME.fullmatch(wire)
    if size is None:
        raise SettingError(f"{wire[:60]!r} is no wire such as AWG 20, 0.5 mm2 (cross-section) or 0.8 mm (diameter).")
    cold = _cold_ohm_per_m(size)
    if cold > THINNEST_OHM_PER_M:
        raise SettingError(
            f"A wire of {wire} is too thin to be bell wire; it has more than {THINNEST_OHM_PER_M:g} Ohm per metre."
        )
    return cold * (1.0 + COPPER_PER_K * (temperature_c - 20.0))


def loop_ohm(wire: str, loop_m: float, temperature_c: float = 20.0) -> float:
    """Resistance of a loop of which `loop_m` is the length there and back [Ohm]: a run of 15 m is a loop of 30 m."""
    return ohm_per_m(wire, temperature_c) * loop_m


def gauge_diameter_m(gauge: int) -> float:
    """Diameter of an American wire gauge [m]: 0.127 mm x 92^((36 - n) / 39), ASTM B258.

    By hand: AWG 36 is 0.127 mm (5 mils) by definition.

    >>> gauge_diameter_m(36)
    0.000127
    """
    return float(0.127e-3 * 92.0 ** ((36 - gauge) / 39.0))


def _cold_ohm_per_m(size: re.Match[str]) -> float:
    gauge = size["gauge"] or size["gauge_first"]
    if gauge:
        return _of_diameter(gauge_diameter_m(int(gauge)))
    millimetres = max(float(size["size"]), 1e-6)
    if size["unit"] == "mm":
        return _of_diameter(millimetres * 1e-3)
    return IEC_60228_OHM_PER_M.get(millimetres, COPPER_OHM_M / (millimetres * 1e-6))


def _of_diameter(diameter_m: float) -> float:
    return COPPER_OHM_M / (math.pi / 4.0 * diameter_m**2)
