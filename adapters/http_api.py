"""The JSON API under /api/v1: routes, described by OpenAPI. Facts are told by service/telling.py; errors by problems.py."""

import asyncio
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request

from adapters import api_forms as forms
from adapters import finding_api, log_api, who_api
from adapters.api_forms import ChimeName, Cursor, End, Limit, Page, SiteName, Start, stretch_of
from adapters.problems import NotUnderstood, TooLarge, UnsupportedType
from service import model, pack, telling, topics
from service.actions import Actions
from service.errors import BadPack, StoreUnavailable
from service.health import Health
from service.keeper import Keeper, Parcel
from service.ports import Clock, Reader
from service.senml import SIZE_LIMIT
from service.teaching import Teaching

KEEP_WITHIN_S = 10.0


def build(
    reader: Reader,
    keeper: Keeper,
    actions: Actions,
    health: Health,
    clock: Clock,
    prefix: str,
    received_s: Clock | None = None,
    teaching: Teaching | None = None,
) -> APIRouter:
    """The router. Its blocking routes run in FastAPI's threads. `teaching`: where something is done about lessons elsewhere."""
    router = APIRouter(prefix="/api/v1", responses=forms.PROBLEMS)
    _places(router, reader, actions)
    _record(router, reader, clock)
    finding_api.add(router, reader, actions, clock)
    log_api.add(router, reader, clock)
    who_api.add(router, reader, actions, clock, teaching or Teaching(reader, keeper, clock))
    _inbox(router, reader, keeper, received_s or clock, prefix)

    @router.get("/health", response_model=forms.Health, tags=["health"])
    def health_now() -> dict[str, Any]:
        """How the parts are, and what the inbox holds."""
        return health_data(reader, health)

    return router


def health_data(reader: Reader, health: Health) -> dict[str, Any]:
    """Also answers when the record cannot be read: then the counts are absent and the trouble is told."""
    troubles, counts = health.troubles(), None
    try:
        counts = reader.counts()
    except StoreUnavailable as trouble:
        if str(trouble) not in troubles:
            troubles.append(str(trouble))
    return {
        "status": "trouble" if troubles else "well",
        "troubles": troubles,
        "version": health.version,
        "started": telling.rfc3339(health.started_s),
        "listening_on": health.listening_on,
        "reachable_from": health.reachable_from,
        "broker": {
            "address": health.broker,
            "connected": health.broker_connected,
            "since": telling.rfc3339(health.broker_since_s),
        },
        "store": {"place": health.store, "last_commit": telling.rfc3339_or_none(health.last_commit_s)},
        "packs": None
        if counts is None
        else {
            "kept": counts.kept,
            "pending": counts.pending,
            "duplicates": counts.duplicates,
            "quarantined": counts.quarantined,
            "refused": counts.refused,
            "unexpected": counts.unexpected,
        },
        "parts": dict(health.parts),
    }


def _places(router: APIRouter, reader: Reader, actions: Actions) -> None:
    @router.get("/sites", response_model=forms.Sites, tags=["places"])
    def sites() -> dict[str, Any]:
        """Houses with at least one claimed chime."""
        return {"sites": [_site(site) for site in reader.sites()]}

    @router.get("/sites/{site}", response_model=forms.Site, tags=["places"])
    def site(site: SiteName) -> dict[str, Any]:
        return _site(reader.site(site))

    @router.put("/sites/{site}", response_model=forms.Site, tags=["places"])
    def name_site(site: SiteName, naming: forms.SiteNaming) -> dict[str, Any]:
        """Give a house its name and time zone."""
        actions.rename_site(site, naming.name, naming.time_zone)
        return _site(reader.site(site))

    @router.get("/chimes", response_model=forms.Chimes, tags=["places"])
    def all_chimes(claimed: bool | None = None) -> dict[str, Any]:
        """Every chime ever heard, also those that nobody has claimed yet."""
        return {"chimes": [telling.chime(chime) for chime in reader.chimes(claimed=claimed)]}

    @router.get("/sites/{site}/chimes", response_model=forms.Chimes, tags=["places"])
    def chimes(site: SiteName) -> dict[str, Any]:
        reader.site(site)
        return {"chimes": [telling.chime(chime) for chime in reader.chimes(site)]}

    @router.get("/sites/{site}/chimes/{chime}", response_model=forms.Chime, tags=["places"])
    def chime(site: SiteName, chime: ChimeName) -> dict[str, Any]:
        return telling.chime(reader.chime(site, chime))

    @router.post("/sites/{site}/chimes/{chime}/claim", response_model=forms.Chime, tags=["places"])
    def claim(site: SiteName, chime: ChimeName) -> dict[str, Any]:
        """Take a chime that was heard as one's own."""
        actions.claim(site, chime)
        return telling.chime(reader.chime(site, chime))

    @router.get("/sites/{site}/doors", response_model=forms.Doors, tags=["places"])
    def doors(site: SiteName) -> dict[str, Any]:
        reader.site(site)
        return {"doors": [telling.door(door) for door in reader.doors(site)]}

    @router.put("/sites/{site}/chimes/{chime}/doors/{door}", response_model=forms.Doors, tags=["places"])
    def name_door(site: SiteName, chime: ChimeName, door: str, naming: forms.DoorNaming) -> dict[str, Any]:
        """Give a door its name."""
        actions.rename_door(site, chime, door, naming.name)
        return {"doors": [telling.door(one) for one in reader.doors(site, chime) if one.door == door]}


