"""Errors over HTTP: RFC 9457 problem details. The only place that knows which error is which status."""

from collections.abc import Iterable
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException

from service.alarms.rules import Problem, RuleRefused
from service.errors import BadPack, BellcrankError, NotFound, Refused, SettingError, StoreUnavailable
from service.outlet_form import OutletRefused


class UnsupportedType(BadPack):
    """A media type that carries no pack."""


class TooLarge(BadPack):
    """More bytes than a pack may have."""


class NotUnderstood(BadPack):
    """A pack that was kept and will be set aside for this reason."""


STATUS: dict[type[BellcrankError], HTTPStatus] = {
    NotFound: HTTPStatus.NOT_FOUND,
    RuleRefused: HTTPStatus.UNPROCESSABLE_ENTITY,
    OutletRefused: HTTPStatus.UNPROCESSABLE_ENTITY,
    Refused: HTTPStatus.BAD_REQUEST,
    SettingError: HTTPStatus.UNPROCESSABLE_ENTITY,  # a fit-out sheet with a figure that cannot be
    UnsupportedType: HTTPStatus.UNSUPPORTED_MEDIA_TYPE,
    TooLarge: HTTPStatus.REQUEST_ENTITY_TOO_LARGE,
    NotUnderstood: HTTPStatus.UNPROCESSABLE_ENTITY,
    BadPack: HTTPStatus.BAD_REQUEST,
    StoreUnavailable: HTTPStatus.SERVICE_UNAVAILABLE,
}


PROBLEM = {
    "title": "Problem",
    "description": "RFC 9457 problem details.",
    "type": "object",
    "properties": {
        "type": {"type": "string", "default": "about:blank"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "instance": {"type": "string"},
        "errors": {
            "description": "of a form with several mistakes: each field and its reason",
            "type": "array",
            "items": {
                "type": "object",
                "properties": {"field": {"type": "string"}, "reason": {"type": "string"}},
                "required": ["field", "reason"],
            },
        },
    },
    "required": ["title", "status", "detail", "instance"],
}


def install(app: FastAPI) -> None:
    """Make every error of the API a problem document, and describe it."""
    describe = app.openapi

    def described() -> dict[str, Any]:
        told = describe()
        told["components"]["schemas"]["Problem"] = PROBLEM
        return told

    app.openapi = described  # type: ignore[method-assign]
    for kind in STATUS:
        app.add_exception_handler(kind, _ours)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _shape)


def problem(
    request: Request,
    status: int,
    detail: str,
    headers: dict[str, str] | None = None,
    mistakes: Iterable[Problem] = (),
) -> JSONResponse:
    title = HTTPStatus(status).phrase
    body: dict[str, Any] = {"type": "about:blank", "title": title, "status": status, "detail": detail}
    body["instance"] = request.url.path
    errors = [{"field": one.field, "reason": one.reason} for one in mistakes]
    if errors:
        body["errors"] = errors
    return JSONResponse(body, status, headers, "application/problem+json")


async def _ours(request: Request, error: Exception) -> JSONResponse:
    status = next(STATUS[kind] for kind in type(error).__mro__ if kind in STATUS)
    return problem(request, status, str(error), mistakes=getattr(error, "problems", ()))


async def _http(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, HTTPException)
    headers = dict(error.headers) if error.headers else None
    return problem(request, error.status_code, str(error.detail), headers)


async def _shape(request: Request, error: Exception) -> JSONResponse:
    assert isinstance(error, RequestValidationError)
    found = "; ".join(f"{'.'.join(str(part) for part in one['loc'])}: {one['msg']}" for one in error.errors())
    return problem(request, HTTPStatus.UNPROCESSABLE_ENTITY, found)
