"""How a page is answered: template, headers, errors as pages, and the cookie that tells one person's looks from another's.

Knows no record. A person is a random number that says nothing about them; it is only used to remember when they last looked.
Who wants their absences counted says a name besides, on this device only.
"""

import re
import secrets
from collections.abc import Callable, Coroutine
from typing import Any
from urllib.parse import quote, unquote

from fastapi import APIRouter, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse
from fastapi.routing import APIRoute

from dashboard import assets, contexts
from dashboard.filling import environment, filled
from dashboard.language import marked, resaid, say, spoken, tag, wanted
from service.errors import NotFound, Refused, StoreUnavailable
from service.names import clean_name

COOKIE, NAME_COOKIE = "person", "name"
YEAR_S = 31_536_000

FORM_LIMIT = 2_000_000
"""Of what a form may send, the calendar in it included [bytes]."""

CAPTURE_LIMIT = 21_000_000
"""Of what the form of the Bench may send [bytes]."""

HEADERS = {
    "content-security-policy": "default-src 'self'; base-uri 'none'; object-src 'none'; form-action 'self'; frame-ancestors 'none'",
    "cache-control": "no-store",
    "referrer-policy": "same-origin",  # with no-referrer a browser's forms come with "Origin: null", and are refused
    "x-content-type-options": "nosniff",
}
"""Of every page: nothing is asked of anybody but this service, nothing inline runs, and no other site may frame it."""

Handler = Callable[[Request], Coroutine[Any, Any, Response]]


INDEX = (
    ("doorstep", marked("Doorstep")),
    ("callers", marked("Callers")),
    ("supply", marked("Supply")),
    ("alarms", marked("Alarms")),
    ("fitout", marked("Fit-out")),
    ("bench", marked("Bench")),
    ("report", marked("Report")),
)
"""The sheets of a house: route and word, in the order of the index."""


class Sheets:
    """Fills templates. Links are made by route name, from the router that owns them."""

    def __init__(self, router: APIRouter) -> None:
        self._environment = environment()
        self._environment.globals.update(
            path=lambda name, **parts: str(router.url_path_for(name, **parts)), asset=assets.url, index=INDEX
        )

    def answer(self, template: str, context: Any, status: int = 200) -> Response:
        """`context` is the frozen dataclass of this template."""
        return HTMLResponse(filled(self._environment, template, context), status, HEADERS)


class SheetRoute(APIRoute):
    """A route that speaks the reader's language, whose errors are pages too, and which takes no form from another site."""

    def get_route_handler(self) -> Handler:
        inner = super().get_route_handler()

        async def handle(request: Request) -> Response:
            with spoken(wanted(request.headers.get("accept-language", ""))):
                response = await answered(request)
                response.headers["content-language"] = tag()
                response.headers["vary"] = "accept-language"
                return response

        async def answered(request: Request) -> Response:
            try:
                if request.method == "POST":
                    _refuse_strangers(request)
                    _refuse_heavy(request, CAPTURE_LIMIT if self.name == "hand_in_capture" else FORM_LIMIT)
                return await inner(request)
            except NotFound as error:
                return _trouble(404, say("There is no such sheet."), resaid(str(error)))
            except RequestValidationError:
                return _trouble(
                    400, say("That could not be read."), say("A field is missing, or longer than it may be.")
                )
            except Refused as error:
                return _trouble(400, say("That was not done."), resaid(str(error)))
            except StoreUnavailable as error:
                return _trouble(503, say("The record cannot be reached."), resaid(str(error)))

        return handle


def _refuse_strangers(request: Request) -> None:
    """Forms come from these pages only. Browsers say where they come from (Fetch Metadata, W3C; Origin, RFC 6454)."""
    sent_from = request.headers.get("sec-fetch-site")
    origin = request.headers.get("origin")
    if sent_from is not None and sent_from not in ("same-origin", "none"):
        raise Refused(say("The form came from another site."))
    if sent_from is None and origin is not None and origin.partition("://")[2] != request.headers.get("host"):
        raise Refused(say("The form came from another site."))


def _refuse_heavy(request: Request, limit: int) -> None:
    """Before any of it is read: a browser says how long its form is (RFC 9110, 8.6)."""
    told = request.headers.get("content-length", "")
    if not told.isdecimal() or int(told) > limit:
        raise Refused(say("A form has at most {limit} bytes, and says how many.", limit=limit))


def _trouble(status: int, headline: str, lead: str) -> Response:
    templates = environment()
    templates.globals.update(path=lambda name, **parts: "/", asset=assets.url, index=INDEX)
    text = lead[:1].upper() + lead[1:] + ("" if lead.endswith((".", "?")) else ".")
    context = contexts.Trouble(contexts.Head(headline, ""), headline, text)
    return HTMLResponse(filled(templates, "trouble.html", context), status, HEADERS)


def person_of(request: Request) -> str:
    """The random number in the cookie, or a fresh one."""
    known = request.cookies.get(COOKIE, "")
    return known if re.fullmatch(r"[A-Za-z0-9_-]{16,64}", known) else secrets.token_urlsafe(18)


def name_of(request: Request) -> str:
    """What this person is called, as they said on this device; empty where they have not."""
    try:
        return clean_name(unquote(request.cookies.get(NAME_COOKIE, ""), errors="strict"))
    except (Refused, ValueError):
        return ""


def remember(response: Response, request: Request, person: str) -> Response:
    if request.cookies.get(COOKIE) != person:
        _keep(response, request, COOKIE, person)
    return response


def call(response: Response, request: Request, name: str) -> Response:
    """From now on this person is called so on this device; empty: no longer anything."""
    _keep(response, request, NAME_COOKIE, quote(name, safe=""), YEAR_S if name else 0)
    return response


def _keep(response: Response, request: Request, cookie: str, value: str, age_s: int = YEAR_S) -> None:
    secure = request.url.scheme == "https"
    response.set_cookie(cookie, value, max_age=age_s, httponly=True, samesite="lax", secure=secure, path="/")
