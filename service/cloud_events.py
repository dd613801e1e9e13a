"""Events as CloudEvents 1.0.2, the form in which they leave: JSON-ready dicts. Knows no way out.

A type is `org.bellcrank.<what>.v1`; the reverse domain names this project and promises no web site. A source is the path of a
chime, `/sites/<site>/chimes/<chime>`; together with the id an event is unique.
"""

import secrets
from typing import Any

from service.model import Event
from service.telling import rfc3339

SPECIFICATION = "1.0"
DOMAIN = "org.bellcrank"
CONTENT_TYPE = "application/cloudevents+json"
"""Of structured JSON (CloudEvents JSON Event Format 1.0.2, section 3)."""

WHAT = {
    "press": "press",
    "visit": "visit",
    "unseen": "unseen",
    "blind": "coverage",
    "finding": "finding",
    "alarm": "alarm",
    "test": "test",
}
"""Kind of event -> the word in its type."""


def new_id(event_id: int) -> str:
    """Unique over all records, also one that was begun anew: an event keeps it wherever and however often it is sent.

    >>> len(new_id(3205))
    21
    """
    return f"{event_id}-{secrets.token_hex(8)}"


def cloud_event(event: Event, unique_id: str) -> dict[str, Any]:
    """The envelope around an event.

    >>> told = cloud_event(Event(1, 0.0, "press", "tern-cottage", "hall", {"door": "front"}), "1-a")
    >>> told["type"], told["source"], told["subject"], told["time"]
    ('org.bellcrank.press.v1', '/sites/tern-cottage/chimes/hall', 'doors/front', '1970-01-01T00:00:00.000000Z')
    """
    door = event.data.get("door")
    subject = {"subject": f"doors/{door}"} if door else {}
    return {
        "specversion": SPECIFICATION,
        "id": unique_id,
        "source": f"/sites/{event.site}/chimes/{event.chime}",
        "type": f"{DOMAIN}.{WHAT[event.kind]}.v1",
        **subject,
        "time": rfc3339(event.at_s),
        "datacontenttype": "application/json",
        "data": event.data,
    }


def place_of(told: dict[str, Any]) -> tuple[str, str]:
    """Site and chime of an event that was told.

    >>> place_of({"source": "/sites/tern-cottage/chimes/hall"})
    ('tern-cottage', 'hall')
    """
    _, _, site, _, chime = told["source"].split("/")
    return site, chime


def what_of(told: dict[str, Any]) -> str:
    """The word in the type of an event that was told.

    >>> what_of({"type": "org.bellcrank.press.v1"})
    'press'
    """
    return str(told["type"]).split(".")[-2]
