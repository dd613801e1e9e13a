"""What a piece of advice consists of, and the cautions that go with all of it. Knows no finding.

Plain words for whoever stands at the door: no abbreviation, no part named without saying what it does.
"""

from dataclasses import dataclass
from typing import Literal

Who = Literal["householder", "installer", "electrician"]
"""Who can do a check: anybody without a tool; somebody used to extra-low-voltage wiring and a meter; a licensed electrician."""

MAINS_CAUTION = (
    "The mains side of a bell transformer is work for a licensed electrician, under the code that holds where you are."
)
ISOLATE_CAUTION = "Switch the transformer's circuit off, and make sure that it is dead, before touching the wiring."
RESERVOIR_CAUTION = (
    "The chime's reservoir capacitor, the part that carries it from one mains cycle to the next, stays charged when the "
    "supply is off: let it empty through a resistor of about 1 kΩ before touching its leads."
)
PURPOSE_CAUTION = "A bell circuit is no alarm, no emergency call and no medical aid; do not rely on it as one."
CAUTIONS = (MAINS_CAUTION, ISOLATE_CAUTION, RESERVOIR_CAUTION, PURPOSE_CAUTION)

FOR_AN_ELECTRICIAN = "For a licensed electrician, under the local code: "


@dataclass(frozen=True, slots=True)
class Check:
    """One thing to do on site. `minutes`: rough effort (common practice, no source). `expect`: what the outcome tells."""

    who: Who
    minutes: int
    do: str
    expect: str

    @property
    def text(self) -> str:
        return f"{self.do} {self.expect}"


@dataclass(frozen=True, slots=True)
class Apart:
    """Something that looks the same from afar, and the check that separates the two. `finding`: its name, if it is one."""

    what: str
    check: str
    finding: str | None = None


@dataclass(frozen=True, slots=True)
class Advice:
    """What to tell a person about one finding.

    `title` and `meaning` are a sentence each; `checks` in order of effort; `first_caution` comes before the general ones;
    `rests_on` names the quantities of the evidence.
    """

    name: str
    title: str
    meaning: str
    checks: tuple[Check, ...]
    apart: tuple[Apart, ...]
    rests_on: tuple[str, ...]
    first_caution: str = ""

    @property
    def cautions(self) -> tuple[str, ...]:
        """Sentences, the one that matters most here first."""
        return (self.first_caution, *CAUTIONS) if self.first_caution else CAUTIONS

    @property
    def caution(self) -> str:
        """The cautions as one paragraph."""
        return " ".join(self.cautions)

    @property
    def on_site(self) -> str:
        """The checks as one paragraph, in order of effort."""
        return " ".join(check.text for check in self.checks)


def householder(minutes: int, do: str, expect: str) -> Check:
    return Check("householder", minutes, do, expect)


def installer(minutes: int, do: str, expect: str) -> Check:
    return Check("installer", minutes, do, expect)


def electrician(minutes: int, do: str, expect: str) -> Check:
    """`do` goes on after a colon."""
    return Check("electrician", minutes, FOR_AN_ELECTRICIAN + do, expect)
