"""Documents for programs: topics, schemas, chimes as things, and figures. Each is made when somebody asks."""

from typing import Any

from fastapi import APIRouter, Request, Response

from adapters.api_forms import PROBLEMS, ChimeName, SiteName
from service.errors import NotFound
from service.health import Health
from service.ports import Clock, Reader

THING = "application/td+json"
SCHEMA = "application/schema+json"


class ThingResponse(Response):
    media_type = THING


class SchemaResponse(Response):
    media_type = SCHEMA


def build(reader: Reader, health: Health, clock: Clock, broker_url: str, prefix: str) -> APIRouter:
    """`broker_url`: as chimes are pointed at it."""
    router = APIRouter(responses=PROBLEMS, tags=["descriptions"])

    @router.get("/api/v1/asyncapi.json")
    def asyncapi() -> dict[str, Any]:
        """The topics and their messages, as an AsyncAPI 3.0.0 document."""
        from adapters.descriptions.asyncapi import document

        return document(broker_url, prefix, health.version)

    @router.get("/api/v1/schemas")
    def schemas() -> dict[str, list[str]]:
        """Names of the JSON Schemas (2020-12) there are: `pack`, `now`, and the data of each kind of event."""
        from adapters.descriptions.events import schemas as of_events

        return {"schemas": ["pack", *of_events()]}

    @router.get("/api/v1/schemas/{name}", response_class=SchemaResponse)
    def schema(name: str) -> Response:
        from json import dumps

        from adapters.descriptions import events, packs

        found = packs.schema() if name == "pack" else events.schemas().get(name)
        if found is None:
            raise NotFound(f"there is no schema {name[:40]!r}")
        return SchemaResponse(dumps(found))

    @router.get("/api/v1/sites/{site}/chimes/{chime}/thing-description", response_class=ThingResponse)
    def thing(site: SiteName, chime: ChimeName, request: Request) -> Response:
        """The chime as a W3C Thing Description 1.1."""
        from json import dumps

        from adapters.descriptions.thing import description

        base = str(request.base_url).rstrip("/")
        told = description(reader.chime(site, chime), list(reader.doors(site, chime)), base, broker_url, prefix)
        return ThingResponse(dumps(told))

    @router.get("/metrics", response_class=Response)
    def metrics() -> Response:
        """Figures as OpenMetrics 1.0."""
        from adapters.metrics import CONTENT_TYPE_LATEST, exposition

        return Response(exposition(reader, health, clock), media_type=CONTENT_TYPE_LATEST)

    return router
