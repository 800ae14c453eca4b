"""What stands in front of the board: known hosts and known paths only, and strict headers.

Until there is sign-in the board answers to loopback names alone, so that a page elsewhere can't
reach it under a name of its own.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from duestroke import names

LOOPBACK: Final = ("127.0.0.1", "localhost", "[::1]")

HEADERS: Final = {
    "Content-Security-Policy": (
        "default-src 'self'; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data:; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
    ),
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}

_PREFIXES: Final = ("/assets/", "/_dash", "/_favicon")
_PATHS: Final = ("/", "/healthz")
_PRESS_PAGE: Final = rf"/press/{names.PRESS}"


class Guard:
    """An ASGI app around the board. Refuses unknown hosts (421) and unknown paths (404)."""

    def __init__(self, app: ASGIApp, hosts: Collection[str] = LOOPBACK) -> None:
        self._app, self._hosts = app, frozenset(hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request, or the server's lifespan."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            # The board has no websocket; closing before accepting answers 403.
            await send({"type": "websocket.close", "code": 1008})
            return
        refusal = self._refusal(scope)
        if refusal is not None:
            await refusal(scope, receive, send)
            return
        await self._app(_at_index(scope), receive, _with_headers(send))

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        host = host_name(Headers(scope=scope).get("host", ""))
        if host not in self._hosts:
            return PlainTextResponse("The board does not answer to this name.\n", status_code=421)
        path = scope["path"]
        if path in _PATHS or path.startswith(_PREFIXES) or is_press_page(path):
            return None
        return PlainTextResponse("Not found.\n", status_code=404)


def is_press_page(path: str) -> bool:
    """Whether a path is that of a press page, `/press/<site>/<line>/<press>`."""
    return names.is_match(_PRESS_PAGE, path)


def _at_index(scope: Scope) -> Scope:
    """All pages are one index, which reads its own address: a press page is asked for there."""
    if is_press_page(scope["path"]):
        return {**scope, "path": "/", "raw_path": b"/"}
    return scope


def host_name(host: str) -> str:
    """A Host header without its port; IPv6 keeps its brackets."""
    if host.startswith("["):
        return host.partition("]")[0] + "]"
    return host.partition(":")[0].lower()


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            MutableHeaders(scope=message).update(HEADERS)
        await send(message)

    return sending
