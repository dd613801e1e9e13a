"""The pages: routes, and what each needs from the record. Draws nothing; writes only through `Actions`.

Route functions are plain `def`, run in threads, because the Reader blocks.
"""

from collections.abc import Callable
from contextlib import suppress
from datetime import date
from typing import Annotated, Protocol
from zoneinfo import available_timezones

from fastapi import APIRouter, Form, Query, Request, Response
from fastapi.responses import RedirectResponse

from dashboard import (
    alarm_pages,
    bench_pages,
    callers_pages,
    contexts,
    doorstep,
    fitout_pages,
    found_sheet,
    ledgers,
    outlets_pages,
    report_pages,
    stretch_asked,
    stretch_sheet,
    supply_sheet,
    visit_pages,
    words,
)
from dashboard.absences import Person, Wish, question
from dashboard.house import House, back, day_stretch, gather, shortest_sure, with_redatings
from dashboard.language import resaid, say
from dashboard.sheets import SheetRoute, Sheets, name_of, person_of, remember
from dashboard.supply_points import PastDays
from service import model
from service.errors import NotFound, Refused, StoreUnavailable
from service.health import Health
from service.ports import Reader

Text = Annotated[str, Form(max_length=200)]
Field = Annotated[str, Query(max_length=40)]


class Actions(visit_pages.Actions, callers_pages.Actions, fitout_pages.Actions, Protocol):
    """What a person may do from these pages. Each raises NotFound, Refused or StoreUnavailable."""

    def look(self, site: str, person: str, now_s: float) -> None: ...
    def claim(self, site: str, chime: str, name: str | None = None) -> None: ...
    def rename_site(self, site: str, name: str, time_zone: str) -> None: ...
    def rename_door(self, site: str, chime: str, door: str, name: str) -> None: ...
    def commission(
        self, site: str, chime: str, stretch_s: tuple[float, float] | None, by: str, now_s: float
    ) -> None: ...


def build(
    reader: Reader,
    actions: Actions,
    health: Health,
    clock: Callable[[], float],
    *,
    stale_after_s: float = 180.0,
    prefix: str = "bellcrank",
    lessons: callers_pages.Lessons | None = None,
    read_calendar: callers_pages.ReadCalendar | None = None,
    alarms: alarm_pages.Actions | None = None,
    outlets: outlets_pages.Actions | None = None,
    captures: bench_pages.Actions | None = None,
    ask: fitout_pages.Ask | None = None,
    on_paper: report_pages.OnPaper | None = None,
) -> APIRouter:
    """The pages as a router without prefix; `assets.Assets` must be mounted at `assets.MOUNTED_AT` beside it.

    `stale_after_s`: a chime unheard for longer is shown as silent [s]. `prefix`: first part of every topic. Without `lessons` no
    cadence can be taught from the pages, without `read_calendar` no calendar handed in.
    """
    router = APIRouter(route_class=SheetRoute, include_in_schema=False)
    sheets = Sheets(router)
    _doorsteps(router, sheets, reader, actions, health, clock, stale_after_s, prefix)
    _others(router, sheets, reader, actions, health, clock, stale_after_s)
    _names(router, sheets, reader, actions, health, clock, stale_after_s)

    def house_of(site: str, start_s: float) -> House:
        return gather(reader, reader.site(site), health, start_s, clock(), stale_after_s)

    fitout_pages.add(router, sheets, reader, actions, ask, clock, house_of)
    report_pages.add(
        router, reader, on_paper, lambda site: back(reader, reader.site(site), health, clock(), 31, stale_after_s)
    )
    bench_pages.add(router, sheets, reader, captures, clock, house_of)
    alarm_pages.add(router, sheets, reader, alarms, clock, house_of)
    outlets_pages.add(router, sheets, reader, outlets, clock, house_of)

    def day_of(site: str, moment_s: float) -> House:
        place = reader.site(site)
        day = words.local(moment_s, ledgers.zone_of(place)).date()
        return gather(reader, place, health, moment_s, clock(), stale_after_s, until_day=day)

    visit_pages.add(router, sheets, reader, actions, clock, day_of)
    callers_pages.add(callers_pages.Callers(router, sheets, reader, actions, clock, house_of, lessons, read_calendar))
    return router


