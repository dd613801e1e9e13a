"""The part of the JSON API about captures of an oscilloscope: a file is read, measured, named and laid beside the fit-out sheet."""

import asyncio
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import AwareDatetime, Field

from adapters.api_forms import PROBLEMS, ChimeName, Form, Limit, SiteName
from adapters.problems import TooLarge
from service.capture_ports import KeptCapture
from service.captures import Captures, Handed
from service.ports import Reader
from service.telling import rfc3339

SIZE_LIMIT = 20_000_000

Point = Literal["transformer", "terminal", "rectifier", "regulated", "detector"]
PointAsked = Annotated[
    Point | None, Query(description="where in the circuit it was taken; without it, where it could be is told")
]
Channel = Annotated[str, Query(max_length=40, description="name or number of a channel; the first")]
Step = Annotated[
    float | None, Query(gt=0.0, lt=1.0, description="from sample to sample [s], where the text does not tell")
]
FullScale = Annotated[float | None, Query(gt=0.0, lt=1e4, description="volts at the full scale of a sound file")]
Name = Annotated[str, Query(max_length=120, description="of the file")]


class Span(Form):
    value: float
    low: float
    high: float


class CaptureLine(Form):
    quantity: str = Field(examples=["ripple_v"])
    measured: float
    expected: Span
    verdict: Literal["as predicted", "lower", "higher"]
    means: str = Field(description="what the difference can mean; empty where there is none")


class CaptureComparison(Form):
    state: Literal["idle", "test", "sounding", "pressed"] = Field(description="of the prediction that is nearest")
    lines: list[CaptureLine]


class Stretch(Form):
    """One part of the capture, at rest or pressed."""

    shape: str = Field(examples=["half-wave, positive"])
    pressed: Literal["at rest", "pressed"] | None = Field(description="null where this point does not show it")
    start_s: float
    end_s: float
    figures: dict[str, float | None] = Field(description="names end in the unit; rms, mean and duty over whole cycles")
    cycle_v: list[float] = Field(description="the average cycle of the mains")
    predicted_v: list[float] = Field(description="the predicted cycle, laid over it")
    comparison: CaptureComparison | None


class CaptureTold(Form):
    point: Point | None
    possible_points: list[Point] = Field(description="where such a picture is usual, likeliest first")
    channel: str
    channels: list[str]
    samples: int
    step_s: float
    length_s: float
    scaled: bool = Field(description="false: heights are shares of full scale, not volts")
    stretches: list[Stretch]
    trace: dict[str, list[float]]
    remarks: list[str]
    caution: str


class CaptureKept(CaptureTold):
    id: int
    kept: AwareDatetime
    name: str


class CaptureRow(Form):
    id: int
    kept: AwareDatetime
    name: str
    point: Point | None
    shapes: list[str]


class CaptureList(Form):
    captures: list[CaptureRow]


FILE_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": "The file as the instrument wrote it: text of columns (CSV) or WAV.",
        "content": {kind: {"schema": {"type": "string", "format": "binary"}} for kind in ("text/csv", "audio/wav")},
    }
}


def build(reader: Reader, captures: Captures) -> APIRouter:
    router = APIRouter(prefix="/api/v1/sites/{site}", tags=["captures"], responses=PROBLEMS)

    @router.post("/chimes/{chime}/captures", status_code=201, response_model=CaptureKept, openapi_extra=FILE_BODY)
    async def keep(
        request: Request,
        site: SiteName,
        chime: ChimeName,
        point: PointAsked = None,
        channel: Channel = "",
        step_s: Step = None,
        full_scale_v: FullScale = None,
        name: Name = "",
    ) -> dict[str, Any]:
        """Look at a file, and keep what it showed; the file itself is not kept."""
        handed = Handed(await _body(request), name, point or "", channel, step_s, full_scale_v)
        return _told(await asyncio.to_thread(captures.keep, site, chime, handed))

    @router.get("/chimes/{chime}/captures", response_model=CaptureList)
    def list_captures(site: SiteName, chime: ChimeName, limit: Limit = 20) -> dict[str, Any]:
        """Newest first."""
        reader.chime(site, chime)
        return {"captures": [_row(one) for one in reader.captures(site, chime, limit)]}

    @router.get("/captures/{number}", response_model=CaptureKept)
    def capture(site: SiteName, number: int) -> dict[str, Any]:
        """What one file showed."""
        return _told(reader.capture(site, number))

    @router.delete("/captures/{number}", status_code=204, response_class=Response)
    def remove(site: SiteName, number: int) -> Response:
        """Keep it no longer."""
        captures.remove(site, number)
        return Response(status_code=204)

    return router


def _told(one: KeptCapture) -> dict[str, Any]:
    return {**one.answer, "id": one.id, "kept": rfc3339(one.kept_s), "name": one.name}


def _row(one: KeptCapture) -> Mapping[str, Any]:
    return {
        "id": one.id,
        "kept": rfc3339(one.kept_s),
        "name": one.name,
        "point": one.answer["point"],
        "shapes": [part["shape"] for part in one.answer["stretches"]],
    }


async def _body(request: Request) -> bytes:
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > SIZE_LIMIT:
            raise TooLarge(f"A capture has at most {SIZE_LIMIT} bytes.")
    return bytes(body)
