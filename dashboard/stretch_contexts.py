"""What the template of a stretch of the supply is given. See contexts.py."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from dashboard.contexts import Head, Table


@dataclass(frozen=True, slots=True)
class Way:
    """To another stretch. `query` is empty where that way is closed."""

    text: str
    query: str
    current: bool


@dataclass(frozen=True, slots=True)
class Trend:
    title: str
    picture: Markup
    told: str


@dataclass(frozen=True, slots=True)
class Cycle:
    title: str
    picture: Markup
    told: str
    predicted: bool


@dataclass(frozen=True, slots=True)
class StretchSheet:
    head: Head
    span: Sequence[str]
    chime: str
    headline: str
    lead: str
    lengths: Sequence[Way]
    steps: Sequence[Way]
    start: str  # of the form, 2026-11-01
    end: str
    scale: Markup
    rail: Markup | None
    trends: Sequence[Trend]
    surveys: Sequence[Way]
    cycles: Sequence[Cycle]
    table: Table
