"""Routes of one visit: its sheet, and what a person says of it. Draws nothing; writes only through `Actions`."""

from collections.abc import Callable
from typing import Annotated, Protocol

from fastapi import APIRouter, Form, Path, Request, Response
from fastapi.responses import RedirectResponse

from dashboard import visit_sheet
from dashboard.house import House
from dashboard.language import resaid
from dashboard.sheets import Sheets, name_of
from service.errors import Refused
from service.names import NAME_LIMIT, NOTE_LIMIT
from service.ports import Reader

VisitId = Annotated[int, Path(ge=1, le=2**63 - 1)]
Who = Annotated[str, Form(max_length=10 * NAME_LIMIT)]
Note = Annotated[str, Form(max_length=10 * NOTE_LIMIT)]


class Actions(Protocol):
    """Raises NotFound, Refused or StoreUnavailable."""

    def note_visit(self, site: str, visit_id: int, who: str, note: str, by: str, now_s: float) -> None: ...


def add(
    router: APIRouter,
    sheets: Sheets,
    reader: Reader,
    actions: Actions,
    clock: Callable[[], float],
    house_of: Callable[[str, float], House],
) -> None:
    """`house_of`: a site from a moment on, until the end of its day."""

    def sheet(request: Request, site: str, visit: int, refused: str = "", kept: bool = False) -> Response:
        found = reader.visit(site, visit)
        context = visit_sheet.make(house_of(site, found.start_s), found, name_of(request), refused, kept)
        return sheets.answer("visit.html", context, 400 if refused else 200)

    @router.get("/house/{site}/visit/{visit}", name="visit")
    def one(request: Request, site: str, visit: VisitId, kept: bool = False) -> Response:
        return sheet(request, site, visit, kept=kept)

    @router.post("/house/{site}/visit/{visit}", name="note_visit")
    def note(request: Request, site: str, visit: VisitId, who: Who = "", note: Note = "") -> Response:
        try:
            actions.note_visit(site, visit, who, note, name_of(request), clock())
        except Refused as refusal:
            return sheet(request, site, visit, refused=resaid(str(refusal)))
        return RedirectResponse(f"{router.url_path_for('visit', site=site, visit=visit)}?kept=1", 303)
