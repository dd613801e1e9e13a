"""What the template of the report is given: frozen values. Knows no drawing."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from dashboard.contexts import Table
from dashboard.supply_contexts import Finding


@dataclass(frozen=True, slots=True)
class ChimeReport:
    """`name` is empty where the house has one chime. `rail`: thirty days of it, None where it tells of none."""

    name: str
    supply: Table
    bounds: Table
    outlook: Sequence[str]
    ahead: str  # what will meet its limit first
    rail: Markup | None
    rail_told: str
    findings: Sequence[Finding]
    missing: Sequence[str]
    compared: str


@dataclass(frozen=True, slots=True)
class Report:
    """`style`: its sheet and typeface where it stands alone, empty where the page links to them. `back`: the house's page, or empty."""

    style: Markup
    links: Sequence[str]
    back: str
    paper: str  # address of the same as a PDF, or empty
    house: str
    span: str
    in_short: str
    month: Markup
    month_told: str
    totals: tuple[str, str]  # visits, blind time
    chimes: Sequence[ChimeReport]
    statistics: Table
    blind: Sequence[str]
    unseen: Sequence[str]
    bring: Sequence[str]
    cautions: Sequence[str]
    zone: str
