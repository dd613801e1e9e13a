"""What the template of the Alarms sheet is given. See contexts.py."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from dashboard.contexts import Head


@dataclass(frozen=True, slots=True)
class Standing:
    """An alarm that is not at normal. `acknowledges`, `shelves`: whether a person may; `back`: the word of the way back, or empty."""

    chime: str
    rule: str
    title: str
    standing: str
    consequence: str
    action: str
    acknowledges: bool
    shelves: bool
    back: str
    back_name: str


@dataclass(frozen=True, slots=True)
class Spoken:
    when: str
    title: str
    told: str
    bar: Markup  # on one line for all


@dataclass(frozen=True, slots=True)
class Rule:
    chime: str
    rule: str
    title: str
    told: str
    on: bool


@dataclass(frozen=True, slots=True)
class Said:
    text: str = ""
    refused: bool = False


@dataclass(frozen=True, slots=True)
class RuleBlank:
    """A value of a rule. `name`: of the input, with the factor to the unit it is kept in; `kind`: `time` or `decimal`."""

    field: str
    name: str
    label: str
    value: str
    unit: str
    kind: str
    reason: str  # why it was refused


@dataclass(frozen=True, slots=True)
class RuleSheet:
    head: Head
    chime: str
    rule: str
    headline: str
    lead: str
    standing: str
    consequence: str
    action: str
    blanks: Sequence[RuleBlank]
    weights: Sequence[tuple[str, str, bool]]  # value, words, chosen
    changed: bool  # otherwise than the ready set has it
    said: Said
    trial: str  # what it would have said; empty: it was not tried
    spoken: Sequence[tuple[str, str, Markup]]  # when, why, how long


@dataclass(frozen=True, slots=True)
class Alarms:
    head: Head
    at: str
    date: str
    headline: str
    lead: str
    now: Sequence[Standing]
    spoken: Sequence[Spoken]
    earliest: str  # day with which the shared line begins
    left_out: str
    rules: Sequence[Rule]
    performance: str
    by: str  # who is reading, as they said
    said: Said
