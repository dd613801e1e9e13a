"""The part of the JSON API that examines a recording: nothing of it enters the record, and nothing leaves this machine.

A recording comes as the body, or as a part of a form beside a fit-out sheet. What examines it is handed in.
"""

import asyncio
from collections.abc import AsyncGenerator, Callable, Iterable
from io import BytesIO, TextIOWrapper
from typing import Any

from fastapi import APIRouter, Request
from pydantic import AwareDatetime, Field
from starlette.datastructures import UploadFile
from starlette.formparsers import MultiPartException, MultiPartParser

from adapters import api_forms as forms
from adapters.api_forms import Form
from adapters.finding_forms import SHEET, EvidenceLine
from adapters.problems import NotUnderstood, TooLarge
from service.errors import BadPack, Refused

SIZE_LIMIT = 16 * 1024 * 1024
"""Of the whole body [bytes]; a survey has some 25 kB."""

SHEET_LIMIT = 65_536

FORM = "multipart/form-data"

Examine = Callable[[Iterable[str], str | None], dict[str, Any]]
"""(lines of a recording, a fit-out sheet as JSON) -> the answer of the contract. Raises BadPack, SettingError."""

EXAMPLE_RECORDING = (
    '{"at": 1789380000.1, "topic": "bellcrank/1/tern-cottage/hall/pack", "pack": [{"n": "boot", "v": 7}, {"n": "seq", "v": 0},'
    ' {"n": "up", "u": "s", "v": 12.5}, {"n": "front.press", "vb": true}]}\n'
    '{"at": 1789380000.4, "topic": "bellcrank/1/tern-cottage/hall/pack", "pack": [{"n": "boot", "v": 7}, {"n": "seq", "v": 1},'
    ' {"n": "up", "u": "s", "v": 12.8}, {"n": "front.press", "vb": false}]}\n'
)

BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "description": f"JSON Lines, one pack a line as the contract has it; at most {SIZE_LIMIT >> 20} MiB.",
        "content": {
            "application/jsonl": {
                "schema": {"type": "string", "contentMediaType": "application/jsonl"},
                "example": EXAMPLE_RECORDING,
            },
            FORM: {
                "schema": {
                    "type": "object",
                    "required": ["recording"],
                    "properties": {
                        "recording": {"type": "string", "contentMediaType": "application/jsonl"},
                        "fitout": {
                            "type": "string",
                            "contentMediaType": "application/json",
                            "description": "a fit-out sheet",
                            "examples": [SHEET],
                        },
                    },
                }
            },
        },
    }
}


class JudgedFinding(Form):
    name: str = Field(examples=["reservoir-aged"])
    title: str = Field(examples=["The reservoir capacitor has lost capacity."])
    door: str | None = Field(description="null: of the chime or its supply", examples=[None])
    likelihood: float = Field(ge=0, le=1, examples=[0.97])
    also_possible: list[str] = Field(description="what cannot be told apart from it from afar", examples=[[]])
    since: AwareDatetime | None = Field(description="the earliest evidence for it")
    evidence: list[EvidenceLine]
    on_site: str = Field(description="what to check where the chime hangs, the least effort first")
    caution: str


class Measured(Form):
    value: float = Field(examples=[3.1e-4])
    low: float = Field(description="of the 90 % interval", examples=[3.0e-4])
    high: float = Field(examples=[3.2e-4])


class RecordedPress(Form):
    door: str = Field(examples=["front"])
    start: AwareDatetime
    end: AwareDatetime | None
    pulses: int | None = Field(examples=[14])
    drop_outs: int
    bounce: bool


class Stretch(Form):
    start: AwareDatetime
    end: AwareDatetime | None
    why: str = Field(examples=["chime without power"])


class SetAside(Form):
    topic: str
    reason: str


class Packs(Form):
    read: int
    set_aside: list[SetAside] = Field(description="what was not understood, with the reason")


class ExaminationAnswer(Form):
    findings: list[JudgedFinding] = Field(description="most likely first; empty where nothing is wrong")
    quantities: dict[str, Measured] = Field(description="in SI units, by name with unit")
    presses: list[RecordedPress]
    unseen: list[Stretch] = Field(description="signs of presses that the record does not have")
    blind: list[Stretch] = Field(description="stretches in which a press could not have been recorded")
    looked_for: list[str] = Field(description="the members of this answer that were looked for")
    missing: list[str] = Field(description="what could not be told, and why")
    packs: Packs
    outlook: list[dict[str, Any]] = Field(
        default=[], description="where quantities drift; only where a chime was surveyed over three weeks"
    )


PROBLEMS = forms.PROBLEMS | {413: forms.problem_told("too many bytes")}


def build(examine: Examine) -> APIRouter:
    """The router. One recording is examined at a time, in a thread: the service goes on meanwhile."""
    router = APIRouter(prefix="/api/v1", responses=PROBLEMS, tags=["findings"])
    one_at_a_time = asyncio.Semaphore(1)

    def examined(recording: bytes, sheet: bytes | None) -> dict[str, Any]:
        lines = TextIOWrapper(BytesIO(recording), encoding="utf-8", errors="surrogateescape")
        try:
            return examine(lines, None if sheet is None else sheet.decode("utf-8", "replace"))
        except BadPack as error:
            raise NotUnderstood(str(error)) from None

    @router.post(
        "/examinations", response_model=ExaminationAnswer, response_model_exclude_unset=True, openapi_extra=BODY
    )
    async def examinations(request: Request) -> dict[str, Any]:
        """Examine a recording, as `bellcrank examine` does. Nothing of it is kept."""
        recording, sheet = await _parts(request)
        async with one_at_a_time:
            return await asyncio.to_thread(examined, recording, sheet)

    return router


async def _parts(request: Request) -> tuple[bytes, bytes | None]:
    """The recording, and the fit-out sheet where one is given."""
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != FORM:
        return b"".join([chunk async for chunk in _limited(request)]), None
    parser = MultiPartParser(request.headers, _limited(request), max_files=2, max_fields=2, max_part_size=SIZE_LIMIT)
    parser.spool_max_size = SIZE_LIMIT  # in memory, never in a file
    try:
        given = await parser.parse()
    except MultiPartException as error:
        raise Refused(f"The form cannot be read: {error.message}") from None
    try:
        unknown = sorted(set(given) - {"recording", "fitout"})
        if unknown or "recording" not in given:
            raise Refused(f"A form has a part named recording and may have one named fitout, not {unknown or 'none'}.")
        recording, sheet = await _bytes(given["recording"]), None
        if "fitout" in given:
            sheet = await _bytes(given["fitout"])
            if len(sheet) > SHEET_LIMIT:
                raise TooLarge(f"A fit-out sheet has at most {SHEET_LIMIT} bytes.")
        return recording, sheet
    finally:
        await given.close()


async def _bytes(part: UploadFile | str) -> bytes:
    return part.encode() if isinstance(part, str) else await part.read()


async def _limited(request: Request) -> AsyncGenerator[bytes, None]:
    """The body, as long as it is not too long."""
    size = 0
    async for chunk in request.stream():
        size += len(chunk)
        if size > SIZE_LIMIT:
            raise TooLarge(f"A recording has at most {SIZE_LIMIT} bytes.")
        yield chunk