def _record(router: APIRouter, reader: Reader, clock: Clock) -> None:
    @router.get("/sites/{site}/presses", response_model=forms.Presses, tags=["record"])
    def presses(site: SiteName, page: Annotated[Page, Depends()]) -> dict[str, Any]:
        reader.site(site)
        found, onward = reader.presses(site, *stretch_of(page.start, page.end, clock), **page.selection())
        return {"presses": [telling.press(press) for press in found], "next": onward}

    @router.get("/sites/{site}/presses/{press}", response_model=forms.Press, tags=["record"])
    def press(site: SiteName, press: int) -> dict[str, Any]:
        return telling.press(reader.press(site, press))

    @router.get("/sites/{site}/visits", response_model=forms.Visits, tags=["record"])
    def visits(site: SiteName, page: Annotated[Page, Depends()]) -> dict[str, Any]:
        """One caller's presses at one door together."""
        reader.site(site)
        found, onward = reader.visits(site, *stretch_of(page.start, page.end, clock), **page.selection())
        return {"visits": [telling.visit(visit) for visit in found], "next": onward}

    @router.get("/sites/{site}/chimes/{chime}/boots", response_model=forms.Boots, tags=["record"])
    def boots(site: SiteName, chime: ChimeName, start: Start = None, end: End = None) -> dict[str, Any]:
        reader.chime(site, chime)
        return {"boots": [telling.boot(boot) for boot in reader.boots(site, chime, *stretch_of(start, end, clock))]}

    @router.get("/sites/{site}/chimes/{chime}/supply", response_model=forms.Supply, tags=["record"])
    def supply(
        site: SiteName,
        chime: ChimeName,
        start: Start = None,
        end: End = None,
        step_s: forms.Step = None,
        limit: forms.LongLimit = 1000,
    ) -> dict[str, Any]:
        """The rail over time. A page is full when it has `limit` stretches; ask on from the last `end`."""
        reader.chime(site, chime)
        points = reader.supply(site, chime, *stretch_of(start, end, clock), step_s, limit)
        latest = reader.latest_supply(site, chime)
        return {
            "supply": [telling.supply(point) for point in points],
            "latest": telling.supply(latest) if latest else None,
        }


def _inbox(router: APIRouter, reader: Reader, keeper: Keeper, clock: Clock, prefix: str) -> None:
    @router.post(
        "/sites/{site}/chimes/{chime}/packs",
        status_code=202,
        response_model=forms.Kept,
        tags=["inbox"],
        openapi_extra=forms.PACK_BODY,
    )
    async def packs(request: Request, site: SiteName, chime: ChimeName) -> dict[str, Any]:
        """Hand in one SenML pack, as over MQTT. 202: it is on the disk, and will be understood in its turn."""
        topic = topics.build(model.Address(site, chime, "pack"), prefix)
        content_type = request.headers.get("content-type", "").partition(";")[0].strip().lower() or None
        if content_type not in (None, *forms.PACK_TYPES):
            raise UnsupportedType(f"{content_type} is none of {', '.join(forms.PACK_TYPES)}")
        arrival = model.Arrival(topic, await _body(request), clock(), "http", content_type)
        await _kept(keeper, arrival)
        try:
            pack.decode(arrival.payload, arrival.content_type, arrival.received_s)
        except BadPack as bad:
            raise NotUnderstood(f"Kept, but set aside: {bad.reason}") from None
        return {"kept": True}

    @router.get("/quarantine", response_model=forms.Quarantine, tags=["inbox"])
    def quarantine(site: str | None = None, cursor: Cursor = None, limit: Limit = 100) -> dict[str, Any]:
        """Packs that were not understood, newest first, with the reason."""
        found, onward = reader.set_aside(site=site, cursor=cursor, limit=limit)
        return {"packs": [forms.set_aside(pack) for pack in found], "next": onward}


async def _body(request: Request) -> bytes:
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > SIZE_LIMIT:
            raise TooLarge(f"A pack has at most {SIZE_LIMIT} bytes.")
    return bytes(body)


async def _kept(keeper: Keeper, arrival: model.Arrival) -> None:
    """Return when it is on the disk. Raises StoreUnavailable after `KEEP_WITHIN_S`."""
    loop, done = asyncio.get_running_loop(), asyncio.Event()

    def kept() -> None:
        loop.call_soon_threadsafe(done.set)

    await asyncio.to_thread(keeper.submit, Parcel(arrival, kept))
    try:
        await asyncio.wait_for(done.wait(), KEEP_WITHIN_S)
    except TimeoutError:
        raise StoreUnavailable("The record cannot be written now; hand the pack in again.") from None


def _site(site: model.Site) -> dict[str, Any]:
    return {"site": site.site, "name": site.name, "time_zone": site.time_zone}
