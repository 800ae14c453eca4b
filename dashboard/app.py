"""The board: pages on Dash's FastAPI back end, a process of its own, reading from the API only.

A page is one JSON document, made in Python (`desk`, `wall`, `press`) and drawn by one clientside
function (`assets/board.js`). A refresh carries the document only when it has changed.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any, Final
from urllib.parse import parse_qsl

from dash import ClientsideFunction, Dash, Input, Output, dcc, html
from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool
from starlette.middleware.gzip import GZipMiddleware
from starlette.types import ASGIApp

from dashboard import pages, words
from dashboard.access import KNOCK, LOOKING, Who
from dashboard.client import Client
from dashboard.fleet import Document
from dashboard.guard import THIS_MACHINE, Guard, Unsigned
from dashboard.pages import Ask, Sources
from dashboard.posts import PATHS, Posts
from dashboard.session import Sessions, Tries
from dashboard.site import PAGES

REFRESH_S: Final = 5.0
MOST_LONG: Final = 2_000

LOST: Final = (
    "This screen gets no answer from the board. What you see is from then; counts go on in the "
    "presses and will be caught up."
)

INDEX: Final = """<!DOCTYPE html>
<html lang="en">
<head>
{%metas%}
<title>{%title%}</title>
{%favicon%}
{%css%}
</head>
<body>
{%app_entry%}
<footer>
{%config%}
{%scripts%}
{%renderer%}
</footer>
</body>
</html>
"""


def utc_now() -> datetime:
    """The board's clock."""
    return datetime.now(UTC)


def create_app(
    *,
    api_url: str,
    token: str,
    unsigned: Unsigned | None = THIS_MACHINE,
    refresh_s: float = REFRESH_S,
    now: Callable[[], datetime] = utc_now,
) -> ASGIApp:
    """The board as an ASGI app.

    api_url: `http://host:port`, without `/api/v1`.  token: a viewer's, for what all may read.
    unsigned: who may look without signing in, None for nobody.  refresh_s: seconds between a
    screen's questions, >= 1.
    """
    if refresh_s < 1:
        raise ValueError(f"refresh_s: got {refresh_s!r}, allowed is 1 or more")
    client = Client(api_url, token)
    sources = Sources.over(client, now)
    sessions = Sessions(client, now)
    dash = Dash(
        __name__,
        backend="fastapi",
        update_title="",
        title="Duestroke",
        assets_ignore=r".*\.lazy\..*",
    )
    # No callback here needs a websocket; with the capability on, every screen would open one.
    dash.backend.websocket_capability = False
    dash.index_string = INDEX
    dash.layout = _layout(refresh_s)
    _callbacks(dash, sources, sessions, now, refresh_s)
    server: FastAPI = dash.server
    server.add_api_route("/healthz", _healthz, methods=["GET"])

    def plain(text: str) -> str:
        return words.of_the_api(text, sources.zone(), now())

    posts = Posts(client, sessions, Tries(now), wrote=sources.forget, plain=plain)
    posts.install(server)
    server.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)
    return Guard(server, is_page=_is_page, posts=PATHS, unsigned=unsigned)


def _is_page(path: str) -> bool:
    return pages.find(PAGES, path) is not None


def _healthz() -> dict[str, str]:
    return {"status": "ok"}


def _layout(refresh_s: float) -> html.Div:
    return html.Div(
        [
            dcc.Interval(id="board-tick", interval=round(1000 * refresh_s)),
            dcc.Store(id="board-ask"),
            dcc.Store(id="board-answer"),
            dcc.Store(id="board-drawn"),
            html.Div(id="board"),
        ]
    )


def _callbacks(
    dash: Dash,
    sources: Sources,
    sessions: Sessions,
    now: Callable[[], datetime],
    refresh_s: float,
) -> None:
    dash.clientside_callback(  # type: ignore[no-untyped-call]
        ClientsideFunction("board", "ask"),
        Output("board-ask", "data"),
        Input("board-tick", "n_intervals"),
    )
    dash.clientside_callback(  # type: ignore[no-untyped-call]
        ClientsideFunction("board", "draw"),
        Output("board-drawn", "data"),
        Input("board-answer", "data"),
        prevent_initial_call=True,
    )

    @dash.callback(
        Output("board-answer", "data"), Input("board-ask", "data"), prevent_initial_call=True
    )
    async def refresh(asked: Mapping[str, Any] | None) -> Document:
        knock = KNOCK.get()

        def told() -> Document:
            who = sessions.who(knock.session, knock.otherwise)
            return answer(sources, now(), asked or {}, refresh_s, who)

        # In a thread: a slow API must not keep the other screens waiting.
        return await run_in_threadpool(told)


def answer(
    sources: Sources,
    now: datetime,
    asked: Mapping[str, Any],
    refresh_s: float = REFRESH_S,
    who: Who = LOOKING,
) -> Document:
    """One answer to one screen: when it was made, and the document if it differs from the screen's.

    asked: `address` (path and query of the screen), `params` (what a form holds, by name), `open`
    (what is shown opened), `digest` (of the screen's document).
    """
    # To the minute: a page that moved with every second would be a new one at each refresh.
    minute = now.replace(second=0, microsecond=0)
    made = page(sources, minute, asked, who)
    digest = digest_of(made)
    at = made["head"]["now"]
    beat = {
        "digest": digest,
        "at": at,
        "lost": LOST,
        "every_s": refresh_s,
        "clock": clock_of(now),
    }
    return beat if asked.get("digest") == digest else {**beat, "page": made}


def clock_of(now: datetime) -> int:
    """The board's clock in ms since 1970: a tablet's own may be wrong."""
    return round(now.timestamp() * 1000)


def page(sources: Sources, now: datetime, asked: Mapping[str, Any], who: Who = LOOKING) -> Document:
    """The document that a screen asks for, see `answer`. `now`: aware, whole minutes."""
    path, _, query = str(asked.get("address", "/"))[:MOST_LONG].partition("?")
    params = {**dict(parse_qsl(query)), **_params(asked.get("params"))}
    if path == "/" and params.get("view") == "wall":
        path = "/wall"
    ask = Ask(now, who, sources, params, _names(asked.get("open")))
    made = pages.draw(PAGES, ask, path)
    return {**made, "assets": [_tagged(name) for name in made.get("assets", ())]}


def _names(given: object) -> frozenset[str]:
    return frozenset(str(name) for name in given[:100]) if isinstance(given, list) else frozenset()


def _params(given: object) -> dict[str, str]:
    """What a form holds: text by name, as much of it as any form has."""
    if not isinstance(given, dict):
        return {}
    return {
        str(name): value[:MOST_LONG]
        for name, value in list(given.items())[:100]
        if isinstance(value, str)
    }


ASSETS: Final = Path(__file__).parent / "assets"


@lru_cache
def _tagged(name: str) -> str:
    """An asset's address, with a tag by which a browser keeps it until it changes."""
    return f"/assets/{name}?v={hashlib.sha256((ASSETS / name).read_bytes()).hexdigest()[:12]}"


def digest_of(document: Document) -> str:
    """A short digest of what the screen would show."""
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()[:16]
