"""What the template of a stretch of the supply is given. See contexts.py."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

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
    """`figures`: what is drawn, for the script; see chart_data."""

    title: str
    picture: Markup
    figures: Mapping[str, Any]
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
    zone: str
    headline: str
    lead: str
    lengths: Sequence[Way]
    steps: Sequence[Way]
    start: str  # of the form, 2026-11-01
    end: str
    rail: Markup | None
    rail_figures: Mapping[str, Any] | None
    trends: Sequence[Trend]
    surveys: Sequence[Way]
    cycles: Sequence[Cycle]
    table: Table
