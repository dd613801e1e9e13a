"""Routes of the Fit-out sheet: fill in, try, keep, set to work, print. Draws nothing; writes only through its actions."""

from collections.abc import Callable, Mapping
from typing import Annotated, Any, Protocol

from fastapi import APIRouter, Form, Query, Request, Response
from fastapi.responses import RedirectResponse

from dashboard.fitout_fields import BLANKS, DOOR, sheet_of
from dashboard.house import House
from dashboard.language import marked, resaid, say
from dashboard.sheets import Sheets, name_of
from service.errors import NotFound, Refused
from service.model import Chime
from service.ports import Reader

Short = Annotated[str, Query(max_length=80)]
FIELDS = 60
DONE = {
    "kept": marked("The sheet is kept."),
    "record": marked("The commissioning record is kept."),
    "asked": marked("The chime has been asked for a survey."),
}


class Actions(Protocol):
    """What a person may do from this sheet. Each raises NotFound, Refused or StoreUnavailable."""

    def keep_fitout(self, site: str, chime: str, sheet: dict[str, Any], by: str, now_s: float) -> None: ...
    def commission(
        self, site: str, chime: str, stretch_s: tuple[float, float] | None, by: str, now_s: float
    ) -> None: ...


Ask = Callable[[str, str, str], Any]


def add(
    router: APIRouter,
    sheets: Sheets,
    reader: Reader,
    actions: Actions,
    ask: Ask | None,
    clock: Callable[[], float],
    house_of: Callable[[str, float], House],
) -> None:
    def sheet(request: Request, site: str, chime: str, **asked: Any) -> Response:
        from dashboard import fitout_sheet

        house = house_of(site, clock())
        context = fitout_sheet.make(reader, house, _chime(house, chime), fitout_sheet.Asked(**asked))
        return sheets.answer("fitout.html", context, 400 if asked.get("refused") else 200)

    def back(site: str, chime: str, done: str, since: str = "") -> Response:
        query = f"?chime={chime}&done={done}" + (f"&since={since}" if since else "")
        return RedirectResponse(f"{router.url_path_for('fitout', site=site)}{query}", 303)

    @router.get("/house/{site}/fitout", name="fitout")
    def fitout(
        request: Request,
        site: str,
        chime: Short = "",
        asked: bool = False,
        tried: Short = "",
        times: Annotated[float, Query(ge=-2.0, le=2.0)] = 0.0,
        since: Annotated[float | None, Query(ge=0.0, le=1e11)] = None,
        begin: bool = False,
        done: Short = "",
    ) -> Response:
        if begin:
            return back(site, _chime(house_of(site, clock()), chime).chime, "", f"{clock():.0f}")
        filled = _filled(request.query_params) if asked else None
        return sheet(
            request, site, chime, filled=filled, tried=tried, times=times, since_s=since, said=say(DONE.get(done, ""))
        )

    @router.get("/house/{site}/fitout/paper", name="commissioning_sheet")
    def paper(site: str, chime: Short = "") -> Response:
        from dashboard import commissioning_sheet

        house = house_of(site, clock())
        return sheets.answer("commissioned.html", commissioning_sheet.make(reader, house, _chime(house, chime)))

    @router.post("/house/{site}/chime/{chime}/fitout", name="keep_fitout")
    async def keep(request: Request, site: str, chime: str) -> Response:
        import asyncio

        form = await request.form(max_fields=FIELDS, max_files=0)
        filled = _filled({name: str(value) for name, value in form.items()})

        def action() -> Response:
            try:
                actions.keep_fitout(site, chime, sheet_of(filled.items()), name_of(request), clock())
            except Refused as refusal:
                return sheet(request, site, chime, filled=filled, refused=resaid(str(refusal)))
            return back(site, chime, "kept")

        return await asyncio.to_thread(action)

    @router.post("/house/{site}/chime/{chime}/setting", name="set_to_work")
    def set_to_work(
        request: Request,
        site: str,
        chime: str,
        since: Annotated[float, Form(ge=0.0, le=1e11)],
        wish: Annotated[str, Form(max_length=20)],
    ) -> Response:
        begun = f"{since:.0f}"
        try:
            if wish == "survey" and ask is not None:
                ask(site, chime, name_of(request))
                return back(site, chime, "asked", begun)
            actions.commission(site, chime, (since, clock()), name_of(request), clock())
        except Refused as refusal:
            return sheet(request, site, chime, since_s=since, refused=resaid(str(refusal)))
        return back(site, chime, "record")


def _chime(house: House, wanted: str) -> Chime:
    """Raises NotFound."""
    for chime in house.chimes:
        if not wanted or chime.chime == wanted:
            return chime
    raise NotFound(say("There is no chime {wanted} here.", wanted=f"{wanted!r}"))


def _filled(given: Mapping[str, str]) -> dict[str, str]:
    """The blanks among the fields of a form."""
    return {name: str(value)[:80] for name, value in given.items() if name in BLANKS or name.startswith(DOOR)}
