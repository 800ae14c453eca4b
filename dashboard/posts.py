"""What screens post: signing in and out, and what they write.

Answers hold no token. A refusal of the API is an answer (200, with the API's status in it), since
the form shows it in place; a refusal of the board is one by its own status.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import Any, Final

import msgspec
from fastapi import FastAPI, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response

from dashboard.access import KNOCK, Knock, Who
from dashboard.client import ApiFault, Client, FieldFault, Reply
from dashboard.guard import COOKIE
from dashboard.session import LASTS, WALL_LASTS, Sessions, Tries, is_checked
from dashboard.writes import CALLS, Write, place

log = logging.getLogger(__name__)

PATHS: Final = ("/sign-in", "/sign-out", "/write")
WROTE: Final = {"action": "board-wrote"}
BAD_SIGN_IN: Final = {"action": "board-sign-in-refused"}


class SignIn(msgspec.Struct, frozen=True):
    """A token, given once. `wall`: for a screen that only looks, and stays signed in."""

    token: str
    wall: bool = False


class Posts:
    """Answers the posts of all screens.

    wrote: called after something was taken.  plain: makes a sentence of the API fit to be read.
    """

    def __init__(
        self,
        client: Client,
        sessions: Sessions,
        tries: Tries,
        *,
        wrote: Callable[[], None],
        plain: Callable[[str], str] = str,
    ) -> None:
        self._client, self._sessions, self._tries = client, sessions, tries
        self._wrote, self._plain = wrote, plain

    def install(self, server: FastAPI) -> None:
        """Hang them into the server."""
        answers = {"/sign-in": self.sign_in, "/sign-out": self.sign_out, "/write": self.write}
        for path, answer in answers.items():
            server.add_api_route(path, _threaded(answer), methods=["POST"])

    def sign_in(self, sent: bytes, knock: Knock) -> Response:
        """A session for a token: 200 with its cookie, 401, 429, or 503 without the API."""
        if not self._tries.may_try(knock.address):
            return _no(429, "Too many tries with a wrong token. Try again in five minutes.")
        try:
            given = msgspec.json.decode(sent, type=SignIn)
            begun = self._sessions.begin(given.token.strip(), wall=given.wall)
        except msgspec.MsgspecError:
            return _no(400, "Send a token.")
        except ApiFault as fault:
            return _no(503, f"Could not sign in: {fault}.")
        if begun is None:
            self._tries.was_bad(knock.address)
            log.warning("A sign-in was refused (%s).", knock.address, extra=BAD_SIGN_IN)
            words = "A wall takes a viewer’s token only." if given.wall else NOT_TAKEN
            return _no(401, words)
        self._sessions.end(knock.session)
        name, session = begun
        made = JSONResponse({"name": session.caller.name, "role": session.caller.role})
        _give(made, name, knock, wall=given.wall)
        return made

    def sign_out(self, sent: bytes, knock: Knock) -> Response:
        """End the session, if there is one, and take its cookie back."""
        self._sessions.end(knock.session)
        made = JSONResponse({})
        made.delete_cookie(COOKIE, httponly=True, samesite="strict", secure=knock.is_https)
        return made

    def write(self, sent: bytes, knock: Knock) -> Response:
        """Send one call to the API as who is signed in."""
        session = self._sessions.find(knock.session)
        if session is None:
            return _no(401, "The session has ended. Sign in again; what you typed stays here.")
        who = Who(session.caller.role, session.caller.name, session.check, knock.session)
        if not is_checked(who, knock.check):
            return _no(403, "Sent by a page of another session. Load this page again.")
        try:
            given = msgspec.json.decode(sent, type=Write)
        except msgspec.MsgspecError as fault:
            return _no(400, f"Could not be read: {fault}.")
        call = CALLS.get(given.call)
        path = None if call is None else place(call, given.params)
        if call is None or path is None:
            return _no(404, "There is no such call.")
        if not who.may(call.role):
            return _no(403, f"This needs the role {call.role}; {who.name} has {who.role}.")
        try:
            reply = self._client.send(call.method, path, given.body, session.token)
        except ApiFault as fault:
            return _no(503, f"Not entered: {fault}.")
        return self._told(reply, who, given.call)

    def _told(self, reply: Reply, who: Who, call: str) -> Response:
        if reply.status == 401:
            self._sessions.end(who.session)
            return _no(401, "The session has ended. Sign in again; what you typed stays here.")
        if reply.status == 403:
            return _no(403, reply.detail)
        if reply.is_taken:
            self._wrote()
        log.info("%s sent %s: %d.", who.name, call, reply.status, extra=WROTE)
        return Response(msgspec.json.encode(self._said(reply)), media_type="application/json")

    def _said(self, reply: Reply) -> Reply:
        errors = [FieldFault(each.field, self._plain(each.reason)) for each in reply.errors]
        told = self._plain(reply.detail) if reply.detail else ""
        return Reply(reply.status, self._warned(reply.body), told, errors)

    def _warned(self, body: Any) -> Any:  # noqa: ANN401 (whatever the API answers)
        if isinstance(body, list):
            return [self._warned(each) for each in body]
        if isinstance(body, dict) and body.get("warnings"):
            return body | {"warnings": [self._plain(each) for each in body["warnings"]]}
        return body


NOT_TAKEN: Final = "This token is not known, has expired, or was taken back."


def _give(made: Response, name: str, knock: Knock, *, wall: bool) -> None:
    lasts = WALL_LASTS if wall else LASTS
    made.set_cookie(
        COOKIE,
        name,
        max_age=round(lasts.total_seconds()),
        httponly=True,
        samesite="strict",
        secure=knock.is_https,
    )


def _no(status: int, words: str) -> JSONResponse:
    return JSONResponse({"status": status, "detail": words, "errors": []}, status)


def _threaded(answer: Callable[[bytes, Knock], Response]) -> Callable[[Request], Any]:
    """The API is asked in a thread: the server's loop serves the other screens meanwhile."""

    async def answering(request: Request) -> Response:
        made = await run_in_threadpool(answer, await request.body(), KNOCK.get())
        made.headers["Cache-Control"] = "no-store"
        return made

    return answering
