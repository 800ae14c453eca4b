"""What surrounds every request: its id, one log line, and the tag that saves sending it again."""

from __future__ import annotations

import hashlib
import logging
import time
import uuid
from collections import Counter
from typing import Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.problems import UNSIGNED, problem

logger = logging.getLogger(__name__)

_TAGGED_TYPE: Final = "application/json"
_METHODS: Final = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
_TAGGED_BASE: Final = "/api/"


class RequestLog:
    """Gives each request an id and logs it: method, path, status and time.

    Counts answers by method and status in `served`, for the metrics.
    Neither query nor headers are logged; a token stands in a header only.
    """

    def __init__(self, app: ASGIApp, served: Counter[tuple[str, int]]) -> None:
        self._app = app
        self._served = served

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request_id = str(uuid.uuid4())
        scope.setdefault("state", {})["request_id"] = request_id
        begun = time.perf_counter()
        status = 500

        async def noting(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        try:
            await self._app(scope, receive, noting)
        finally:
            self._served[_method(scope), status] += 1
            _log(scope, status, request_id, time.perf_counter() - begun)


def _method(scope: Scope) -> str:
    """The method, or `other`: a caller must not be able to make a new time series a request."""
    method: str = scope["method"]
    return method if method in _METHODS else "other"


def _log(scope: Scope, status: int, request_id: str, seconds: float) -> None:
    quiet = scope["path"] in ("/healthz", "/readyz", "/metrics")
    logger.log(
        logging.DEBUG if quiet else logging.INFO,
        "%s %s answered %s in %.1f ms (%s)",
        scope["method"],
        scope["path"].encode("unicode_escape").decode(),
        status,
        seconds * 1000,
        request_id,
        extra={"action": "request-served"},
    )


class BodyLimit:
    """Refuses a body of more than `most` bytes while it is read, so that nobody fills our memory.

    The refusal is raised where the body is read, and becomes a problem like any other error.
    """

    def __init__(self, app: ASGIApp, most: int) -> None:
        self._app = app
        self._most = most

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        read = 0

        async def counting() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > self._most:
                raise HTTPException(413, f"more than {self._most} bytes")
            return message

        await self._app(scope, counting if scope["type"] == "http" else receive, send)


class TokenFirst:
    """401 under the base where no bearer token is sent, before any of the body is read.

    Whether the token is valid is looked up later, with the connection that the endpoint uses.
    """

    def __init__(self, app: ASGIApp, base: str, free: frozenset[str]) -> None:
        self._app = app
        self._base = base
        self._free = free

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or self._may_pass(scope):
            await self._app(scope, receive, send)
            return
        challenge = {"WWW-Authenticate": "Bearer"}
        answer = problem(Request(scope), 401, UNSIGNED, headers=challenge)
        await answer(scope, receive, send)

    def _may_pass(self, scope: Scope) -> bool:
        path: str = scope["path"]
        if path in self._free or not path.startswith(f"{self._base}/"):
            return True
        return Headers(scope=scope).get("authorization", "").lower().startswith("bearer ")


class WeakTags:
    """A weak `ETag` on JSON answers to GET; 304 without a body where the caller has it already."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if _is_read(scope):
            send = _Tagging(scope, send)
        await self._app(scope, receive, send)


def _is_read(scope: Scope) -> bool:
    if scope["type"] != "http" or scope["method"] != "GET":
        return False
    path: str = scope["path"]
    return path.startswith(_TAGGED_BASE)


class _Tagging:
    """Holds back the start of one answer until its body is whole, then tags or spares it."""

    def __init__(self, scope: Scope, send: Send) -> None:
        self._known = Headers(scope=scope).get("if-none-match", "")
        self._send = send
        self._start: Message | None = None

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start" and _is_tagged(message):
            self._start = message
        elif self._start is None or message.get("more_body"):
            await self._pass_on(message)
        else:
            await self._finish(self._start, message)

    async def _pass_on(self, message: Message) -> None:
        # An answer in parts is a stream: it goes through as it comes.
        if self._start is not None:
            await self._send(self._start)
            self._start = None
        await self._send(message)

    async def _finish(self, start: Message, body: Message) -> None:
        self._start = None
        tag = f'W/"{hashlib.sha256(body["body"]).hexdigest()[:32]}"'
        headers = MutableHeaders(scope=start)
        headers["ETag"] = tag
        headers["Cache-Control"] = "private, no-cache"
        if tag in [known.strip() for known in self._known.split(",")]:
            del headers["content-length"]
            start, body = {**start, "status": 304}, {**body, "body": b""}
        await self._send(start)
        await self._send(body)


def _is_tagged(start: Message) -> bool:
    kind = Headers(raw=start["headers"]).get("content-type", "")
    return start["status"] == 200 and kind.startswith(_TAGGED_TYPE)
