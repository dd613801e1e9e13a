"""What the templates about callers are given: the sheet of one visit, and that of hours, cadences and times away. See contexts.py."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from dashboard.contexts import DoorName, Head, Table


@dataclass(frozen=True, slots=True)
class VisitSheet:
    """One visit. `by`: who is reading, as they said; empty where nobody has."""

    head: Head
    visit: int
    time: str
    day: str  # 2026-11-24
    date: str
    year: str
    headline: str
    lead: str
    picture: Markup
    presses: Table
    moved: Sequence[str]  # each time that it was dated anew
    who: str
    note: str
    by: str
    refused: str
    done: str


@dataclass(frozen=True, slots=True)
class Hours:
    """When callers come."""

    headline: str
    lead: str
    wide: Markup
    narrow: Markup
    names: Sequence[str]  # of the weekdays
    key: str  # what a stroke stands for
    standing: Sequence[str]  # a sentence for each hour that stands out
    table: Table
    by_hour: Table


@dataclass(frozen=True, slots=True)
class TaughtCadence:
    name: str
    picture: Markup
    told: str


@dataclass(frozen=True, slots=True)
class Lesson:
    name: str
    heading: str
    told: str
    examples: Sequence[Markup]
    to_come: int
    listening: bool
    refused: bool


@dataclass(frozen=True, slots=True)
class AwayRow:
    when: str
    summary: str
    told: str  # what it came to, or that it lasts
    uid: str
    button: str


@dataclass(frozen=True, slots=True)
class AwayList:
    """`name`: whose; empty where nobody has said."""

    name: str
    coming: Sequence[AwayRow]
    past: Sequence[AwayRow]
    later: str  # how many more are not shown
    earlier: str


@dataclass(frozen=True, slots=True)
class Said:
    """What is answered to a form, at the part of the sheet that it belongs to."""

    where: str
    text: str
    refused: bool


@dataclass(frozen=True, slots=True)
class Callers:
    head: Head
    at: str
    date: str
    hours: Hours
    cadences: Sequence[TaughtCadence]
    lesson: Lesson | None
    teaches: bool
    doors: Sequence[DoorName]
    away: AwayList
    reads_calendars: bool
    soonest: str  # now, as a field has it
    said: Said
