"""The part of the JSON API about who rang: notes on visits, cadences, absences, while somebody was away, patterns, calendars."""

import asyncio
from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request, Response

from adapters import who_forms as forms
from adapters.api_forms import End, SiteName, Start, Visit, stretch_of
from adapters.calendars_apart import MOST_BYTES, read_away, wall_clock, write_away, write_visits
from adapters.problems import TooLarge, UnsupportedType
from service import callers, telling, telling_who
from service.actions import AWAY_AHEAD_S, AWAY_BEFORE_S, Actions
from service.names import clean_name
from service.ports import Clock, Reader
from service.presses.away import Away
from service.searching import search
from service.teaching import Teaching


def add(router: APIRouter, reader: Reader, actions: Actions, clock: Clock, teaching: Teaching) -> None:
    """Add the routes, which change nothing but through `actions`, and lessons through `teaching`."""
    _visits(router, reader, actions, clock)
    _cadences(router, reader, clock, teaching)
    _away(router, reader, actions, clock)
    _callers(router, reader, clock)


def _visits(router: APIRouter, reader: Reader, actions: Actions, clock: Clock) -> None:
    path = "/sites/{site}/visits/{visit}"

    @router.get(path, response_model=Visit, tags=["record"])
    def visit(site: SiteName, visit: forms.VisitId) -> dict[str, Any]:
        return telling.visit(reader.visit(site, visit))

    @router.put(f"{path}/note", response_model=Visit, tags=["record"])
    def note(site: SiteName, visit: forms.VisitId, wish: forms.NoteWish, by: forms.By = "") -> dict[str, Any]:
        """Say who it was, and what there is to note, in place of what was said before; nothing of both removes it."""
        actions.note_visit(site, visit, wish.who, wish.note, by, clock())
        return telling.visit(reader.visit(site, visit))

    @router.get("/sites/{site}/found", response_model=forms.Found, tags=["record"])
    def found(site: SiteName, words: forms.Words) -> dict[str, Any]:
        """Visits of which every word is said, in a name, a note, a cadence or the door's name; the newest, newest first."""
        told = search(reader, site, words, clock())
        back_s = told.looked_back_s
        return {
            "visits": [telling.visit(visit) for visit in told.visits],
            "more": told.more,
            "cadences_since": None if back_s is None else telling.rfc3339(back_s),
        }

    @router.get("/sites/{site}/visits.ics", response_class=Response, responses=forms.CALENDAR_ANSWER, tags=["record"])
    def calendar(site: SiteName, start: Start = None, end: End = None) -> Response:
        """Visits as a calendar. The same visit has the same UID in every export."""
        place = reader.site(site)
        found = callers.all_visits(reader, site, *stretch_of(start, end, clock))
        doors = {door.door: door.name for door in reader.doors(site)}
        return Response(write_visits(found, place, ZoneInfo(place.time_zone), doors), media_type=forms.CALENDAR)


def _cadences(router: APIRouter, reader: Reader, clock: Clock, teaching: Teaching) -> None:
    path = "/sites/{site}/cadences"

    def answer(site: str) -> dict[str, Any]:
        place, held = reader.site(site), teaching.lesson(site)
        return {
            "cadences": [telling_who.cadence(one) for one in reader.cadences(site)],
            "lesson": telling_who.lesson(held, clock(), ZoneInfo(place.time_zone)) if held else None,
        }

    @router.get(path, response_model=forms.Cadences, tags=["cadences"])
    def cadences(site: SiteName) -> dict[str, Any]:
        """The ways of pressing that this house has taught, and how its last lesson stands."""
        return answer(site)

    @router.post(path, status_code=201, response_model=forms.Cadences, tags=["cadences"])
    def begin(site: SiteName, wish: forms.LessonWish, by: forms.By = "") -> dict[str, Any]:
        """Begin a lesson: from now on, for ten minutes, the door listens for three examples. One of the same name is replaced."""
        teaching.begin(site, wish.chime, wish.door, wish.name, by)
        return answer(site)

    @router.delete(f"{path}/{{name}}", response_model=forms.Cadences, tags=["cadences"])
    def forget(site: SiteName, name: forms.CadenceName) -> dict[str, Any]:
        """Forget a cadence, and end the lesson of this name."""
        teaching.forget(site, name)
        return answer(site)