def _doorsteps(
    router: APIRouter,
    sheets: Sheets,
    reader: Reader,
    actions: Actions,
    health: Health,
    clock: Callable[[], float],
    stale_after_s: float,
    prefix: str,
) -> None:
    @router.get("/", name="home")
    def home(
        request: Request, refresh: bool = False, since: Field = "", start: Field = "", end: Field = ""
    ) -> Response:
        """The Doorstep of the first house, or how to begin."""
        sites = reader.sites()
        if sites:
            return doorstep_of(request, sites[0], refresh, Wish(since, start, end))
        chimes = reader.chimes(claimed=False)
        return sheets.answer("nobody.html", ledgers.nobody(chimes, health, clock(), prefix))

    @router.get("/house/{site}", name="doorstep")
    def house(
        request: Request, site: str, refresh: bool = False, since: Field = "", start: Field = "", end: Field = ""
    ) -> Response:
        return doorstep_of(request, reader.site(site), refresh, Wish(since, start, end))

    @router.get("/house/{site}/day/{day}", name="day")
    def day_sheet(site: str, day: str) -> Response:
        place = reader.site(site)
        try:
            wanted = date.fromisoformat(day)
            start_s, _ = day_stretch(wanted, ledgers.zone_of(place))
        except (ValueError, OverflowError, OSError):
            raise NotFound(say("{day} is no day such as 2026-11-24.", day=f"{day!r}")) from None
        around = gather(reader, place, health, start_s, clock(), stale_after_s, until_day=wanted)
        return sheets.answer("day.html", doorstep.make_day(around, wanted))

    @router.get("/house/{site}/found", name="found")
    def found(site: str, words: Annotated[str, Query(max_length=80)] = "") -> Response:
        """Visits by what is said of them."""
        house = back(reader, reader.site(site), health, clock(), 0, stale_after_s)
        return sheets.answer("found.html", found_sheet.make(reader, house, words))

    def doorstep_of(request: Request, site: model.Site, refresh: bool, wish: Wish) -> Response:
        now_s, person = clock(), person_of(request)
        if not refresh:
            with suppress(StoreUnavailable, NotFound):  # the sheet must come even when nothing can be written
                actions.look(site.site, person, now_s)
        week = back(reader, site, health, now_s, doorstep.EARLIER_DAYS, stale_after_s)
        asked = question(reader, site.site, Person(person, name_of(request)), wish, week.zone, now_s)
        if wish.since or wish.start or wish.end or asked.fact.chosen == "by calendar":
            week = with_redatings(reader, week, asked.fact.start_s)
        unclaimed = ledgers.unclaimed(reader.chimes(claimed=False), now_s, week.zone)
        troubles = [words.sentence(trouble) for trouble in health.troubles() if trouble != health.store_trouble]
        sure = shortest_sure(reader, week)
        context = doorstep.make(week, asked, wish, unclaimed, troubles, ledgers.first_stroke(week, prefix), sure)
        return remember(sheets.answer("doorstep.html", context), request, person)


def _others(
    router: APIRouter,
    sheets: Sheets,
    reader: Reader,
    actions: Actions,
    health: Health,
    clock: Callable[[], float],
    stale_after_s: float,
) -> None:
    past = PastDays(reader)

    @router.get("/house/{site}/supply", name="supply")
    def supply(site: str) -> Response:
        place = reader.site(site)
        house = back(reader, place, health, clock(), supply_sheet.MONTH_DAYS, stale_after_s)
        return sheets.answer("supply.html", supply_sheet.make(house, reader, past))

    @router.get("/house/{site}/chime/{chime}/supply", name="supply_stretch")
    def supply_stretch(
        site: str, chime: str, first: Field = "", last: Field = "", burst: float | None = None
    ) -> Response:
        """Any stretch, from ten years to one cycle of the mains."""
        house = back(reader, reader.site(site), health, clock(), 0, stale_after_s)
        known = reader.chime(site, chime)
        try:
            asked = stretch_asked.asked_of(house, known, first, last, burst)
            sheet = stretch_sheet.make(reader, house, known, asked)
        except (ValueError, OverflowError, OSError):
            raise NotFound(
                say(
                    "{first} to {last} is no stretch of days such as 2026-11-01 to 2026-11-24.",
                    first=f"{first!r}",
                    last=f"{last!r}",
                )
            ) from None
        return sheets.answer("stretch.html", sheet)

    @router.post("/house/{site}/chime/{chime}/commissioning", name="commission")
    def commission(site: str, chime: str) -> Response:
        actions.commission(site, chime, None, "", clock())
        return RedirectResponse(router.url_path_for("supply", site=site), 303)

    @router.get("/house/{site}/set-aside", name="set_aside")
    def set_aside(site: str, before: Annotated[str | None, Query(max_length=40)] = None) -> Response:
        house = back(reader, reader.site(site), health, clock(), 0, stale_after_s)
        found, onward = reader.set_aside(site=site, cursor=before, limit=ledgers.SET_ASIDE_PAGE)
        return sheets.answer("set_aside.html", ledgers.set_aside(house, found, onward))


def _names(
    router: APIRouter,
    sheets: Sheets,
    reader: Reader,
    actions: Actions,
    health: Health,
    clock: Callable[[], float],
    stale_after_s: float,
) -> None:
    def form_of(site: str, refused: str = "", done: bool = False) -> contexts.Names:
        house = back(reader, reader.site(site), health, clock(), 0, stale_after_s)
        return ledgers.names(house, sorted(available_timezones()), refused, done)

    @router.get("/house/{site}/names", name="names")
    def names(site: str, kept: bool = False) -> Response:
        return sheets.answer("names.html", form_of(site, done=kept))

    @router.post("/house/{site}/names", name="rename_site")
    def rename_site(site: str, name: Text, time_zone: Text) -> Response:
        return change(site, lambda: actions.rename_site(site, name, time_zone))

    @router.post("/house/{site}/chime/{chime}/door/{door}", name="rename_door")
    def rename_door(site: str, chime: str, door: str, name: Text) -> Response:
        return change(site, lambda: actions.rename_door(site, chime, door, name))

    @router.post("/house/{site}/chime/{chime}/claim", name="claim")
    def claim(site: str, chime: str, name: Annotated[str, Form(max_length=200)] = "") -> Response:
        actions.claim(site, chime, name.strip() or None)
        return RedirectResponse(router.url_path_for("doorstep", site=site), 303)

    def change(site: str, action: Callable[[], None]) -> Response:
        try:
            action()
        except Refused as refusal:
            return sheets.answer("names.html", form_of(site, refused=resaid(str(refusal))), 400)
        return RedirectResponse(f"{router.url_path_for('names', site=site)}?kept=1", 303)
