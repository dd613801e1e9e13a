"""Keeps other people's web pages from speaking to a service on this machine through the owner's browser.

A name that resolves to loopback must not open the API to its page (DNS rebinding): where Bellcrank listens on loopback only,
the Host must be a loopback name. And a form on another site must not act here: a request that changes something and names an
Origin must name this one. Accounts come later; this is no substitute.
"""

from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from adapters.problems import problem

LOOPBACK_NAMES = {"localhost", "127.0.0.1", "[::1]"}
SAFE = {"GET", "HEAD", "OPTIONS"}


class Guard:
    """ASGI middleware. `loopback_only`: whether the service listens on loopback only."""

    def __init__(self, app: ASGIApp, loopback_only: bool) -> None:
        self._app, self._loopback_only = app, loopback_only

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            reason = self._reason_against(scope["method"], Headers(scope=scope))
            if reason is not None:
                await problem(Request(scope), 403, reason)(scope, receive, send)
                return
        await self._app(scope, receive, send)

    def _reason_against(self, method: str, headers: Headers) -> str | None:
        host = headers.get("host", "")
        if self._loopback_only and _without_port(host) not in LOOPBACK_NAMES:
            return f"{host!r} is no name of this machine's loopback address; Bellcrank listens on loopback only."
        origin = headers.get("origin")
        if method not in SAFE and origin is not None and origin.partition("://")[2] != host:
            return f"A page of {origin} may not change anything here."
        return None


def _without_port(host: str) -> str:
    return host if host.endswith("]") else host.rpartition(":")[0] or host
