"""The files that pages ask for (style, script, type), served so that a browser fetches each version once. Knows no page."""

import hashlib
from functools import cache
from pathlib import Path
from typing import Any

from starlette.responses import Response
from starlette.staticfiles import StaticFiles

DIRECTORY = Path(__file__).parent / "static"
"""To be mounted at `MOUNTED_AT`."""

MOUNTED_AT = "/static"

YEAR_S = 31_536_000


@cache
def url(name: str) -> str:
    """The address of a file, with a digest of its content: another content is another address."""
    digest = hashlib.sha256((DIRECTORY / name).read_bytes()).hexdigest()[:12]
    return f"{MOUNTED_AT}/{name}?v={digest}"


class Assets(StaticFiles):
    """`app.mount(MOUNTED_AT, Assets())`. What is asked for by its digest may be kept for a year, all else is asked again."""

    def __init__(self) -> None:
        super().__init__(directory=DIRECTORY)

    def file_response(self, *args: Any, **kwargs: Any) -> Response:
        response = super().file_response(*args, **kwargs)
        scope = args[2] if len(args) > 2 else kwargs["scope"]
        kept = b"v=" in scope.get("query_string", b"")
        response.headers["cache-control"] = f"public, max-age={YEAR_S}, immutable" if kept else "no-cache"
        response.headers["x-content-type-options"] = "nosniff"
        return response
