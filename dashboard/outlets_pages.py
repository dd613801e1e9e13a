"""Routes of the sheet of ways out: test one, send again what was given up, switch it. Draws nothing; writes only through its actions."""

from collections.abc import Callable, Sequence
from typing import Annotated, Any, Protocol

from fastapi import APIRouter, Form, Query, Response
from fastapi.responses import RedirectResponse

from dashboard import outlets_sheet
from dashboard.alarm_contexts import Said
from dashboard.house import House
from dashboard.language import resaid, say
from dashboard.outlets_sheet import DONE
from dashboard.sheets import Sheets
from service.errors import NotFound, Refused
from service.outbox_ports import OutboxReader
from service.outlets import Outlet
from service.retries import Answer


class Actions(Protocol):
    """Each raises NotFound, Refused or StoreUnavailable."""

    def test(self, outlet_id: int) -> Answer: ...
    def switch(self, outlet_id: int, on: bool, why: str = "") -> Any: ...
    def hurry(self, outlet_id: int) -> None: ...
    def resend(self, outlet_id: int, letter_ids: Sequence[int] | None) -> int: ...


def add(
    router: APIRouter,
    sheets: Sheets,
    reader: OutboxReader,
    actions: Actions | None,
    clock: Callable[[], float],
    house_of: Callable[[str, float], House],
) -> None:
    def sheet(site: str, said: Said) -> Response:
        context = outlets_sheet.make(reader, house_of(site, clock()), said)
        return sheets.answer("outlets.html", context, 400 if said.refused else 200)

    @router.get("/house/{site}/ways-out", name="ways_out")
    def ways_out(site: str, done: Annotated[str, Query(max_length=20)] = "") -> Response:
        return sheet(site, Said(say(DONE.get(done, ""))))

    if actions is None:
        return
    doing = actions

    @router.post("/house/{site}/way-out/{outlet}", name="ask_outlet")
    def ask(site: str, outlet: int, wish: Annotated[str, Form(max_length=20)]) -> Response:
        known = reader.outlet(outlet)
        if known.site not in (None, site):
            raise NotFound(f"no way out has the number {outlet}")
        try:
            done = _done(doing, known, wish)
        except Refused as refusal:
            return sheet(site, Said(resaid(str(refusal)), True))
        return RedirectResponse(f"{router.url_path_for('ways_out', site=site)}?done={done}", 303)


def _done(actions: Actions, outlet: Outlet, wish: str) -> str:
    """Do what is wished; the word of what was done. Raises Refused with a sentence."""
    match wish:
        case "test":
            answer = actions.test(outlet.id)
            if not answer.delivered:
                told = resaid(answer.told).rstrip(".")
                raise Refused(say("The test of {name} was not taken: {answer}.", name=outlet.name, answer=told))
            return "sent"
        case "again":
            actions.resend(outlet.id, None)
        case "hurried":
            actions.hurry(outlet.id)
        case "on" | "off":
            actions.switch(outlet.id, wish == "on")
        case _:
            raise Refused(say("That cannot be asked of a way out."))
    return wish
