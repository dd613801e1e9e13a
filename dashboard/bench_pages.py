"""Routes of the Bench: hand in a capture, look at one, take one away. Draws nothing; writes only through its actions."""

from collections.abc import Callable
from typing import Annotated, Any, Protocol

from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from fastapi.responses import RedirectResponse

from dashboard import bench_sheet
from dashboard.house import House
from dashboard.language import resaid, say
from dashboard.sheets import Sheets
from service.capture_ports import KeptCapture
from service.captures import Handed
from service.errors import Refused
from service.ports import Reader

Short = Annotated[str, Form(max_length=200)]
FILE_LIMIT = 20_000_000


class Actions(Protocol):
    """Each raises NotFound, Refused or StoreUnavailable."""

    def keep(self, site: str, chime: str, handed: Handed) -> KeptCapture: ...
    def remove(self, site: str, number: int) -> None: ...


def add(
    router: APIRouter,
    sheets: Sheets,
    reader: Reader,
    actions: Actions | None,
    clock: Callable[[], float],
    house_of: Callable[[str, float], House],
) -> None:
    def sheet(site: str, shown: KeptCapture | None, refused: str = "") -> Response:
        context = bench_sheet.make(reader, house_of(site, clock()), shown, refused, actions is not None)
        return sheets.answer("bench.html", context, 400 if refused else 200)

    @router.get("/house/{site}/bench", name="bench")
    def bench(site: str) -> Response:
        return sheet(site, None)

    @router.get("/house/{site}/bench/{number}", name="capture")
    def capture(site: str, number: int) -> Response:
        return sheet(site, reader.capture(site, number))

    if actions is None:
        return
    doing = actions

    @router.post("/house/{site}/bench", name="hand_in_capture")
    def hand_in(
        request: Request,
        site: str,
        capture: Annotated[UploadFile, File()],
        point: Short = "",
        chime: Short = "",
        channel: Short = "",
        step: Short = "",
        full_scale: Short = "",
    ) -> Response:
        try:
            chosen = chime or reader.chimes(site)[0].chime
            handed = Handed(
                _bytes(capture),
                capture.filename or "",
                point,
                channel.strip(),
                _number(step, "step", 1e-6),
                _number(full_scale, say("full scale")),
            )
            kept = doing.keep(site, chosen, handed)
        except Refused as refusal:
            return sheet(site, None, resaid(str(refusal)))
        return _to(router, "capture", site=site, number=str(kept.id))

    @router.post("/house/{site}/bench/{number}/remove", name="remove_capture")
    def remove(site: str, number: int) -> Response:
        doing.remove(site, number)
        return _to(router, "bench", site=site)


def _bytes(capture: UploadFile) -> bytes:
    """Raises Refused where there are none."""
    data = capture.file.read(FILE_LIMIT + 1)
    if not data:
        raise Refused(say("No file was chosen, or it is empty."))
    return data


def _number(text: str, what: str, times: float = 1.0) -> float | None:
    """Raises Refused."""
    if not text.strip():
        return None
    try:
        value = float(text.strip().replace(",", ".")) * times
    except ValueError:
        raise Refused(say("The {what} is no number: {text}.", what=what, text=f"{text.strip()[:40]!r}")) from None
    if not 0.0 < value < 1e4:
        raise Refused(say("The {what} must be more than nothing.", what=what))
    return value


def _to(router: APIRouter, name: str, **parts: Any) -> Response:
    return RedirectResponse(str(router.url_path_for(name, **parts)), 303)
