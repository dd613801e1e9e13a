"""What an examination of a chime says: measured quantities, findings with their evidence, and what it was able to judge.

Plain values. Knows no store, no clock and no wording.
"""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Measured:
    """A quantity in SI units with its 90 % interval. NaN never; what cannot be given is absent."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class EvidenceLine:
    """One number a finding rests on; `expected`: what it was at commissioning, or should be by the fit-out sheet."""

    quantity: str  # name with its unit, such as "reservoir_f"
    value: float
    low: float | None = None
    high: float | None = None
    expected: float | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """One named finding of the contract. `since_s`: the earliest evidence for it [POSIX s]."""

    name: str
    likelihood: float  # 0..1
    door: str | None = None
    also_possible: tuple[str, ...] = ()  # what cannot be told apart from it from afar
    since_s: float | None = None
    evidence: tuple[EvidenceLine, ...] = ()


@dataclass(frozen=True, slots=True)
class Surveyed:
    """What one survey measured, and when it was taken [POSIX s]."""

    at_s: float
    quantities: dict[str, Measured] = field(default_factory=dict)
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """`judged`: (name, door) pairs about which the evidence sufficed to say yes or no; only these can clear a finding.

    `surveyed`, `commissioned`: the survey it rests on, and that of the commissioning record, where there are such.
    """

    quantities: dict[str, Measured] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()  # most likely first
    judged: frozenset[tuple[str, str | None]] = frozenset()
    missing: tuple[str, ...] = ()  # what could not be given, and why, in words
    surveyed: Surveyed | None = None
    commissioned: Surveyed | None = None
