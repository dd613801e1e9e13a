"""The forms in which the API tells who rang, and is told. Each field with its unit and an example."""

from typing import Annotated, Any, Literal

from fastapi import Path, Query
from pydantic import AwareDatetime, Field

from adapters.api_forms import PROBLEMS, Form, Visit, problem_told
from adapters.log_forms import BlindSpell, Unseen
from service.callers import Chosen
from service.names import NAME_LIMIT, NOTE_LIMIT

CALENDAR = "text/calendar"

EXAMPLE_CALENDAR = """BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//Tern Cottage (invented)//EN
BEGIN:VEVENT
UID:holiday-2026@tern-cottage.example
DTSTAMP:20261101T120000Z
DTSTART;VALUE=DATE:20261220
DTEND;VALUE=DATE:20261228
SUMMARY:At the seaside
END:VEVENT
END:VCALENDAR
""".replace("\n", "\r\n")

CALENDAR_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {CALENDAR: {"schema": {"type": "string"}, "example": EXAMPLE_CALENDAR}},
    }
}

CALENDAR_ANSWER: dict[int | str, dict[str, Any]] = {
    200: {
        "description": "as iCalendar (RFC 5545), times in UTC",
        "content": {CALENDAR: {"schema": {"type": "string"}, "example": EXAMPLE_CALENDAR}},
    }
}

UPLOAD_PROBLEMS = PROBLEMS | {413: problem_told("too many bytes"), 415: problem_told("no calendar")}

VisitId = Annotated[int, Path(ge=1, le=2**63 - 1, examples=[3205])]
Person = Annotated[str, Path(examples=["Ann"])]
Uid = Annotated[str, Path(description="as the calendar has it", examples=["holiday-2026@tern-cottage.example"])]
CadenceName = Annotated[str, Path(examples=["family"])]
WhoseAbsence = Annotated[
    str, Query(description="whose absence or last look counts where no stretch is given", examples=["Ann"])
]
Words = Annotated[
    str, Query(description="all of them, in any order and case", max_length=80, examples=["postman parcel"])
]
By = Annotated[str, Query(description="who says so", max_length=NAME_LIMIT, examples=["Ann"])]


class NoteWish(Form):
    who: str = Field("", description=f"at most {NAME_LIMIT} characters; empty: nobody said", examples=["the postman"])
    note: str = Field(
        "", description=f"at most {NOTE_LIMIT} characters; may have lines", examples=["left it next door"]
    )


class Found(Form):
    visits: list[Visit]
    more: bool = Field(description="whether there are older ones")
    cadences_since: AwareDatetime | None = Field(
        description="a cadence was looked for only from here on; null: in all of the record", examples=[None]
    )


class LessonWish(Form):
    name: str = Field(description=f"1 to {NAME_LIMIT} characters", examples=["family"])
    chime: str = Field(examples=["hall"])
    door: str = Field(examples=["front"])


class Cadence(Form):
    name: str = Field(examples=["family"])
    taught: AwareDatetime = Field(description="visits that begin later are recognised")
    by: str = Field(examples=["Ann"])
    holds_s: list[float] = Field(description="presses, as the hand makes them [s]", examples=[[0.2, 0.2, 0.9]])
    gaps_s: list[float] = Field(description="pauses between them [s]", examples=[[0.3, 0.3]])
    tolerance: str
    recognised: float = Field(ge=0, le=1, description="share of its own visits that will be", examples=[0.968])
    mistaken: float = Field(ge=0, le=1, description="share of other visits that will be taken for it", examples=[8e-5])
    told: str


class ExamplePress(Form):
    start: AwareDatetime
    end: AwareDatetime | None


class Lesson(Form):
    name: str = Field(examples=["family"])
    chime: str = Field(examples=["hall"])
    door: str = Field(examples=["front"])
    stage: Literal["listening", "heard", "expired"]
    begun: AwareDatetime
    ends: AwareDatetime
    examples: list[list[ExamplePress]] = Field(description="what was heard so far")
    kept: bool = Field(description="it is taught now")
    refused: str | None = Field(description="why it is not taught, and what to do instead", examples=[None])
    told: str = Field(examples=["One example of three heard."])


class Cadences(Form):
    cadences: list[Cadence]
    lesson: Lesson | None = Field(description="the last one of this site since the service started")


class AwayWish(Form):
    start: AwareDatetime
    end: AwareDatetime
    summary: str = Field("", description="at most 200 characters", examples=["At the seaside"])


class Absence(Form):
    uid: str = Field(examples=["holiday-2026@tern-cottage.example"])
    summary: str = Field(examples=["At the seaside"])
    start: AwareDatetime
    end: AwareDatetime


class Away(Form):
    person: str = Field(examples=["Ann"])
    away: list[Absence]


class Stretch(Form):
    start: AwareDatetime
    end: AwareDatetime


class WhileAway(Form):
    told: str = Field(examples=["Three callers while you were away; the record is complete but for 14:02–14:31."])
    chosen: Chosen = Field(description="which rule chose the stretch")
    stretches: list[Stretch]
    complete: bool = Field(
        description="whoever rang then is among the visits: no blind time, no sign of an unseen press"
    )
    visits: list[Visit]
    doubtful: list[Visit] = Field(description="rather damp or induction than a caller")
    unseen: list[Unseen]
    blind: list[BlindSpell]
    blind_s: float = Field(description="blind time in the stretch, at some chime or other [s]", examples=[1740.0])
    share: float | None = Field(description="of the stretch, from the beginning of the record on", examples=[0.0215])
    pending: int = Field(description="packs that have come and are still to be read", examples=[0])


class Rate(Form):
    visits: int = Field(examples=[9])
    watched_h: float = Field(description="hours in which a press would have been recorded [h]", examples=[11.5])
    per_hour: float | None = Field(description="visits per hour watched; null: never watched", examples=[0.7826])
    low: float | None = Field(description="of the 90 % interval", examples=[0.4083])
    high: float | None = Field(examples=[1.3657])


class Count(Form):
    label: str = Field(description="day or week as in ISO 8601", examples=["2026-W48"])
    visits: int = Field(examples=[23])
    hours: float = Field(description="of it within the stretch [h]", examples=[168.0])
    watched_h: float = Field(description="hours in which a press would have been recorded [h]", examples=[167.2])


class StandsOut(Form):
    weekday: int | None = Field(ge=0, le=6, description="0 is Monday; null: every day", examples=[1])
    hour: int | None = Field(ge=0, le=23, description="local; null: the whole day", examples=[10])
    times: float = Field(description="of the mean of the house", examples=[3.4])
    rate: Rate
    told: str = Field(examples=["Tuesdays from 10:00 to 11:00: 3.4 times the mean of the house."])


class Patterns(Form):
    start: AwareDatetime = Field(description="of what was looked at: not before the record begins")
    end: AwareDatetime
    mean: Rate
    table: list[list[Rate]] = Field(min_length=7, max_length=7, description="by weekday, Monday first, then local hour")
    by_hour: list[Rate] = Field(min_length=24, max_length=24)
    by_weekday: list[Rate] = Field(min_length=7, max_length=7)
    standing_out: list[StandsOut]
    quiet_hours: list[int] = Field(
        description="hours of the day in which most likely nobody rings", examples=[[1, 2, 3]]
    )
    days: list[Count]
    weeks: list[Count]
    too_little: str | None = Field(description="why nothing is said to stand out", examples=[None])
