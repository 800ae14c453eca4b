"""The board: pages on Dash's FastAPI back end, a process of its own, reading from the API only.

A page is one JSON document, made in Python (`desk`, `wall`, `press`) and drawn by one clientside
function (`assets/board.js`). A refresh carries the document only when it has changed.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from dash import ClientsideFunction, Dash, Input, Output, dcc, html
from fastapi import FastAPI
from starlette.middleware.gzip import GZipMiddleware
from starlette.types import ASGIApp

from dashboard import desk, fleet, press, wall, words
from dashboard.client import Client
from dashboard.fleet import Answers, Document
from dashboard.guard import LOOPBACK, Guard
from dashboard.source import Records, Source
from duestroke import names

REFRESH_S: Final = 5.0

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


@dataclass(frozen=True, slots=True)
class Asked:
    """Where the answers come from: of the whole fleet, and of single presses."""

    fleet: Source
    presses: Records


def utc_now() -> datetime:
    """The board's clock."""
    return datetime.now(UTC)


def create_app(
    *,
    api_url: str,
    token: str,
    hosts: Collection[str] = LOOPBACK,
    refresh_s: float = REFRESH_S,
    now: Callable[[], datetime] = utc_now,
) -> ASGIApp:
    """The board as an ASGI app.

    api_url: `http://host:port`, without `/api/v1`.  token: a viewer's.  hosts: the names under
    which the board answers.  refresh_s: seconds between a screen's questions, >= 1.
    """
    if refresh_s < 1:
        raise ValueError(f"refresh_s: got {refresh_s!r}, allowed is 1 or more")
    client = Client(api_url, token)
    asked = Asked(Source(client, now), Records(client, now))
    dash = Dash(__name__, backend="fastapi", update_title="", title="Shift · Duestroke")
    # No callback here needs a websocket; with the capability on, every screen would open one.
    dash.backend.websocket_capability = False
    dash.index_string = INDEX
    dash.layout = _layout(refresh_s)
    _callbacks(dash, asked, now, refresh_s)
    server: FastAPI = dash.server
    server.add_api_route("/healthz", _healthz, methods=["GET"])
    server.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)
    return Guard(server, hosts)


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


def _callbacks(dash: Dash, sources: Asked, now: Callable[[], datetime], refresh_s: float) -> None:
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
    def refresh(asked: Mapping[str, Any] | None) -> Document:
        return answer(sources, now(), asked or {}, refresh_s)


def answer(
    sources: Asked, now: datetime, asked: Mapping[str, Any], refresh_s: float = REFRESH_S
) -> Document:
    """One answer to one screen: when it was made, and the document if it differs from the screen's.

    asked: `view` (`wall`, `press` or else the desk), `site` (the first one by default), `press`
    (`site/line/press`), `open` (what is shown opened), `digest` (of the screen's document).
    """
    # To the minute: a page that moved with every second would be a new one at each refresh.
    minute = now.replace(second=0, microsecond=0)
    made = page(sources, minute, asked)
    digest = digest_of(made)
    beat = {"digest": digest, "at": made["head"]["now"], "lost": LOST, "every_s": refresh_s}
    return beat if asked.get("digest") == digest else {**beat, "page": made}


def _names(given: object) -> frozenset[str]:
    return frozenset(str(name) for name in given[:100]) if isinstance(given, list) else frozenset()


def page(sources: Asked, now: datetime, asked: Mapping[str, Any]) -> Document:
    """The document that a screen asks for, see `answer`. `now`: aware, whole minutes."""
    view, opened = str(asked.get("view")), _names(asked.get("open"))
    seen = sources.fleet.read()
    if seen.answers is None:
        return away(now, view, seen.fault)
    # The answers may be some seconds younger than the whole minute.
    site = str(asked.get("site"))
    if view == "wall":
        return wall.document(fleet.arrange(seen.answers, now, wall.DAYS, site), fault=seen.fault)
    if view == "press":
        return _press_page(sources, now, str(asked.get("press")), opened)
    arranged = fleet.arrange(seen.answers, now, desk.DAYS, site)
    return desk.document(arranged, fault=seen.fault, opened=opened)


def _press_page(sources: Asked, now: datetime, name: str, opened: Collection[str]) -> Document:
    seen = sources.fleet.read()
    if not names.is_match(names.PRESS, name) or seen.answers is None:
        return away(now, "press", seen.fault or "there is no press of this name")
    arranged = fleet.arrange(seen.answers, now, press.DAYS, fleet.site_of(name))
    found = next((each for each in arranged.presses if each.press == name), None)
    if found is None:
        return press.unknown(arranged, name, fault=seen.fault)
    record = sources.presses.read(name, ask=not seen.fault)
    return press.document(arranged, found, record, fault=seen.fault, opened=opened)


def away(now: datetime, view: str, fault: str) -> Document:
    """The page before the first answer: axis and words, nothing that could pass for data."""
    nothing = Answers(at=now, presses=(), forecasts=None, stops=None, faults=(fault,))
    bare = fleet.arrange(nothing, now, wall.DAYS if view == "wall" else desk.DAYS)
    title = {"wall": "Wall", "press": "Press"}.get(view, "Shift")
    return {
        "view": view if view in ("wall", "press") else "desk",
        "title": f"{title} · Duestroke",
        "head": {**fleet.head(bare), "reporting": ""},
        "bar": None,
        "axis": {**fleet.axis_head(bare), "note": []},
        "away": {
            "lead": "This page could not be drawn.",
            "rest": f"Asked at {words.clock(now, bare.zone)} UTC: {fault}. "
            "The board asks again by itself; counts go on in the presses.",
        },
        "foot": fleet.foot(bare),
    }


def digest_of(document: Document) -> str:
    """A short digest of what the screen would show."""
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()[:16]
