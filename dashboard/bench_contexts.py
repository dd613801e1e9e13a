"""What the template of the Bench is given. See contexts.py."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from dashboard.contexts import Head, Table


@dataclass(frozen=True, slots=True)
class Panel:
    """One stretch of a capture, drawn on the height scale of all beside it."""

    title: str
    picture: Markup
    told: str  # the drawing in words


@dataclass(frozen=True, slots=True)
class Part:
    """Measured against expected, of one stretch. `meanings`: what each difference can mean."""

    title: str
    table: Table
    meanings: Sequence[str]


@dataclass(frozen=True, slots=True)
class Kept:
    number: int
    when: str
    name: str
    where: str
    shows: str
    current: bool


@dataclass(frozen=True, slots=True)
class Place:
    """A point of the circuit, to choose from."""

    name: str
    text: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class Bench:
    head: Head
    date: str
    headline: str
    lead: str
    panels: Sequence[Panel]
    key: bool  # whether anything predicted is drawn
    parts: Sequence[Part]
    beyond: Sequence[str]  # what this capture cannot tell
    kept: Sequence[Kept]
    places: Sequence[Place]
    chimes: Sequence[str]
    caution: str
    refused: str
    may: bool  # whether captures can be handed in here