def _away(router: APIRouter, reader: Reader, actions: Actions, clock: Clock) -> None:
    path = "/sites/{site}/away/{person}"
    one_at_a_time = asyncio.Semaphore(1)  # reading a calendar may take a few seconds

    def found(site: str, person: str, start: Start = None, end: End = None) -> Sequence[Away]:
        now_s = clock()
        start_s = start.timestamp() if start else now_s - AWAY_BEFORE_S
        end_s = end.timestamp() if end else now_s + AWAY_AHEAD_S
        return reader.away(site, clean_name(person), start_s, end_s)

    def told(person: str, aways: Sequence[Away]) -> dict[str, Any]:
        return {"person": clean_name(person), "away": [telling_who.away(one) for one in aways]}

    @router.get(path, response_model=forms.Away, responses=forms.CALENDAR_ANSWER, tags=["away"])
    def away(request: Request, site: SiteName, person: forms.Person, start: Start = None, end: End = None) -> Any:
        """When this person is away; from a year ago to two years ahead where nothing is said. As a calendar if asked for."""
        place, aways = reader.site(site), found(site, person, start, end)
        if forms.CALENDAR in request.headers.get("accept", ""):
            return Response(write_away(aways, place, clock()), media_type=forms.CALENDAR)
        return told(person, aways)

    @router.put(
        path,
        response_model=forms.Away,
        responses=forms.UPLOAD_PROBLEMS,
        openapi_extra=forms.CALENDAR_BODY,
        tags=["away"],
    )
    async def replace(request: Request, site: SiteName, person: forms.Person) -> dict[str, Any]:
        """Hand in this person's calendar of absences, in place of all there are from a year ago to two years ahead."""
        ics = await _calendar(request)

        def taken() -> dict[str, Any]:
            now_s = clock()
            zone = ZoneInfo(reader.site(site).time_zone)
            actions.replace_away(site, person, read_away(ics, now_s - AWAY_BEFORE_S, now_s + AWAY_AHEAD_S, zone), now_s)
            return told(person, found(site, person))

        async with one_at_a_time:
            return await asyncio.to_thread(taken)

    @router.post(path, status_code=201, response_model=forms.Away, tags=["away"])
    def add_by_hand(site: SiteName, person: forms.Person, wish: forms.AwayWish) -> dict[str, Any]:
        """Add one absence. The next calendar handed in takes its place."""
        actions.add_away(site, person, wish.summary, wish.start.timestamp(), wish.end.timestamp(), clock())
        return told(person, found(site, person))

    @router.delete(f"{path}/{{uid:path}}", response_model=forms.Away, tags=["away"])
    def remove(site: SiteName, person: forms.Person, uid: forms.Uid) -> dict[str, Any]:
        """Remove an absence with all its recurrences."""
        actions.remove_away(site, person, uid)
        return told(person, found(site, person))


def _callers(router: APIRouter, reader: Reader, clock: Clock) -> None:
    @router.get("/sites/{site}/while-away", response_model=forms.WhileAway, tags=["away"])
    def while_away(
        site: SiteName, person: forms.WhoseAbsence = "", start: Start = None, end: End = None
    ) -> dict[str, Any]:
        """Who rang while somebody was away, and what the record cannot know of that time.

        The stretch is the one asked for; or else the person's present or last absence by calendar; or else the time since this
        person last looked, or since the record began where this is the first look. It ends now at the latest.
        """
        place = reader.site(site)
        asked = stretch_of(start, end, clock) if start or end else None
        found = callers.while_away(reader, site, clean_name(person) if person else "", asked, clock())
        return telling_who.while_away(found, ZoneInfo(place.time_zone))

    @router.get("/sites/{site}/patterns", response_model=forms.Patterns, tags=["record"])
    def patterns(site: SiteName, start: Start = None, end: End = None) -> dict[str, Any]:
        """At which hours and on which days somebody rings, per hour watched, with 90 % intervals; the last twelve weeks where
        nothing is said. Doubtful visits and blind time are left out."""
        place, now_s = reader.site(site), clock()
        end_s = end.timestamp() if end else now_s
        start_s = start.timestamp() if start else end_s - callers.WEEKS_S
        clock_on_the_wall = wall_clock(ZoneInfo(place.time_zone))
        return telling_who.patterns(*callers.patterns_of(reader, site, start_s, end_s, clock_on_the_wall, now_s))


async def _calendar(request: Request) -> bytes:
    """The body. Raises UnsupportedType, TooLarge."""
    content_type = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if content_type not in ("", forms.CALENDAR):
        raise UnsupportedType(f"{content_type} is not {forms.CALENDAR}")
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > MOST_BYTES:
            raise TooLarge(f"A calendar has at most {MOST_BYTES} bytes.")
    return bytes(body)
