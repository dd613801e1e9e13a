"""What the templates of the Supply sheet and of an examined recording get: frozen values, one for each template. Knows no drawing."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from dashboard.contexts import Failure, Head, Table


@dataclass(frozen=True, slots=True)
class Cycle:
    title: str
    margin: str
    picture: Markup
    told: str


@dataclass(frozen=True, slots=True)
class Check:
    """Something to do where the chime hangs."""

    effort: str  # Five minutes, for an installer
    length: int  # of the line that draws the effort
    text: str


@dataclass(frozen=True, slots=True)
class Finding:
    name: str  # of the contract
    number: int
    title: str
    door: str  # its name; empty where it is none of a door
    likelihood: str  # Very likely, about nine in ten
    since: str  # 2 September
    standing: str  # found once, or confirmed
    meaning: str
    evidence: Table
    departures: Markup | None  # the same, drawn, as far as something is expected
    plane: Markup | None  # of reservoir and source resistance, where the evidence is about these
    plane_told: str
    plane_table: Table | None  # with all that it has, for readers
    rivals: Sequence[str]  # what it cannot be told from, from afar, each with what tells them apart on the spot
    checks: Sequence[Check]
    caution: str


@dataclass(frozen=True, slots=True)
class FindingList:
    findings: Sequence[Finding]
    verdict: str
    missing: Sequence[str]  # what could not be judged, and why
    compared: str  # with what; empty where nothing was examined
    chime: str
    trouble: str


@dataclass(frozen=True, slots=True)
class ChimeSupply:
    name: str  # empty where the house has one chime
    found: FindingList
    silence: str  # a sentence where this chime sends no voltages
    month: Markup
    day: Markup
    joint: Markup
    scale: Markup
    cycles: Sequence[Cycle]
    figures: Table
    hours: Table
    days: Table
    happened: Sequence[str]
    outlook: Sequence[str]  # a sentence each; empty where no survey was kept


@dataclass(frozen=True, slots=True)
class Supply:
    head: Head
    at: str
    date: str
    headline: str
    lead: str
    chimes: Sequence[ChimeSupply]
    failure: Failure | None


@dataclass(frozen=True, slots=True)
class ExaminedChime:
    """One chime of a recording."""

    name: str  # hall chime, tern-cottage
    rail: Markup | None
    rail_told: str
    cycles: Sequence[Cycle]
    cycles_told: str
    quantities: Table
    outlook: Sequence[str]
    presses: Table
    happened: Sequence[str]


@dataclass(frozen=True, slots=True)
class Examined:
    """A recording examined: a page that needs nobody. `style`: its sheets and typeface."""

    style: Markup
    recording: str
    span: Sequence[str]
    headline: str
    lead: str
    compared: str
    findings: Sequence[Finding]
    chimes: Sequence[ExaminedChime]
    blind: Sequence[str]
    missing: Sequence[str]
    set_aside: Table
    cautions: Sequence[str]  # empty where each finding has them
