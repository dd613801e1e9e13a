"""What each template is given: one frozen dataclass per template. Undefined names are errors there, so this is all they know."""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup


@dataclass(frozen=True, slots=True)
class Head:
    """Of every page. `site` is empty where no house is known yet."""

    title: str
    page: str  # route name of the current page word
    site: str = ""
    site_name: str = ""
    heard: str = ""  # "Chime last heard at 18.20, and listening"
    at: str = ""  # the clock when the page was made, as 18.20


@dataclass(frozen=True, slots=True)
class Entry:
    """Words of one mark, and where they stand: `narrow`, `medium` and `wide` are classes of sheet.css."""

    kind: str
    heading: str
    text: str
    places: str
    on_wide: bool
    visit: int | None  # its sheet, where it has one


@dataclass(frozen=True, slots=True)
class Wires:
    """One day drawn for three widths, with its words."""

    narrow: Markup
    medium: Markup
    wide: Markup
    lane_labels: Sequence[str]
    entries: Sequence[Entry]
    before: str
    prelude: str  # what lies above the narrow drawing, which begins with the first hour that has something to tell


@dataclass(frozen=True, slots=True)
class EarlierDay:
    day: str  # 2026-11-24
    weekday: str  # Tue
    number: int
    name: str  # Tuesday 24 November
    picture: Markup
    remark: str  # Four visits. No blind time.
    told: str  # four visits, no blind time.


@dataclass(frozen=True, slots=True)
class Failure:
    """The record cannot be written: cause and what to do."""

    text: str


@dataclass(frozen=True, slots=True)
class Unclaimed:
    site: str
    chime: str
    heard: str


@dataclass(frozen=True, slots=True)
class Choice:
    """Another stretch that can be asked about."""

    text: str
    query: str
    current: bool


@dataclass(frozen=True, slots=True)
class Between:
    """The form that asks between two times: its fields, as 2026-11-25T09:00, and whether it was asked."""

    start: str
    end: str
    latest: str
    asked: bool


@dataclass(frozen=True, slots=True)
class Listed:
    """Something that happened in a stretch that the wires do not show."""

    day: str
    heading: str
    text: str
    visit: int | None


@dataclass(frozen=True, slots=True)
class Found:
    """What was looked for, and the visits of which it is said."""

    head: Head
    words: str
    headline: str
    lead: str
    listed: Sequence[Listed]


@dataclass(frozen=True, slots=True)
class Doorstep:
    head: Head
    weekday: str
    date: str
    year: str
    headline: str
    lead: str
    choices: Sequence[Choice]
    between: Between
    listed: Sequence[Listed]
    left_out: str  # how many earlier ones are not listed
    wires: Wires
    earlier: Sequence[EarlierDay]
    totals: str
    blind: str  # with its share and its reasons
    shortest: str  # the shortest press that is always seen
    unclaimed: Sequence[Unclaimed]
    troubles: Sequence[str]
    failure: Failure | None
    first_stroke: str  # how to make it, while the record is empty


@dataclass(frozen=True, slots=True)
class DaySheet:
    head: Head
    weekday: str
    date: str
    year: str
    headline: str
    lead: str
    wires: Wires | None
    blind: str
    day_before: tuple[str, str] | None  # (2026-11-23, Monday 23 November)
    day_after: tuple[str, str] | None


@dataclass(frozen=True, slots=True)
class Nobody:
    """Nothing is claimed yet."""

    head: Head
    headline: str
    lead: str
    unclaimed: Sequence[Unclaimed]
    broker: str
    troubles: Sequence[str]
    wires: Markup
    failure: Failure | None


@dataclass(frozen=True, slots=True)
class Row:
    """Of a table: the first cell names the row."""

    cells: Sequence[str]


@dataclass(frozen=True, slots=True)
class Table:
    caption: str
    heads: Sequence[str]
    rows: Sequence[Row]


@dataclass(frozen=True, slots=True)
class SetAsideRow:
    when: str
    topic: str
    via: str
    size: str
    reason: str
    first_bytes: str


@dataclass(frozen=True, slots=True)
class SetAside:
    head: Head
    headline: str
    lead: str
    rows: Sequence[SetAsideRow]
    onward: str  # query of the page with older ones, empty where there are none


@dataclass(frozen=True, slots=True)
class DoorName:
    chime: str
    door: str
    name: str


@dataclass(frozen=True, slots=True)
class Names:
    head: Head
    name: str
    time_zone: str
    zones: Sequence[str]
    doors: Sequence[DoorName]
    refused: str
    done: str


@dataclass(frozen=True, slots=True)
class Trouble:
    """Instead of a page: not found, refused, or the record cannot be read."""

    head: Head
    headline: str
    lead: str
