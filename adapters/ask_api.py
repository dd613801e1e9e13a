"""The part of the JSON API about requests to a chime: bursts with its test load, one sound, or quiet for a while."""

from typing import Any, Literal

from fastapi import APIRouter
from pydantic import AwareDatetime, Field

from adapters.api_forms import PROBLEMS, ChimeName, Form, Limit, SiteName
from service.asking import Asking
from service.asks import Ask
from service.ports import Clock, Reader
from service.telling import rfc3339, rfc3339_or_none


class AskWish(Form):
    what: Literal["bursts", "sound", "hush"] = Field(description="bursts: a survey of its supply, with the test load")
    by: str = Field(default="", max_length=80, examples=["Ann"])
    why: str = Field(default="", max_length=300)
    until: AwareDatetime | None = Field(default=None, description="end of a hush, within a day")


class AskTold(Form):
    id: int
    what: Literal["bursts", "sound", "hush"]
    by: str = Field(description="a person, or the schedule")
    why: str
    asked: AwareDatetime
    until: AwareDatetime | None
    state: Literal["waiting", "answered", "sent", "unanswered", "not sent"]
    ended: AwareDatetime | None
    told: str


class Asks(Form):
    asks: list[AskTold]
    hour: int = Field(
        description="local hour at which this house's chimes are asked for a survey, if none came that day"
    )
    why_then: str


def build(reader: Reader, asking: Asking, clock: Clock) -> APIRouter:
    router = APIRouter(prefix="/api/v1/sites/{site}/chimes/{chime}/asks", tags=["requests"], responses=PROBLEMS)

    @router.get("", response_model=Asks)
    def asks(site: SiteName, chime: ChimeName, limit: Limit = 20) -> dict[str, Any]:
        """What the chime was asked, newest first, and when the schedule would ask."""
        reader.chime(site, chime)
        hour, why = asking.hour_of(site, clock())
        return {"asks": [_told(one) for one in reader.asks(site, chime, limit)], "hour": hour, "why_then": why}

    @router.post("", status_code=202, response_model=AskTold)
    def ask(site: SiteName, chime: ChimeName, wish: AskWish) -> dict[str, Any]:
        """Ask now. The answer is what the chime then sends; look again for how it ended."""
        until_s = wish.until.timestamp() if wish.until else None
        return _told(asking.ask(site, chime, wish.what, wish.by, wish.why, until_s))

    return router


def _told(one: Ask) -> dict[str, Any]:
    return {
        "id": one.id,
        "what": one.what,
        "by": one.by,
        "why": one.why,
        "asked": rfc3339(one.asked_s),
        "until": rfc3339_or_none(one.until_s),
        "state": one.state,
        "ended": rfc3339_or_none(one.ended_s),
        "told": one.told,
    }
