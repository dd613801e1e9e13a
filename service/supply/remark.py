"""A remark on a fit-out: which field, how bad, by which figures and which rule. And how figures are written in sentences.

Refuses to know any rule.
"""

import dataclasses
from dataclasses import dataclass
from typing import Literal

Severity = Literal["wrong", "doubtful", "note"]

SEVERITIES: tuple[Severity, ...] = ("wrong", "doubtful", "note")
"""Worst first. wrong: will not work or will break; doubtful: may, with what the sheet leaves open or at an edge; note: to know."""

PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Remark:
    """`field`: of the sheet. `text`: one sentence. `values`: the figures, named with their units. `rule`: in words. `source`: whose."""

    field: str
    severity: Severity
    text: str
    rule: str
    source: str
    values: dict[str, float] = dataclasses.field(default_factory=dict)


_SCALES: dict[str, tuple[tuple[float, str], ...]] = {
    "F": ((1e-3, "mF"), (1e-6, "µF"), (1e-9, "nF")),
    "A": ((1.0, "A"), (1e-3, "mA"), (1e-6, "µA")),
    "V": ((1.0, "V"), (1e-3, "mV")),
    "W": ((1.0, "W"), (1e-3, "mW")),
    "s": ((1.0, "s"), (1e-3, "ms")),
    "Ohm": ((1e6, "MΩ"), (1e3, "kΩ"), (1.0, "Ω"), (1e-3, "mΩ")),
}


def quantity(value: float, unit: str) -> str:
    """A figure in words, three digits.

    >>> quantity(470e-6, "F"), quantity(20.364, "V"), quantity(0.0125, "A"), quantity(2200.0, "Ohm"), quantity(-0.48, "V")
    ('470 µF', '20.4 V', '12.5 mA', '2.2 kΩ', '−480 mV')
    """
    if not value:
        return f"0 {'Ω' if unit == 'Ohm' else unit}"
    for scale, name in _SCALES.get(unit, ()):
        if unit == "F" and name == "mF" and abs(value) < 10e-3:
            continue  # 2200 µF is what is printed on it
        if abs(value) >= scale * 0.9995:
            return f"{_digits(value / scale)} {name}"
    if unit in _SCALES:
        scale, name = _SCALES[unit][-1]
        return f"{_digits(value / scale)} {name}"
    return f"{_digits(value)} {unit}"


def _digits(value: float) -> str:
    """
    >>> [_digits(value) for value in (1234.0, 12.34, 0.1234, 5.0)]
    ['1230', '12.3', '0.123', '5']
    """
    rounded = float(f"{value:.3g}")
    text = f"{rounded:.10f}".rstrip("0").rstrip(".")
    return text.replace("-", "−")
