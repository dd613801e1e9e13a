"""Puts routes into the application so that it stays small in memory. Knows no route."""

import sys
from types import ModuleType

from fastapi import APIRouter, FastAPI


def add_routes(app: FastAPI, router: APIRouter) -> None:
    """All routes of a router, each of which has its prefix, tags and errors already.

    `include_router` would keep what it knows of each parameter twice: the router's and its own.
    """
    app.router.routes.extend(router.routes)


def without_old_models() -> None:
    """FastAPI asks of each annotation whether it is a model of pydantic's first version, and would load the whole of that to know.

    Only for a process in which nobody has such models.
    """
    empty = ModuleType("pydantic.v1")
    empty.BaseModel = type("BaseModel", (), {})  # type: ignore[attr-defined]
    sys.modules.setdefault(empty.__name__, empty)
