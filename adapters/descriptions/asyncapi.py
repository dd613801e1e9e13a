"""The AsyncAPI 3.0.0 document of the topics: what a chime sends, what Bellcrank tells, and by which schemas.

Made from the code's own tables at each asking; knows no record and no broker's password.
"""

from typing import Any
from urllib.parse import urlsplit

from adapters.descriptions import packs
from adapters.descriptions.events import DATA, definitions, envelope
from service.asks import WHATS
from service.cloud_events import CONTENT_TYPE
from service.topics import NAME, VERSION

SCHEMAS = "#/components/schemas/"

ASK: dict[str, Any] = {
    "type": "object",
    "required": ["id", "do"],
    "properties": {
        "id": {"type": "string", "examples": ["ask-7"]},
        "do": {"enum": list(WHATS)},
        "for_s": {"type": "number", "description": "of a hush: how long, for a chime without a clock [s]"},
        "until_s": {"type": "number", "description": "of a hush: until when [POSIX s]"},
    },
}


def document(broker_url: str, prefix: str, version: str) -> dict[str, Any]:
    """JSON-ready. `broker_url`: as chimes are pointed at it, such as mqtt://host:1883."""
    parts = urlsplit(broker_url)
    kinds = list(DATA)
    messages = {
        "pack": {
            "title": "Pack",
            "contentType": "application/senml+json",
            "summary": "Presses, rail voltages, and how the chime is. CBOR (application/senml+cbor) is taken as well.",
            "payload": {"$ref": SCHEMAS + "Pack"},
        },
        "alive": {
            "title": "Presence",
            "contentType": "text/plain",
            "summary": "Retained; 0 as last will.",
            "payload": {"type": "string", "enum": ["0", "1"]},
        },
        "ask": {
            "title": "Request to a chime",
            "contentType": "application/json",
            "summary": "Take bursts with the test load, sound once, or be quiet for a while. What the chime then sends is its answer.",
            "payload": ASK,
        },
        "now": {
            "title": "Present state",
            "contentType": "application/json",
            "summary": "Retained, whenever something changes.",
            "payload": {"$ref": SCHEMAS + "Present"},
        },
        **{
            kind: {
                "title": kind.capitalize(),
                "contentType": CONTENT_TYPE,
                "summary": "A CloudEvent 1.0.2 in structured JSON, at least once.",
                "payload": {"$ref": f"{SCHEMAS}{kind}-event"},
            }
            for kind in kinds
        },
    }
    schemas = definitions(SCHEMAS + "{model}")
    schemas["Pack"] = {key: value for key, value in packs.schema().items() if key != "$schema"}
    schemas |= {f"{kind}-event": envelope(kind, SCHEMAS + model.__name__) for kind, model in DATA.items()}
    return {
        "asyncapi": "3.0.0",
        "info": {
            "title": "Bellcrank",
            "version": version,
            "description": "Who rang at which door and when, and how the supply of the chime is. Only claimed chimes are told of.",
        },
        "defaultContentType": "application/json",
        "servers": {
            "broker": {
                "host": parts.netloc.rpartition("@")[2],
                "protocol": "secure-mqtt" if parts.scheme == "mqtts" else "mqtt",
                "description": "MQTT 3.1.1 or 5.",
            }
        },
        "channels": {
            "pack": _channel(prefix, "pack", ["pack"], "A chime sends its packs here, QoS 1, not retained."),
            "alive": _channel(prefix, "alive", ["alive"], "A chime's presence, QoS 1, retained."),
            "event": _channel(prefix, "event", kinds, "Bellcrank tells of each event here, QoS 1, not retained."),
            "ask": _channel(prefix, "ask", ["ask"], "Bellcrank asks a chime here, QoS 1, not retained."),
            "now": _channel(prefix, "now", ["now"], "The present state of a chime, QoS 1, retained."),
        },
        "operations": {
            "takePacks": _operation("receive", "pack", "Bellcrank takes the packs of chimes."),
            "takePresence": _operation("receive", "alive", "Bellcrank notices whether a chime is there."),
            "tellEvents": _operation(
                "send", "event", "Bellcrank tells of presses, visits, findings, alarms and blind time."
            ),
            "ask": _operation("send", "ask", "Bellcrank asks a chime, for a person or by its daily schedule."),
            "tellPresent": _operation("send", "now", "Bellcrank tells how a chime is now."),
        },
        "components": {"messages": messages, "schemas": schemas},
    }


def _channel(prefix: str, leaf: str, messages: list[str], description: str) -> dict[str, Any]:
    def parameter(meaning: str, example: str) -> dict[str, Any]:
        return {"description": f"{meaning}: {NAME.pattern}", "examples": [example]}

    return {
        "address": f"{prefix}/{VERSION}/{{site}}/{{chime}}/{leaf}",
        "description": description,
        "parameters": {"site": parameter("a house", "tern-cottage"), "chime": parameter("a chime", "hall")},
        "messages": {name: {"$ref": f"#/components/messages/{name}"} for name in messages},
    }


def _operation(action: str, channel: str, summary: str) -> dict[str, Any]:
    return {
        "action": action,
        "channel": {"$ref": f"#/channels/{channel}"},
        "summary": summary,
        "bindings": {"mqtt": {"qos": 1, "retain": channel in ("alive", "now")}},
    }
