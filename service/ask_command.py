"""A request to a chime from a terminal: sent through the service, waited for, and told in a sentence. Knows no HTTP."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, Protocol
from urllib.parse import quote
from zoneinfo import ZoneInfo

from service.asks import ANSWER_WITHIN_S, What
from service.errors import BadTopic, SettingError
from service.model import Address
from service.topics import build

WORDS: dict[str, What] = {"survey": "bursts", "sound": "sound", "hush": "hush"}
"""What a person says, and what the contract calls it."""

LOOK_EVERY_S = 1.0
GRACE_S = 30.0
"""The service itself says when a chime has not answered; that it does not even say so is told after this much longer (chosen) [s]."""

WELL = ("answered", "sent")


class Service(Protocol):
    """`adapters.service_client.ServiceClient`."""

    def get(self, path: str) -> Any: ...
    def post(self, path: str, body: dict[str, Any]) -> Any: ...


def ask(
    service: Service,
    place: str,
    word: str,
    by: str,
    why: str,
    until_s: float | None,
    clock: Callable[[], float],
    sleep: Callable[[float], object],
    waits: bool = True,
) -> dict[str, Any]:
    """The request as the service tells of it, once it has ended. `place`: SITE/CHIME; `word`: of `WORDS`; not `waits`: as it stands now.

    Raises SettingError for a place or a hush that cannot be, NotFound, Refused, StoreUnavailable.
    """
    site, _, chime = place.partition("/")
    try:
        build(Address(site, chime, "pack"))
    except BadTopic:
        raise SettingError(f"{place!r} is no chime; write SITE/CHIME, such as tern-cottage/hall.") from None
    if (until_s is not None) != (word == "hush"):
        raise SettingError("A hush has an end: give --until or --for." if word == "hush" else "Only a hush has an end.")
    path = f"/sites/{quote(site)}/chimes/{quote(chime)}/asks"
    wish: dict[str, Any] = {"what": WORDS[word], "by": by, "why": why}
    if until_s is not None:
        wish["until"] = datetime.fromtimestamp(until_s, UTC).isoformat()
    told: dict[str, Any] = service.post(path, wish)
    end_s = clock() + ANSWER_WITHIN_S.get(WORDS[word], 0.0) + GRACE_S
    while waits and told["state"] == "waiting" and clock() < end_s:
        sleep(LOOK_EVERY_S)
        asks = service.get(f"{path}?limit=100")["asks"]
        told = next((one for one in asks if one["id"] == told["id"]), told)
    return told


def sentence(told: dict[str, Any], zone: ZoneInfo) -> str:
    """For a person; times in this zone."""
    if told["state"] == "waiting":
        return "The chime has been asked; it is not known yet whether it answers."
    if told["what"] == "hush" and told["state"] == "sent":
        until = datetime.fromisoformat(told["until"]).astimezone(zone)
        return f"{told['told']} It is to be quiet until {until:%a %d %b %Y, %H:%M:%S}."
    return str(told["told"])


def is_well(told: dict[str, Any], waits: bool = True) -> bool:
    """Whether what was asked for came; where nobody waits, whether it was sent."""
    return told["state"] in WELL or (not waits and told["state"] == "waiting")
