"""The W3C Thing Description 1.1 of a chime: what can be read of it, what it tells, what can be asked of it, and where.

Over HTTP, server-sent events and MQTT. Knows no record.
"""

from typing import Any

from adapters.api_forms import Form
from adapters.ask_api import Asks, AskTold, AskWish
from adapters.descriptions.events import schemas
from service.asks import LONGEST_HUSH_S, What
from service.cloud_events import CONTENT_TYPE
from service.model import Chime, Door
from service.topics import VERSION

CONTEXT = ["https://www.w3.org/2019/wot/td/v1", "https://www.w3.org/2022/wot/td/v1.1"]
"""Of both versions, the older first, so that those who know only that one can read it too (Thing Description 1.1, section 5.3.1.1)."""


ACTIONS: dict[str, tuple[What, str, str]] = {
    "survey": (
        "bursts",
        "A survey of the supply",
        "It takes some seconds, with the test load; the chime may rest before it answers.",
    ),
    "sound": ("sound", "One sound", "It sounds once, as when somebody presses."),
    "hush": (
        "hush",
        "Quiet until a time",
        f"Within {LONGEST_HUSH_S / 3600.0:.0f} hours. Presses are logged all the same.",
    ),
}
"""By name: what the contract calls it, a title, and what to know before."""


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
            "requests": {
                "title": "What it was asked, newest first, and what came of it",
                "readOnly": True,
                **_schema(Asks),
                "forms": read(place + "/asks"),
            },
        },
        "actions": {name: _action(*told, base + place + "/asks") for name, told in ACTIONS.items()},
        "events": {kind: heard(kind) for kind in ("press", "visit", "unseen", "blind", "finding", "alarm")},
    }


def _action(what: What, title: str, meaning: str, href: str) -> dict[str, Any]:
    """An action that is begun and answers at once how it stands; `requests` says later how it ended."""
    wish = _schema(AskWish)
    given = wish["properties"] | {"what": {"type": "string", "const": what}}
    until = next(one for one in given.pop("until")["oneOf"] if one["type"] != "null")
    ends = {"until": until | {"description": "when it ends"}} if what == "hush" else {}
    needed = ["what", *ends]
    failure = {"success": False, "contentType": "application/problem+json"}
    form = {"href": href, "op": "invokeaction", "contentType": "application/json", "additionalResponses": [failure]}
    return {
        "title": title,
        "description": meaning,
        "safe": False,
        "idempotent": False,
        "synchronous": False,
        "input": {"type": "object", "properties": given | ends, "required": needed, "additionalProperties": False},
        "output": _schema(AskTold),
        "forms": [form],
    }


def _schema(form: type[Form]) -> dict[str, Any]:
    """Of what the API takes or tells, in the words of a Thing Description: it has `oneOf`, no `anyOf` and no references."""
    told = form.model_json_schema()
    parts = told.pop("$defs", {})

    def plain(part: Any) -> Any:
        if isinstance(part, list):
            return [plain(one) for one in part]
        if not isinstance(part, dict):
            return part
        if "$ref" in part:
            return plain(parts[part["$ref"].rsplit("/", 1)[1]])
        return {"oneOf" if name == "anyOf" else name: plain(value) for name, value in part.items()}

    found: dict[str, Any] = plain(told)
    return found
