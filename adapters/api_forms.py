"""The shapes of the JSON API, for checking and for OpenAPI. What they are filled with comes from service/telling.py."""

from dataclasses import dataclass
from typing import Annotated, Any, Literal, TypedDict

from fastapi import Path, Query
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from service import model, telling
from service.model import Sureness
from service.ports import Clock

PACK_TYPES = ("application/senml+json", "application/senml+cbor")

EXAMPLE_PACK = [
    {"n": "boot", "v": 7},
    {"n": "seq", "v": 12},
    {"n": "up", "u": "s", "v": 3605.2},
    {"n": "front.press", "vb": True},
]

PACK_BODY = {
    "requestBody": {
        "required": True,
        "content": {
            PACK_TYPES[0]: {"schema": {"type": "array", "items": {"type": "object"}}, "example": EXAMPLE_PACK},
            PACK_TYPES[1]: {"schema": {"type": "string", "format": "binary"}},
        },
    }
}


class Form(BaseModel):
    model_config = ConfigDict(extra="forbid")


def problem_told(text: str) -> dict[str, Any]:
    """How a route describes an error: by a reference (problems.py), since a model for each would take megabytes."""
    return {
        "description": text,
        "content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }


PROBLEMS: dict[int | str, dict[str, Any]] = {
    400: problem_told("cannot be answered as asked"),
    404: problem_told("not in the record"),
    422: problem_told("does not fit the shape"),
    503: problem_told("the record cannot be reached or written now"),
}


class Site(Form):
    site: str = Field(examples=["tern-cottage"])
    name: str = Field(examples=["Tern Cottage"])
    time_zone: str = Field(examples=["Europe/London"])


class Sites(Form):
    sites: list[Site]


class SiteNaming(Form):
    name: str = Field(examples=["Tern Cottage"])
    time_zone: str = Field(examples=["Europe/London"])


class DoorNaming(Form):
    name: str = Field(examples=["Garden gate"])


class Chime(Form):
    site: str = Field(examples=["tern-cottage"])
    chime: str = Field(examples=["hall"])
    claimed: bool
    device: str | None = Field(examples=["urn:dev:mac:0024befffe804ff1"])
    first_heard: AwareDatetime
    last_heard: AwareDatetime
    alive: bool | None = Field(description="what the presence topic last said; null where the chime has never used it")
    alive_since: AwareDatetime | None
    level: list[str] = Field(description="what this chime sends", examples=[["presses", "exactly-once", "supply"]])


class Chimes(Form):
    chimes: list[Chime]


class Door(Form):
    site: str = Field(examples=["tern-cottage"])
    chime: str = Field(examples=["hall"])
    door: str = Field(examples=["front"])
    name: str = Field(examples=["Front"])
    first_heard: AwareDatetime


class Doors(Form):
    doors: list[Door]


class Press(Form):
    id: int = Field(examples=[4711])
    visit: int = Field(examples=[3205])
    site: str = Field(examples=["tern-cottage"])
    chime: str = Field(examples=["hall"])
    door: str = Field(examples=["front"])
    start: AwareDatetime
    end: AwareDatetime | None = Field(description="null while the contact is not known to have opened")
    uncertainty_s: float = Field(description="half width of the 90 % interval of start and end [s]", examples=[0.05])
    source: Literal["edges", "summary", "contact"]
    pulses: int | None = Field(description="detector pulses, where the chime tells them", examples=[20])
    drop_outs: int = Field(description="pulses missing while held", examples=[0])
    bounce: bool
    longest_gap_s: float = Field(description="longest pause between pulses [s]", examples=[0.012])
    sure: Sureness = Field(description="that a finger closed the contact; doubtful: rather induction or damp")
    doubtful: bool = Field(description="the same as `sure` being doubtful")
    cut_off: bool = Field(description="the chime restarted while the contact was closed; its true end is not known")


class Presses(Form):
    presses: list[Press]
    next: str | None = Field(description="cursor of the next page")


class Visit(Form):
    id: int = Field(examples=[3205])
    site: str = Field(examples=["tern-cottage"])
    chime: str = Field(examples=["hall"])
    door: str = Field(examples=["front"])
    start: AwareDatetime
    end: AwareDatetime
    sounded: int | None = Field(description="presses that the chime answered; null where it never tells", examples=[2])
    doubtful: bool = Field(description="no caller: nothing but doubtful presses, or single pulses again and again")
    cadence: str | None = Field(description="the taught way of pressing that it shows", examples=["family"])
    who: str | None = Field(description="as a person has said", examples=["the parcel service"])
    note: str | None = Field(examples=["left it with the neighbour"])
    presses: list[Press]


class Visits(Form):
    visits: list[Visit]
    next: str | None = Field(description="cursor of the next page")


class Boot(Form):
    site: str = Field(examples=["tern-cottage"])
    chime: str = Field(examples=["hall"])
    number: int | None = Field(examples=[7])
    cause: str | None = Field(examples=["power-on"])
    start: AwareDatetime
    last_heard: AwareDatetime


class Boots(Form):
    boots: list[Boot]


class SupplyPoint(Form):
    start: AwareDatetime
    end: AwareDatetime
    windows: int = Field(description="windows of the chime joined here", examples=[60])
    mean_v: float | None = Field(examples=[14.21])
    min_v: float | None = Field(examples=[13.9])
    max_v: float | None = Field(examples=[14.5])
    low_v: float | None = Field(description="lowest while sounding", examples=[9.6])
    regulated_min_v: float | None = Field(examples=[4.98])
    temperature_c: float | None = Field(examples=[19.5])
    link_dbw: float | None = Field(examples=[-92.0])


class Supply(Form):
    supply: list[SupplyPoint]
    latest: SupplyPoint | None


class SetAside(Form):
    id: int
    received: AwareDatetime
    topic: str = Field(examples=["bellcrank/1/tern-cottage/hall/pack"])
    site: str | None
    chime: str | None
    via: Literal["mqtt", "http", "file"]
    fate: Literal["quarantined", "duplicate", "refused", "unexpected"]
    reason: str = Field(examples=["rail.mean: 400 V; a rail lies between -1 and 100 V"])
    size: int = Field(description="bytes")
    hex: str = Field(description="the bytes as they came")


class Quarantine(Form):
    packs: list[SetAside]
    next: str | None = Field(description="cursor of the next page")


class Kept(Form):
    kept: bool


class BrokerHealth(Form):
    address: str | None
    connected: bool
    since: AwareDatetime


class StoreHealth(Form):
    place: str
    last_commit: AwareDatetime | None


class PackCounts(Form):
    kept: int
    pending: int = Field(description="on the disk, not yet understood")
    duplicates: int
    quarantined: int
    refused: int
    unexpected: int


class Health(Form):
    status: Literal["well", "trouble"]
    troubles: list[str]
    version: str
    started: AwareDatetime
    listening_on: str
    reachable_from: Literal["this machine", "the network"]
    broker: BrokerHealth
    store: StoreHealth
    packs: PackCounts | None
    parts: dict[str, str]


SiteName = Annotated[str, Path(examples=["tern-cottage"])]
ChimeName = Annotated[str, Path(examples=["hall"])]
Start = Annotated[
    AwareDatetime | None,
    Query(description="first moment, RFC 3339; absent: from the beginning", examples=["2026-11-24T00:00:00Z"]),
]
End = Annotated[
    AwareDatetime | None,
    Query(description="first moment after, RFC 3339; absent: until now", examples=["2026-11-25T00:00:00Z"]),
]
Cursor = Annotated[str | None, Query(description="`next` of the page before", max_length=80)]
Limit = Annotated[int, Query(ge=1, le=1000)]
LongLimit = Annotated[int, Query(ge=1, le=10_000)]
Step = Annotated[float | None, Query(gt=0, description="join windows to stretches of this length [s]", examples=[3600])]
NewestFirst = Annotated[bool, Query(description="newest first")]


class Selection(TypedDict):
    """What `ports.Reader` asks beside site and stretch, for a page of presses or visits."""

    chime: str | None
    door: str | None
    cursor: str | None
    limit: int
    newest_first: bool


@dataclass(frozen=True, slots=True)
class Page:
    """The query parameters of a page of presses or visits."""

    start: Start = None
    end: End = None
    chime: str | None = None
    door: str | None = None
    cursor: Cursor = None
    limit: Limit = 100
    newest_first: NewestFirst = False

    def selection(self) -> Selection:
        return Selection(
            chime=self.chime, door=self.door, cursor=self.cursor, limit=self.limit, newest_first=self.newest_first
        )


def stretch_of(start: Start, end: End, clock: Clock) -> tuple[float, float]:
    """POSIX seconds, half open; from the beginning, and until now, where nothing is said."""
    return start.timestamp() if start else 0.0, end.timestamp() if end else clock() + 1.0


def set_aside(pack: model.SetAside) -> dict[str, Any]:
    return {
        "id": pack.id,
        "received": telling.rfc3339(pack.received_s),
        "topic": pack.topic,
        "site": pack.site,
        "chime": pack.chime,
        "via": pack.via,
        "fate": pack.fate,
        "reason": pack.reason,
        "size": pack.size,
        "hex": pack.payload.hex(),
    }
