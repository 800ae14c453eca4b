"""What stands before the board: known paths, who asks, no posts from elsewhere, strict headers.

Who has not signed in sees nothing, with one exception: somebody at this very machine may look. That
somebody asks from a loopback address for a loopback name and through no proxy, so that neither a
page elsewhere under a name of its own nor a reverse proxy lets the world in.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dashboard.access import KNOCK, LOOKING, NOBODY, Knock

LOOPBACK: Final = ("127.0.0.1", "localhost", "[::1]")

HEADERS: Final = {
    "Content-Security-Policy": (
        "default-src 'self'; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; "
        "img-src 'self' data:; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
    ),
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}
MOST_BYTES: Final = 1_000_000
COOKIE: Final = "duestroke-session"
CHECK: Final = "x-duestroke-check"
"""The header in which a page sends the word of its session with what it writes."""

_PREFIXES: Final = ("/assets/", "/_dash", "/_favicon")
_PROXIED: Final = ("forwarded", "via", "x-forwarded-for", "x-forwarded-host", "x-real-ip")


@dataclass(frozen=True, slots=True)
class Unsigned:
    """Who may look without signing in. `names`: hosts by which they must ask.

    any_peer: true only where something outside us lets nobody but this machine reach the port, as a
    container's port that is published on loopback.
    """

    names: Collection[str] = LOOPBACK
    any_peer: bool = False

    def may_look(self, scope: Scope) -> bool:
        """Whether this request comes from this machine itself."""
        headers = Headers(scope=scope)
        if any(name in headers for name in _PROXIED):
            return False
        if host_name(headers.get("host", "")) not in self.names:
            return False
        return self.any_peer or _is_loopback(scope)


THIS_MACHINE: Final = Unsigned()


def _is_loopback(scope: Scope) -> bool:
    address = (scope.get("client") or ("", 0))[0]
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


class Guard:
    """An ASGI app around the board. Refuses unknown paths (404) and posts of other sites (403).

    is_page: whether a path is a page's; all pages are one index.  unsigned: None where nobody may
    look without signing in.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        is_page: Callable[[str], bool],
        posts: Collection[str],
        unsigned: Unsigned | None,
    ) -> None:
        self._app, self._unsigned = app, unsigned
        self._is_page, self._posts = is_page, frozenset(posts)

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
            await refusal(scope, receive, _with_headers(send))
            return
        KNOCK.set(self._knock(scope))
        await self._app(self._at_index(scope), receive, _with_headers(send))

    def _knock(self, scope: Scope) -> Knock:
        headers = Headers(scope=scope)
        is_looking = self._unsigned is not None and self._unsigned.may_look(scope)
        return Knock(
            LOOKING if is_looking else NOBODY,
            session_id(headers),
            str((scope.get("client") or ("", 0))[0]),
            headers.get(CHECK, ""),
            "https" in (scope.get("scheme"), headers.get("x-forwarded-proto", "")),
        )

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        path: str = scope["path"]
        if scope["method"] in ("GET", "HEAD"):
            is_known = path == "/healthz" or path.startswith(_PREFIXES) or self._is_page(path)
            return None if is_known else _plain(404, "Not found.")
        if scope["method"] != "POST" or not (path in self._posts or path.startswith("/_dash")):
            return _plain(404, "Not found.")
        return _post_refusal(Headers(scope=scope))

    def _at_index(self, scope: Scope) -> Scope:
        """All pages are one index, which reads its own address."""
        if scope["method"] != "POST" and self._is_page(scope["path"]):
            return {**scope, "path": "/", "raw_path": b"/"}
        return scope


def _post_refusal(headers: Headers) -> PlainTextResponse | None:
    """A post must come from a page of ours, as JSON of a known length."""
    if not is_own(headers):
        return _plain(403, "Sent from another site.")
    if headers.get("content-type", "").partition(";")[0].strip() != "application/json":
        return _plain(415, "Send application/json.")
    length = headers.get("content-length", "")
    if not length.isdecimal():
        return _plain(411, "Say how long the body is.")
    return _plain(413, "Too long.") if int(length) > MOST_BYTES else None


def is_own(headers: Headers) -> bool:
    """Whether a post comes from a page of this very host, or from no browser at all.

    Browsers send `Sec-Fetch-Site` over https and on loopback, and `Origin` with every post.
    """
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site == "same-origin"
    origin = headers.get("origin")
    return origin is None or urlsplit(origin).netloc == headers.get("host", "")


def session_id(headers: Headers) -> str:
    """The session's id that a request carries, empty where there is none."""
    return cookie_parser(headers.get("cookie", "")).get(COOKIE, "")


def host_name(host: str) -> str:
    """A Host header without its port; IPv6 keeps its brackets."""
    if host.startswith("["):
        return host.partition("]")[0] + "]"
    return host.partition(":")[0].lower()


def _plain(status: int, text: str) -> PlainTextResponse:
    return PlainTextResponse(text + "\n", status_code=status)


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            MutableHeaders(scope=message).update(HEADERS)
        await send(message)

    return sending
