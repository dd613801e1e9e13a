"""The W3C Thing Description 1.1 of a chime: what can be read of it, what it tells, and where.

Over HTTP, server-sent events and MQTT. Nothing can be asked of a chime there yet. Knows no record.
"""

from typing import Any

from adapters.descriptions.events import schemas
from service.cloud_events import CONTENT_TYPE
from service.model import Chime, Door
from service.topics import VERSION

CONTEXT = ["https://www.w3.org/2019/wot/td/v1", "https://www.w3.org/2022/wot/td/v1.1"]
"""Of both versions, the older first, so that those who know only that one can read it too (Thing Description 1.1, section 5.3.1.1)."""


def description(chime: Chime, doors: list[Door], base: str, broker_url: str, prefix: str) -> dict[str, Any]:
    """JSON-ready. `base`: of this service, such as http://localhost:7433."""
    place = f"/api/v1/sites/{chime.site}/chimes/{chime.chime}"
    topics = f"{broker_url}/{prefix}/{VERSION}/{chime.site}/{chime.chime}"

    def read(path: str) -> list[dict[str, Any]]:
        return [{"href": base + path, "op": "readproperty", "contentType": "application/json"}]

    def heard(kind: str) -> dict[str, Any]:
        data = {name: value for name, value in schemas()[kind].items() if name not in ("$schema", "$defs")}
        return {
            "title": kind.capitalize(),
            "data": {"type": "object", "title": data.get("title", kind)},
            "forms": [
                {
                    "href": f"{base}/api/v1/stream?site={chime.site}",
                    "op": "subscribeevent",
                    "subprotocol": "sse",
                    "contentType": "text/event-stream",
                },
                {"href": f"{topics}/event", "op": "subscribeevent", "contentType": CONTENT_TYPE},
            ],
        }

    return {
        "@context": CONTEXT,
        "id": f"urn:bellcrank:{chime.site}:{chime.chime}",
        "title": f"Chime {chime.chime} of {chime.site}",
        "description": f"Doors: {', '.join(door.door for door in doors) or 'none heard of yet'}.",
        "securityDefinitions": {"open": {"scheme": "nosec"}},
        "security": "open",
        "properties": {
            "chime": {
                "title": "Whether it is there, when it was heard, and what it sends",
                "type": "object",
                "readOnly": True,
                "forms": read(place),
            },
            "rail": {
                "title": "The rail as the chime last told it",
                "type": "object",
                "readOnly": True,
                "forms": read(place + "/supply"),
            },
            "present": {
                "title": "The present state",
                "type": "object",
                "readOnly": True,
                "observable": True,
                "forms": [{"href": f"{topics}/now", "op": "observeproperty", "contentType": "application/json"}],
            },
        },
        "events": {kind: heard(kind) for kind in ("press", "visit", "unseen", "blind", "finding", "alarm")},
    }
