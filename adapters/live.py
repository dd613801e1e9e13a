"""The live stream: server-sent events of presses, presence, supply and findings (WHATWG HTML, "Server-sent events").

A listener that comes back with `Last-Event-ID` first gets from the record what it missed, then goes on live.
"""

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import APIRouter, Header, Query
from fastapi.sse import EventSourceResponse, ServerSentEvent

from service.hub import Hub
from service.model import Event
from service.ports import Reader

WAITING_LIMIT = 1000
"""Events that may wait for a slow listener. Beyond, its stream is ended; it comes back and catches up from the record."""


def build(reader: Reader, hub: Hub) -> APIRouter:
    router = APIRouter(prefix="/api/v1")

    @router.get("/stream", response_class=EventSourceResponse, tags=["live"])
    async def stream(
        site: Annotated[str | None, Query(description="only this house", examples=["tern-cottage"])] = None,
        last_event_id: Annotated[str | None, Header(description="go on after this event")] = None,
    ) -> AsyncIterator[ServerSentEvent]:
        """Events `press`, `visit`, `presence`, `supply`, `finding`, `alarm`, `blind`, `unseen` as they happen; JSON, ids only grow."""
        waiting: asyncio.Queue[Event | None] = asyncio.Queue(WAITING_LIMIT + 1)
        loop = asyncio.get_running_loop()

        def take(event: Event | None) -> None:
            if waiting.qsize() < WAITING_LIMIT:
                waiting.put_nowait(event)
            elif waiting.qsize() == WAITING_LIMIT:
                waiting.put_nowait(None)

        def listen(event: Event | None) -> None:
            loop.call_soon_threadsafe(take, event)

        leave = hub.listen(listen)
        try:
            yield ServerSentEvent(comment="listening", retry=1000)
            if last_event_id is not None and last_event_id.isascii() and last_event_id.isdecimal():
                told = int(last_event_id)
            else:
                told = await asyncio.to_thread(reader.last_event_id)
            while missed := await asyncio.to_thread(reader.events_after, told):
                for event in missed:
                    told = event.id
                    if site in (None, event.site):
                        yield _sse(event)
            while (event_or_end := await waiting.get()) is not None:
                if event_or_end.id > told and site in (None, event_or_end.site):
                    yield _sse(event_or_end)
        finally:
            leave()

    return router


def _sse(event: Event) -> ServerSentEvent:
    data = {"site": event.site, "chime": event.chime, **event.data}
    return ServerSentEvent(raw_data=json.dumps(data, separators=(",", ":")), event=event.kind, id=str(event.id))
