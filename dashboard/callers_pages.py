"""Routes of the sheet about callers: lessons, and times away. Draws nothing; writes only through `Actions` and `Lessons`."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Protocol
from zoneinfo import ZoneInfo

from fastapi import APIRouter, File, Form, Query, Request, Response, UploadFile
from fastapi.responses import RedirectResponse

from dashboard import callers_sheet
from dashboard.absences import moment_s
from dashboard.away_list import AHEAD_S
from dashboard.callers_sheet import DONE, Said
from dashboard.house import House
from dashboard.kept import Kept
from dashboard.language import resaid, say
from dashboard.sheets import FORM_LIMIT, Sheets, call, name_of
from service.callers import LOOK_BACK_S
from service.errors import Refused
from service.names import clean_name
from service.ports import Reader
from service.presses.away import Away
from service.teaching import Held

Short = Annotated[str, Form(max_length=1000)]
Uid = Annotated[str, Form(max_length=5000)]
Done = Annotated[str, Query(max_length=20)]

ReadCalendar = Callable[[bytes, float, float, ZoneInfo], Sequence[Away]]
"""A calendar's bytes to its absences that touch a period, in a zone. Raises Refused with a sentence."""


class Actions(Protocol):
    """Each raises NotFound, Refused or StoreUnavailable."""

    def replace_away(self, site: str, person: str, aways: Iterable[Away], now_s: float) -> None: ...
    def add_away(self, site: str, person: str, summary: str, start_s: float, end_s: float, now_s: float) -> None: ...
    def remove_away(self, site: str, person: str, uid: str) -> None: ...


class Lessons(Protocol):
    """Each raises NotFound, Refused or StoreUnavailable."""

    def begin(self, site: str, chime: str, door: str, name: str, by: str) -> None: ...
    def forget(self, site: str, name: str) -> None: ...
    def lesson(self, site: str) -> Held | None: ...


@dataclass(frozen=True)
class Callers:
    """What the routes need. `lessons` and `read_calendar` are None where nobody teaches and nobody reads calendars."""

    router: APIRouter
    sheets: Sheets
    reader: Reader
    actions: Actions
    clock: Callable[[], float]
    house_of: Callable[[str, float], House]  # a site from a moment on, until now
    lessons: Lessons | None
    read_calendar: ReadCalendar | None
    kept: Kept = field(default_factory=Kept)  # the patterns of twelve weeks

    def sheet(self, request: Request, site: str, said: Said) -> Response:
        house = self.house_of(site, self.clock())
        held = self.lessons.lesson(site) if self.lessons else None
        can = self.lessons is not None, self.read_calendar is not None
        context = callers_sheet.make(self.reader, house, name_of(request), held, *can, said, self.kept)
        return self.sheets.answer("callers.html", context, 400 if said.refused else 200)

    def done(self, site: str, where: str, what: str) -> Response:
        return RedirectResponse(f"{self.router.url_path_for('callers', site=site)}?done={what}#{where}", 303)

    def change(self, request: Request, site: str, where: str, what: str, action: Callable[[], None]) -> Response:
        try:
            action()
        except Refused as refusal:
            return self.sheet(request, site, Said(where, resaid(str(refusal)), True))
        return self.done(site, where, what)


def add(pages: Callers) -> None:
    """Add the routes to `pages.router`."""

    @pages.router.get("/house/{site}/callers", name="callers")
    def callers(request: Request, site: str, done: Done = "") -> Response:
        where = "cadences" if done in ("begun", "forgotten") else "away"
        return pages.sheet(request, site, Said(where, say(DONE.get(done, ""))))

    if pages.lessons is not None:
        _lessons(pages, pages.lessons)
    _away(pages)
    if pages.read_calendar is not None:
        _calendar(pages, pages.read_calendar)


def _lessons(pages: Callers, lessons: Lessons) -> None:
    @pages.router.post("/house/{site}/cadences", name="begin_lesson")
    def begin(request: Request, site: str, name: Short, where: Short = "") -> Response:
        chime, _, door = where.partition("/")
        by = name_of(request)
        return pages.change(request, site, "cadences", "begun", lambda: lessons.begin(site, chime, door, name, by))

    @pages.router.post("/house/{site}/cadences/forget", name="forget_cadence")
    def forget(request: Request, site: str, name: Short) -> Response:
        return pages.change(request, site, "cadences", "forgotten", lambda: lessons.forget(site, name))


def _away(pages: Callers) -> None:
    @pages.router.post("/house/{site}/away/name", name="say_name")
    def say_name(request: Request, site: str, name: Short = "") -> Response:
        try:
            clean = clean_name(name) if name.strip() else ""
        except Refused as refusal:
            return pages.sheet(request, site, Said("away", resaid(str(refusal)), True))
        return call(pages.done(site, "away", "named" if clean else ""), request, clean)

    @pages.router.post("/house/{site}/away", name="add_away")
    def add_by_hand(request: Request, site: str, start: Short, end: Short, summary: Short = "") -> Response:
        def action() -> None:
            zone = ZoneInfo(pages.reader.site(site).time_zone)
            times = moment_s(start, zone), moment_s(end, zone)
            pages.actions.add_away(site, _named(request), summary, *times, pages.clock())

        return pages.change(request, site, "away", "added", action)

    @pages.router.post("/house/{site}/away/remove", name="remove_away")
    def remove(request: Request, site: str, uid: Uid) -> Response:
        return pages.change(
            request, site, "away", "removed", lambda: pages.actions.remove_away(site, _named(request), uid)
        )


def _calendar(pages: Callers, read_calendar: ReadCalendar) -> None:
    @pages.router.post("/house/{site}/away/calendar", name="hand_in_calendar")
    def hand_in(request: Request, site: str, calendar: Annotated[UploadFile, File()]) -> Response:
        def action() -> None:
            now_s, zone = pages.clock(), ZoneInfo(pages.reader.site(site).time_zone)
            ics = calendar.file.read(FORM_LIMIT)
            if not ics:
                raise Refused(say("No calendar was chosen, or it is empty."))
            aways = read_calendar(ics, now_s - LOOK_BACK_S, now_s + AHEAD_S, zone)
            pages.actions.replace_away(site, _named(request), aways, now_s)

        return pages.change(request, site, "away", "read", action)


def _named(request: Request) -> str:
    """Raises Refused where nobody has said who they are."""
    name = name_of(request)
    if not name:
        raise Refused(say("Say first whose times away these are."))
    return name
