"""Tool room: what must be ready by which day, in which size, and what there is for it."""

from __future__ import annotations

from datetime import timedelta
from typing import Final

from dashboard import fleet as fleets
from dashboard import panels, words
from dashboard import tool_room_queue as queue
from dashboard import tool_room_rows as rows
from dashboard.entry_tools import Place
from dashboard.fleet import Document
from dashboard.pages import Ask, Page
from dashboard.reads import Told
from dashboard.tool_room_facts import Demand, DemandList, Models, Room, Stock, weak_batches

WEEKS: Final = "6"
FRESH: Final = timedelta(seconds=20)
NOTHING_HELD: Final = "No tool is registered. A new tool is entered on the entry page."


def document(ask: Ask) -> Document:
    """The page: what is short, the bench, what is wanted by when, what is away."""
    fleet = ask.arranged()
    reads = ask.sources.reads
    wanted = reads.one("/demand", DemandList, {"weeks": WEEKS}, FRESH)
    stock = reads.items("/stock", Stock, fresh_for=FRESH)
    places = reads.items("/positions", Place, fresh_for=timedelta(minutes=5))
    models = reads.later("/life-models", Models, {"limit": "1000"}, timedelta(minutes=15))
    room = Room(
        fleet=fleet,
        demand=wanted.value.items if wanted.value else (),
        stock={each.kind: each for each in stock.value or ()},
        places={each.position: each for each in places.value or ()},
        can_enter=ask.who.may("crew"),
        weak=weak_batches(models.value if models else None),
    )
    axis = fleets.axis_head(fleet)
    return {
        **ask.frame("tool-room", "Tool room", fleet),
        "top": _top(room, wanted, stock),
        "axis": {**axis, "note": _note(axis["note"])},
        "lines": fleets.line_paths(fleet),
        "bench": _bench(ask, room, stock),
        "ready": _ready(ask, room, wanted),
        "wanted": _wanted(ask, room, wanted),
        "out": _out(ask, room, stock),
        "orders": _orders(ask, room, stock),
    }


def _note(note: list[str]) -> list[str]:
    return ["Weeks count from now; the axis is that of the Shift page.", *note[1:]]


def _top(room: Room, wanted: Told[DemandList], stock: Told[tuple[Stock, ...]]) -> Document:
    """The answer in one paragraph, from what could be read."""
    lead = rows.short_words(room) if wanted.value else ""
    return {"lead": lead, "rest": queue.held_words(room) if stock.value else ""}


def _bench(ask: Ask, room: Room, stock: Told[tuple[Stock, ...]]) -> Document:
    return panels.panel(
        ask,
        "bench",
        "On the bench",
        stock,
        lambda _: queue.bench(room, "bench" in ask.opened),
        say="first what is short soonest, then what only wants a size",
        empty=NOTHING_HELD,
    )


def _ready(ask: Ask, room: Room, wanted: Told[DemandList]) -> Document:
    return panels.panel(
        ask,
        "ready",
        "To be ready, in order",
        wanted,
        lambda _: queue.ready(room, opened="ready" in ask.opened),
        say="tools that the engine wants out at one of the next two stops of their line, "
        "and the spare that would go in",
    )


def _wanted(ask: Ask, room: Room, wanted: Told[DemandList]) -> Document:
    return panels.panel(
        ask,
        "wanted",
        "Wanted by kind and size",
        wanted,
        lambda told: rows.wanted(room, told, opened="demand" in ask.opened),
        say=_made(ask, wanted.value),
    )


def _made(ask: Ask, told: DemandList | None) -> str:
    if told is None or told.made_at is None:
        return ""
    return f"from forecasts of {words.since(told.made_at, ask.zone, ask.now)} or later"


def _out(ask: Ask, room: Room, stock: Told[tuple[Stock, ...]]) -> Document:
    return panels.panel(
        ask,
        "out",
        "Out for rework",
        stock,
        lambda _: rows.away(room),
        say="bracket: from the day promised to the day by which nine in ten are back",
        empty=NOTHING_HELD,
    )


def _orders(ask: Ask, room: Room, stock: Told[tuple[Stock, ...]]) -> Document:
    return panels.panel(
        ask,
        "orders",
        "New ones",
        stock,
        lambda _: queue.orders(room),
        say="lead time and orders, as an engineer has said them",
        empty=NOTHING_HELD,
    )


def link(demand: Demand) -> str:
    """The place on this page of a kind and size."""
    return f"/tool-room#{rows.row_id(demand)}"


PAGE: Final = Page(
    view="tool-room",
    path="/tool-room",
    title="Tool room",
    document=document,
    word="Tool room",
    assets=("parts.lazy.js", "parts.lazy.css", "tool_room.lazy.js", "tool_room.lazy.css"),
)
