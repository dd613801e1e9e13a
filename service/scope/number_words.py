"""Numbers, units and separators as instruments write them. Knows no column and no waveform."""

import re
from dataclasses import dataclass

PREFIXES = {"": 1.0, "k": 1e3, "M": 1e6, "G": 1e9, "m": 1e-3, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "n": 1e-9, "p": 1e-12}
"""The SI brochure's prefixes; micro is written with either sign, or with u."""

_UNIT = re.compile(r"(?:^|[\s(\[/,=])([kMGmuµμnp]?)(s|sec|seconds?|V|volts?|Hz|Sa/s|S/s|sps)[\s)\]]*$", re.IGNORECASE)
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_LEADING = re.compile(r"\s*([+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?)\s*(.*)$")
GONE = {"", "nan", "inf", "+inf", "-inf", "---", "----", "****", "ovl", "ol", "overload", "-∞", "∞"}
"""What stands where a sample left the range."""


@dataclass(frozen=True, slots=True)
class Way:
    """How a text writes its columns: what parts them, and what stands before decimals."""

    separator: str  # "" parts by white space
    decimal: str

    def fields(self, line: str) -> list[str]:
        if not self.separator:
            return line.split()
        parts = _parted(line, self.separator) if '"' in line else line.split(self.separator)
        return [part.strip().strip('"').strip() for part in parts]

    def number(self, text: str) -> float | None:
        """None where it is none; NaN for a sample that left the range.

        >>> Way(";", ",").number("-1,25E-3"), Way(",", ".").number("1,25"), Way(",", ".").number("12.0 V")
        (-0.00125, None, None)
        """
        if text.lower() in GONE:
            return float("nan")
        plain = text.replace(",", ".") if self.decimal == "," else text
        return float(plain) if _NUMBER.fullmatch(plain) else None


def _parted(line: str, separator: str) -> list[str]:
    """Fields of which some stand in quotation marks (RFC 4180)."""
    parts, inside, begin = [], False, 0
    for place, sign in enumerate(line):
        if sign == '"':
            inside = not inside
        elif sign == separator and not inside:
            parts.append(line[begin:place])
            begin = place + 1
    return [*parts, line[begin:]]


WAYS = (
    Way("\t", "."),
    Way("\t", ","),
    Way(";", "."),
    Way(";", ","),
    Way(",", "."),
    Way(",", ","),
    Way("", "."),
    Way("", ","),
)


def unit_of(text: str) -> tuple[str, float] | None:
    """The unit that a column's head ends with, as "s", "V" or "Hz", and its multiple; None where it names none.

    >>> unit_of("Time (ms)"), unit_of("CH1 in mV"), unit_of("V"), unit_of("Remarks")
    (('s', 0.001), ('V', 0.001), ('V', 1.0), None)
    """
    found = _UNIT.search(text.strip())
    if not found:
        return None
    prefix, word = found.group(1), found.group(2).lower()
    if prefix == "M" and word.startswith(("s", "v")) and word not in ("sa/s", "s/s", "sps"):
        prefix = "m"  # nobody samples megaseconds, and capital letters are used for everything in some heads
    unit = "V" if word.startswith("v") else "Hz" if word in ("hz", "sa/s", "s/s", "sps") else "s"
    return unit, PREFIXES.get(prefix, PREFIXES.get(prefix.lower(), 1.0))


def quantity_of(text: str) -> tuple[float, str | None] | None:
    """A number with its unit, as in a head that tells the sampling: its value in s, V or Hz, and which; None where there is none.

    >>> quantity_of("20 us"), quantity_of("50 kSa/s"), quantity_of("2,0E-05"), quantity_of("yes")
    ((2e-05, 's'), (50000.0, 'Hz'), (2e-05, None), None)
    """
    found = _LEADING.match(text)
    if not found:
        return None
    value = float(found.group(1).replace(",", "."))
    unit = unit_of(found.group(2)) if found.group(2) else None
    return (round(value * unit[1], 15), unit[0]) if unit else (value, None)
