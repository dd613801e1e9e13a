"""JSON Schemas (2020-12) of what Bellcrank tells: the data of each event, the envelope around it, and the present state of a chime.

Made from the forms of the API, so that both say the same. Loaded where somebody asks. Knows no record.
"""

from functools import cache
from typing import Any, Literal

from pydantic import AwareDatetime, BaseModel, Field
from pydantic.json_schema import models_json_schema

from adapters.api_forms import Form, Press, Visit
from adapters.finding_forms import Finding
from adapters.log_forms import BlindSpell, Unseen
from service.alarms import life
from service.alarms.rules import Priority
from service.cloud_events import DOMAIN, SPECIFICATION, WHAT

DIALECT = "https://json-schema.org/draft/2020-12/schema"


class Coverage(BlindSpell):
    filled: bool = Field(default=False, description="what was missing has come, so that nothing is blind any more")


class AlarmTurn(Form):
    """A transition of an alarm, with what a person is told and should do."""

    rule: str = Field(examples=["chime-silent"])
    door: str | None = Field(default=None, examples=["front"])
    state: life.State
    before: life.State
    event: life.Event
    told: Literal["annunciated", "stated"] = Field(description="annunciated: people are called")
    since: AwareDatetime
    who: str = Field(description="a person; rule, time or suppression where it was none", examples=["rule"])
    why: str
    until: AwareDatetime | None = Field(description="when shelving ends")
    priority: Priority
    cause: str
    consequence: str
    action: str


class TestNotice(Form):
    told: str = Field(examples=["This is a test."])


class PresentDoor(Form):
    name: str
    pressed: AwareDatetime | None
    released: AwareDatetime | None


class PresentFinding(Form):
    name: str
    door: str | None
    state: Literal["raised", "confirmed"]


class Present(Form):
    """Retained on `now`."""

    at: AwareDatetime | None = None
    alive: bool | None = Field(description="what the presence topic last said; null: it was never used")
    heard: AwareDatetime
    doors: dict[str, PresentDoor]
    blind: str | None = Field(description="why presses cannot be recorded now")
    findings: list[PresentFinding]


DATA: dict[str, type[BaseModel]] = {
    "press": Press,
    "visit": Visit,
    "unseen": Unseen,
    "blind": Coverage,
    "finding": Finding,
    "alarm": AlarmTurn,
    "test": TestNotice,
}
"""Kind of event -> its data."""


@cache
def schemas() -> dict[str, dict[str, Any]]:
    """By name, each whole in itself: `press` and the other kinds, and `now`."""
    models: dict[str, type[BaseModel]] = {**DATA, "now": Present}
    return {
        name: {"$schema": DIALECT, **model.model_json_schema(mode="serialization")} for name, model in models.items()
    }


def definitions(template: str) -> dict[str, Any]:
    """All of them with what they share, for a document that keeps its schemas under `template`."""
    models = [(model, "serialization") for model in (*DATA.values(), Present)]
    return dict(models_json_schema(models, ref_template=template)[1]["$defs"])  # type: ignore[arg-type]


def envelope(kind: str, reference: str) -> dict[str, Any]:
    """The CloudEvent around the data of this kind."""
    return {
        "type": "object",
        "required": ["specversion", "id", "source", "type", "time", "data"],
        "properties": {
            "specversion": {"type": "string", "const": SPECIFICATION},
            "id": {"type": "string", "description": "the same however often it is sent"},
            "source": {"type": "string", "examples": ["/sites/tern-cottage/chimes/hall"]},
            "type": {"type": "string", "const": f"{DOMAIN}.{WHAT[kind]}.v1"},
            "subject": {"type": "string", "examples": ["doors/front"]},
            "time": {"type": "string", "format": "date-time"},
            "datacontenttype": {"type": "string", "const": "application/json"},
            "data": {"$ref": reference},
        },
    }
