"""The part of the JSON API that checks a fit-out sheet: nothing is kept, nothing measured is used. The drawing is handed in."""

import asyncio
from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import Field

from adapters import api_forms as forms
from adapters.api_forms import Form
from adapters.problems import TooLarge
from service.errors import Refused, SettingError
from service.supply.fitout import BOUNDS, CHOICES, MEANING, read_fitout

if TYPE_CHECKING:  # the model of the circuit is loaded when somebody asks: two megabytes that few need
    from service.supply.fitout_rules import Check

SIZE_LIMIT = 65_536

Plot = Callable[["Check", "Check | None"], str]

EXAMPLE_SHEET = {
    "mains_hz": 50,
    "transformer_v": 12,
    "transformer_va": 10,
    "wire": "AWG 20",
    "wire_loop_m": 30,
    "reservoir_f": 1e-3,
    "reservoir_rated_v": 35,
    "idle_a": 0.008,
    "sound_a": 0.15,
    "regulator": "linear",
    "regulator_v": 5,
    "dropout_v": 7,
    "detector_ohm": 2200,
    "detector_on_a": 0.0012,
    "detector_diode": True,
    "doors": {"front": {"diode": True}, "garden": {"diode": False}},
}


class Span(Form):
    """With the typical transformer, and the range from a stiff to a soft one."""

    value: float | None
    low: float | None
    high: float | None


class Remark(Form):
    field: str = Field(description="of the sheet", examples=["reservoir_rated_v"])
    severity: Literal["wrong", "doubtful", "note"]
    text: str
    values: dict[str, float | None] = Field(description="the figures it rests on, names end in the unit")
    rule: str
    source: str


class Assumption(Form):
    field: str = Field(description="that the sheet leaves out", examples=["transformer_va"])
    cost: str


class Condition(Form):
    """The rail in one state, at one level and frequency of the mains."""

    mains: Literal["low", "nominal", "high"] = Field(description="10 % low, nominal, 10 % high")
    mains_hz: float
    state: Literal["idle", "test", "sounding", "pressed"]
    rail_max_v: Span
    rail_min_v: Span
    rail_mean_v: Span
    ripple_v: Span
    headroom_v: Span | None
    load_a: Span
    secondary_a: Span = Field(description="rms")
    peak_a: Span
    reverse_v: Span = Field(description="across both diodes in series, or across the board's alone while pressed")
    carried: bool


class Circuit(Form):
    mains_hz: list[float]
    open_circuit_v: Span = Field(description="rms")
    source_ohm: Span
    wire_ohm: float
    regulator: Literal["linear", "switching"]
    dropout_v: float | None
    loads_a: dict[str, float]
    standing: bool = Field(description="whether a supply stands while nobody presses")


class Detector(Form):
    """At nominal mains, while a button is held."""

    threshold_v: Span
    window_s: Span
    led_peak_a: Span
    led_mean_a: Span
    resistor_w: Span


class Figure(Form):
    name: str
    words: str
    unit: str
    value: float | None


class ChangedFigure(Form):
    name: str
    words: str
    unit: str
    before: float | None
    after: float | None


class WhatIf(Form):
    changes: list[str]
    fitted_before: bool | None
    figures: list[ChangedFigure]
    remarks_gone: list[Remark]
    remarks_new: list[Remark]


class FitOutCheck(Form):
    fits: bool | None = Field(description="false where something is wrong; null where too little is known to say")
    remarks: list[Remark] = Field(description="worst first")
    assumptions: list[Assumption]
    circuit: Circuit | None
    conditions: list[Condition]
    largest_load_a: Span | None = Field(description="that the standing supply carries, at low mains")
    largest_load_nominal_a: Span | None
    hold_up_s: dict[str, Span]
    shortest_sure_press_s: Span | None
    detector: Detector | None
    figures: list[Figure]
    what_if: WhatIf | None
    caution: str


WIRE_PATTERN = r"^(AWG (\d|[12]\d|30)|(\d|[12]\d|30) AWG|([1-9]\d?(\.\d{1,3})?|0\.[2-9]\d{0,2}) mm2?)$"


def _field(name: str) -> dict[str, Any]:
    described: dict[str, Any] = {"description": MEANING[name]}
    if name in BOUNDS:
        low, high, unit = BOUNDS[name]
        return described | {
            "type": "number",
            "minimum": low,
            "maximum": high,
            "description": f"{MEANING[name]} [{unit}]",
        }
    if name in CHOICES:
        return described | {"type": "string", "enum": list(CHOICES[name])}
    if name == "detector_diode":
        return described | {"type": "boolean"}
    if name == "wire":
        return described | {"type": "string", "pattern": WIRE_PATTERN}
    door = {"type": "object", "properties": {"diode": {"type": "boolean"}}, "additionalProperties": False}
    return described | {
        "type": "object",
        "propertyNames": {"pattern": "^[a-z0-9]{1,16}$"},
        "additionalProperties": door,
    }


SHEET_SCHEMA = {
    "type": "object",
    "properties": {name: _field(name) for name in MEANING},
    "not": {"required": ["test_a", "test_ohm"]},
}

SHEET_BODY = {
    "requestBody": {
        "required": True,
        "description": "A fit-out sheet. Every field may be absent; what its absence costs is said.",
        "content": {"application/json": {"schema": SHEET_SCHEMA, "example": EXAMPLE_SHEET}},
    }
}

Changes = Annotated[
    list[str],
    Query(
        alias="set",
        description="what if this field were so; may be given again",
        examples=[["reservoir_f=1e-3"]],
        max_length=40,
    ),
]


def build(plot: Plot) -> APIRouter:
    """The router. `plot` draws a check, and the sheet before a change beside it, as a whole SVG file."""
    router = APIRouter(prefix="/api/v1", responses=forms.PROBLEMS, tags=["fit-out"])

    @router.post("/fitout", response_model=FitOutCheck, openapi_extra=SHEET_BODY)
    async def fitout(request: Request, changes: Changes = []) -> dict[str, Any]:  # noqa: B006 - FastAPI copies it
        """Predict the rail from a fit-out sheet, with warnings. Nothing is kept."""
        found, before = await _checked(await _body(request), changes)
        from service.supply.fitout_told import told

        return told(found, before, changes)

    @router.post(
        "/fitout/plot",
        response_class=Response,
        responses={200: {"content": {"image/svg+xml": {}}, "description": "a drawing that carries its own inks, light and dark"}},
        openapi_extra=SHEET_BODY,
    )  # fmt: skip
    async def fitout_plot(request: Request, changes: Changes = []) -> Response:  # noqa: B006 - FastAPI copies it
        """Draw the predicted rail."""
        found, before = await _checked(await _body(request), changes)
        return Response(plot(found, before), media_type="image/svg+xml")

    return router


async def _checked(body: bytes, changes: list[str]) -> "tuple[Check, Check | None]":
    return await asyncio.to_thread(_check, body, changes)


def _check(body: bytes, changes: list[str]) -> "tuple[Check, Check | None]":
    from service.supply.fitout_rules import check

    try:
        before = check(read_fitout(body)) if changes else None
        return check(read_fitout(body, changes)), before
    except SettingError as error:
        raise Refused(str(error)) from None


async def _body(request: Request) -> bytes:
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > SIZE_LIMIT:
            raise TooLarge(f"A fit-out sheet has at most {SIZE_LIMIT} bytes.")
    return bytes(body)
