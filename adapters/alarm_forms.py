"""The forms in which the API tells of alarms and rules, and is told. What they are filled with comes from `alarm_api.py`."""

from typing import Annotated, Any, Literal

from fastapi import Body, Path, Query
from pydantic import AwareDatetime, Field

from adapters.api_forms import Form

RuleId = Annotated[str, Path(pattern="^[a-z0-9][a-z0-9-]{0,59}$", examples=["held-front"])]
Days = Annotated[float, Query(ge=1.0, le=400.0, description="how far to look back [d]")]

RULE_EXAMPLE = {
    "id": "late-callers",
    "watch": {"kind": "quiet-hours", "begins": "22:30", "ends": "06:00", "door": "front"},
    "cause": "Somebody rang at the front door at night.",
    "consequence": "Sleepers may have been woken.",
    "action": "Look who it was.",
    "priority": "low",
}

RuleWish = Annotated[
    dict[str, Any],
    Body(
        description="one JSON object: id, watch, cause, consequence, action, priority, delays (DEVELOPERS.md, “Alarms”)",
        openapi_examples={"at night": {"value": RULE_EXAMPLE}},
    ),
]


class Transition(Form):
    chime: str
    rule: str
    at: AwareDatetime
    before: str
    after: str = Field(examples=["unacknowledged"])
    event: str = Field(description="what happened", examples=["the condition has come"])
    told: str = Field(description="annunciated: people were called; stated: those who watch", examples=["annunciated"])
    who: str
    why: str
    until: AwareDatetime | None = Field(description="when shelving ends")


class Transitions(Form):
    transitions: list[Transition]


class Alarm(Form):
    """A rule with how its alarm stands."""

    rule: dict[str, Any]
    ready: bool = Field(description="it belongs to the ready set")
    changed_by: str | None = Field(description="who changed it; null: nobody")
    off: str | None = Field(description="why it is switched off; null: it is on")
    state: str | None = Field(description="null until it has been looked at", examples=["normal"])
    active: bool = Field(description="the condition is present, whether or not anybody is told")
    suppressed: bool
    since: AwareDatetime | None
    annunciated: AwareDatetime | None = Field(description="when people were called last")
    shelved_until: AwareDatetime | None


class Alarms(Form):
    alarms: list[Alarm]


class AskWish(Form):
    """What a person asks of an alarm. Shelving needs a reason and an end, taking out of service a reason."""

    what: Literal["acknowledge", "reset", "shelve", "unshelve", "take out of service", "put back into service"]
    who: str = Field(default="", max_length=80, examples=["Ann"])
    why: str = Field(default="", max_length=300)
    until: AwareDatetime | None = None


class SwitchWish(Form):
    on: bool
    why: str = Field(default="", max_length=300)


class Spoken(Form):
    rule: str
    at: AwareDatetime
    event: str
    why: str
    gone: AwareDatetime | None


class Trial(Form):
    sentence: str = Field(examples=["In these 30 days this would have spoken 3 times."])
    known_days: float
    withheld: int = Field(description="how much more often it would have spoken, were it not for what suppresses it")
    spoken: list[Spoken]


class Performance(Form):
    """Beside the published figures (ISA-18.2, IEC 62682); no verdict under thirty days."""

    start: AwareDatetime
    end: AwareDatetime
    enough: bool
    annunciated: int
    per_day: float
    figures: list[dict[str, Any]]
    floods: list[dict[str, Any]]
    chattering: dict[str, int]
    fleeting: dict[str, int]
    stale: list[str]
    mix: dict[str, float]
    top: list[dict[str, Any]]
    worst: dict[str, str] | None
    proposals: list[dict[str, Any]] = Field(description="what would mend the worst rule, found in its own history")
