"""What the templates of the Fit-out sheet are given. See contexts.py."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from dashboard.contexts import Head, Table


@dataclass(frozen=True, slots=True)
class Remark:
    """`weight`: wrong, doubtful or to know, in words; `mild`: to know."""

    weight: str
    text: str
    rule: str
    mild: bool


@dataclass(frozen=True, slots=True)
class Field:
    name: str
    text: str
    unit: str
    value: str
    choices: Sequence[tuple[str, str]]
    remarks: Sequence[Remark]


@dataclass(frozen=True, slots=True)
class Group:
    title: str
    fields: Sequence[Field]


@dataclass(frozen=True, slots=True)
class Panel:
    title: str
    picture: Markup
    told: str


@dataclass(frozen=True, slots=True)
class Step:
    """Of setting to work. `standing`: done, now or later."""

    text: str
    told: str
    standing: str


@dataclass(frozen=True, slots=True)
class Setting:
    """The guided steps. `since`: when they were begun [POSIX s], empty where nobody has."""

    since: str
    steps: Sequence[Step]
    ready: bool  # a survey has come since
    kept: str  # a sentence about the commissioning record that counts


@dataclass(frozen=True, slots=True)
class FitOut:
    head: Head
    date: str
    chime: str
    chimes: Sequence[str]  # where there are several
    headline: str
    lead: str
    panels: Sequence[Panel]
    before: bool  # whether the sheet before the change is drawn too
    figures: Table
    groups: Sequence[Group]
    other: Sequence[Remark]  # of no single blank
    assumed: Sequence[str]
    tried: Sequence[tuple[str, str, bool]]  # field, words, chosen
    times: str  # of the slider, as a power of two
    by: str  # what the slider makes of it, in words
    setting: Setting
    caution: str
    said: str
    refused: str


@dataclass(frozen=True, slots=True)
class Commissioned:
    """The commissioning sheet, for paper."""

    head: Head
    date: str
    house: str
    chime: str
    parts: Sequence[Table]
    predicted: Table
    measured: Table
    presses: str
    remarks: Sequence[str]
    caution: str
