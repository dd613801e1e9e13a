"""The shapes of the JSON API about examinations, for checking and for OpenAPI. Filled by service/telling.py."""

from typing import Annotated, Any, Literal

from fastapi import Body, Query
from pydantic import AwareDatetime, Field

from adapters.api_forms import Form

SHEET = {
    "mains_hz": 50,
    "transformer_v": 12,
    "transformer_va": 8,
    "wire_loop_m": 30,
    "wire": "0.5 mm2",
    "reservoir_f": 0.00047,
    "reservoir_rated_v": 35,
    "idle_a": 0.006,
    "sound_a": 0.12,
    "test_a": 0.05,
    "regulator": "linear",
    "regulator_v": 5,
    "dropout_v": 6.5,
    "doors": {"front": {"diode": True}, "garden": {"diode": True}},
}

CHANGES = [{"at": "2026-11-24T03:31:40.000000Z", "before": None, "after": "raised", "why": "found"}]


class EvidenceLine(Form):
    quantity: str = Field(description="what was measured, with its unit", examples=["reservoir_f"])
    value: float = Field(examples=[3.1e-4])
    low: float | None = Field(description="of the 90 % interval", examples=[3.0e-4])
    high: float | None = Field(examples=[3.2e-4])
    expected: float | None = Field(
        description="at commissioning, or by the fit-out sheet; null where neither says", examples=[4.7e-4]
    )


State = Literal["raised", "confirmed", "cleared"]


class Change(Form):
    at: AwareDatetime
    before: State | None
    after: State
    why: str


class Finding(Form):
    id: int = Field(examples=[7])
    site: str = Field(examples=["tern-cottage"])
    chime: str = Field(examples=["hall"])
    name: str = Field(examples=["reservoir-aged"])
    title: str = Field(examples=["The reservoir capacitor has lost capacity."])
    door: str | None = Field(description="null: of the chime or its supply", examples=[None])
    state: State = Field(description="raised by one examination, confirmed by another, cleared")
    likelihood: float = Field(ge=0, le=1, examples=[0.97])
    also_possible: list[str] = Field(description="what cannot be told apart from it from afar", examples=[[]])
    since: AwareDatetime | None = Field(description="the earliest evidence for it")
    evidence: list[EvidenceLine]
    on_site: str = Field(description="what to check where the chime hangs, the least effort first")
    caution: str
    raised: AwareDatetime
    last_found: AwareDatetime
    cleared: AwareDatetime | None
    changes: list[Change] = Field(description="oldest first", examples=[CHANGES])


class Examination(Form):
    site: str = Field(examples=["tern-cottage"])
    chime: str = Field(examples=["hall"])
    examined: AwareDatetime
    testimony_until: AwareDatetime | None = Field(description="when the newest it rested on was put together")
    survey: AwareDatetime | None = Field(description="the newest survey it rested on")
    missing: list[str] = Field(description="what could not be given, and why")
    trouble: str | None = Field(description="why it failed; then nothing was concluded from it")


class Findings(Form):
    findings: list[Finding] = Field(description="most likely first, cleared ones last")
    examinations: list[Examination] = Field(description="the last one of each chime; empty: nothing was examined yet")


class Quantity(Form):
    value: float = Field(examples=[3.1e-4])
    low: float = Field(description="of the 90 % interval", examples=[3.0e-4])
    high: float = Field(examples=[3.2e-4])
    at: AwareDatetime = Field(description="of the survey that measured it")


class Quantities(Form):
    quantities: dict[str, Quantity] = Field(description="the newest of each, by name with unit")
    history: list[Quantity] = Field(description="of the one named in the question, one for each survey; oldest first")


class Slope(Form):
    """With its 90 % interval; below zero it falls."""

    value: float = Field(examples=[-0.041])
    low: float = Field(examples=[-0.052])
    high: float = Field(examples=[-0.03])


class Limit(Form):
    value: float = Field(examples=[8.8e-4])
    side: Literal["above", "below"] = Field(description="on which the quantity must stay", examples=["above"])
    reason: str = Field(examples=["88 % of what it was when it was commissioned"])


class Meeting(Form):
    at: AwareDatetime = Field(examples=["2029-08-14T06:00:00Z"])
    earliest: AwareDatetime | None = Field(description="of the 90 % interval", examples=["2029-05-02T11:00:00Z"])
    latest: AwareDatetime | None = Field(
        description="null: perhaps beyond ten years", examples=["2029-11-23T02:00:00Z"]
    )


class Outlook(Form):
    quantity: str = Field(examples=["reservoir_f"])
    readings: int = Field(description="one a day at the most, since its last change at once", examples=[120])
    span_s: int = Field(description="from the first of them to the last", examples=[10281600])
    value: float = Field(description="its level now", examples=[9.7e-4])
    drifts: bool = Field(description="whether its slope is surely not zero")
    per_year: Slope | None = Field(
        description="in the unit of the quantity", examples=[{"value": -4.1e-5, "low": -5.2e-5, "high": -3e-5}]
    )
    share_per_year: Slope | None = Field(
        description="of its value at commissioning, or when the readings begin; null for what is itself a difference"
    )
    limit: Limit | None = Field(
        description="the one it drifts towards, or the first; null: there is none to compare with"
    )
    passed: bool = Field(description="it is beyond its limit already", examples=[False])
    meets: Meeting | None = Field(description="when it meets its limit; null where that cannot be said")
    why: str | None = Field(description="why it cannot be said, or no slope told", examples=[None])
    changed: AwareDatetime | None = Field(
        description="when it last changed at once; nothing before counts", examples=[None]
    )
    changed_from: float | None = Field(description="its level before that", examples=[None])


class Outlooks(Form):
    outlook: list[Outlook] = Field(description="of each quantity that surveys since commissioning measured")


class CommissioningRecord(Form):
    taken: AwareDatetime
    by: str | None = Field(description="null: the packs were marked so when they arrived", examples=["Ann"])
    start: AwareDatetime
    end: AwareDatetime
    packs: int = Field(examples=[9])


class Commissioning(Form):
    commissioning: CommissioningRecord | None = Field(description="the one that counts")
    earlier: list[CommissioningRecord] = Field(description="newest first")


class Stretch(Form):
    """The stretch whose testimony becomes the commissioning record; without it, the newest survey and what came with it."""

    start: AwareDatetime = Field(examples=["2026-09-14T10:00:00Z"])
    end: AwareDatetime = Field(examples=["2026-09-14T10:20:00Z"])


class CommissioningWish(Form):
    stretch: Stretch | None = None
    by: str = Field(default="", description="who takes it", max_length=60, examples=["Ann"])


class KeptSheet(Form):
    kept: AwareDatetime
    by: str | None = Field(examples=["Ann"])
    sheet: dict[str, Any] = Field(examples=[SHEET])


class FitOut(Form):
    fitout: KeptSheet | None = Field(description="the one that counts")
    unknown: list[str] = Field(
        description="its fields that the contract does not know, perhaps mistyped", examples=[[]]
    )
    earlier: list[KeptSheet] = Field(description="newest first")


Sheet = Annotated[
    dict[str, Any], Body(description="a fit-out sheet of the contract; any field may be absent", examples=[SHEET])
]
By = Annotated[str, Query(description="who hands it in", max_length=60, examples=["Ann"])]
States = Annotated[
    list[State],
    Query(alias="state", description="findings in these states; absent: the open ones, raised and confirmed"),
]
QuantityName = Annotated[
    str | None, Query(description="also answer the history of this one", max_length=60, examples=["reservoir_f"])
]
