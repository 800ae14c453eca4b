"""The bench, what must be ready in which order, and new ones: the tool room's lists."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from urllib.parse import urlencode

from dashboard import axis as axes
from dashboard import fleet as fleets
from dashboard import words
from dashboard.client import Forecast
from dashboard.fleet import Document
from dashboard.tables import Cell, Column, Row, Value, table
from dashboard.tool_room_facts import (
    Demand,
    Held,
    Room,
    Stock,
    Week,
    own_size,
    short_at,
    size_words,
    whole,
)
from duestroke.names import PRESS_POSITION

FEW: Final = 12
"""Rows of a list shown at first."""

WANTED_OUT: Final = ("overdue", "this-stop", "plan")


def tools(count: int) -> str:
    """`1 tool`, `3 tools`."""
    return f"{count}{words.NB}tool{'' if count == 1 else 's'}"


def held_words(room: Room) -> str:
    """What lies where, in one sentence."""
    stock = room.stock.values()
    shelf, bench, out = (
        sum(len(getattr(each, place)) for each in stock) for place in ("shelf", "bench", "out")
    )
    late = sum(is_late(each.back_at, room) for kind in stock for each in kind.out)
    said = f"{shelf} on the shelf, {bench} on the bench, {out} out for rework"
    return f"{said}, {late} of them late." if late else f"{said}."


def is_late(back_at: datetime | None, room: Room) -> bool:
    """Whether a promise has passed."""
    return back_at is not None and back_at < room.fleet.now


# ---- the bench ----

_BENCH: Final = (
    Column("Serial", "serial"),
    Column("Kind", "kind"),
    Column("Size", "size_mm"),
    Column("Batch", "batch"),
    Column("Reworks", "reworks", right=True),
    Column("Waits", "waits"),
    Column("Its kind", "kind_short"),
)
_ENTER: Final = Column("Enter", "enter")


def bench(room: Room, opened: bool) -> Document:
    """Tools that wait for a hand, in the order in which their kinds run short."""
    waiting = sorted(_waiting(room), key=lambda each: _order(room, *each))
    if not waiting:
        return {"state": "empty", "rest": "Nothing waits on the bench."}
    cut = waiting if opened else waiting[:FEW]
    columns = (*_BENCH, _ENTER) if room.can_enter else _BENCH
    rows = [_bench_row(room, *each) for each in cut]
    unsized = sum(_wants_size(room, *each) for each in waiting)
    return {
        "rest": f"{tools(len(waiting))}, {unsized} without the size that its place asks for.",
        "table": table("bench", "Tools on the bench", columns, rows),
        "more": f"All {len(waiting)}" if len(waiting) > FEW else "",
        "open": opened,
    }


def _waiting(room: Room) -> Iterator[tuple[Stock, Held]]:
    for stock in room.stock.values():
        for held in stock.bench:
            yield stock, held


def _order(room: Room, stock: Stock, held: Held) -> tuple[float, bool, str]:
    """Kinds that run short first; of one kind what only wants a size."""
    short = _kind_short(room, stock.kind)
    when = short[1].end.timestamp() if short else float("inf")
    return when, not _wants_size(room, stock, held), held.serial


def _kind_short(room: Room, kind: str) -> tuple[Demand, Week] | None:
    """The size of a kind that may run short first, and the week by which."""
    pairs = ((each, short_at(each, "90")) for each in room.demand if each.kind == kind)
    found = [(each, week) for each, week in pairs if week is not None]
    return min(found, key=lambda pair: pair[1].end, default=None)


def _wants_size(room: Room, stock: Stock, held: Held) -> bool:
    sized = any(each.size_mm is not None for each in room.demand if each.kind == stock.kind)
    return sized and held.size_mm is None


def _bench_row(room: Room, stock: Stock, held: Held) -> Row:
    waits = (
        "to be measured: no size is entered"
        if _wants_size(room, stock, held)
        else "to be shelved, sent out or scrapped"
    )
    short = _kind_short(room, stock.kind)
    why = f"may be short by {_day(room, short[1].end)}" if short else ""
    tone = "act" if short else ""
    serial = Cell(held.serial, href=f"/tool/{held.serial}")
    cells: list[str | Cell] = [serial, whole(stock.kind), own_size(held.size_mm), held.batch or ""]
    cells += [str(held.reworks), waits, Cell(why, tone=tone)]
    values = [held.serial, stock.kind, held.size_mm, held.batch, held.reworks, waits, why]
    if room.can_enter:
        do = "rework" if _wants_size(room, stock, held) else "send"
        word = "its size" if do == "rework" else "where it goes"
        cells.append(Cell(word, href=entry(do, held.serial)))
        values.append(do)
    return Row(held.serial, cells, values)


def entry(do: str, serial: str) -> str:
    """The entry page, with what is to be entered and of which tool."""
    return "/entry?" + urlencode({"do": do, "serial": serial})


def _day(room: Room, at: datetime) -> str:
    return words.weekday(at, room.fleet.zone, room.fleet.now)


# ---- what must be ready, in order ----

_READY: Final = (
    Column("Ready by", "ready_by"),
    Column("Press", "press"),
    Column("Position", "position"),
    Column("Kind and size", "size_mm"),
    Column("Spare that would go in", "spare"),
    Column("Why", "state"),
)


@dataclass(frozen=True, slots=True)
class Change:
    """A tool that the engine wants out: by when, and the kind and size that goes in."""

    by: datetime
    is_stop: bool
    tool: Forecast
    group: Demand


def changes(room: Room) -> list[Change]:
    """Soonest first, then as the Shift page orders them. The press itself takes no spare."""
    found = (
        _change(room, tool)
        for held in room.fleet.tools.values()
        for tool in fleets.by_urgency(held, room.fleet.now)
        if tool.state in WANTED_OUT and tool.position != PRESS_POSITION
    )
    return sorted((each for each in found if each is not None), key=lambda each: each.by)


def _change(room: Room, tool: Forecast) -> Change | None:
    group = room.group(tool.press, tool.position)
    ahead = fleets.ahead(tool, room.fleet.now)
    if group is None or not ahead:
        return None
    running = axes.running(axes.of_press(room.fleet.stops, tool.press), room.fleet.now)
    if tool.state != "plan" and running is not None:
        return Change(room.fleet.now, True, tool, group)
    # By the contract `plan` is wanted at the stop after next, the others at the next one.
    at = ahead[min(1, len(ahead) - 1)] if tool.state == "plan" else ahead[0]
    return Change(at.at, at.stop is not None, tool, group)


def ready(room: Room, opened: bool) -> Document:
    """What must be ready by which day, in which size, each with the spare that would go in."""
    wanted = changes(room)
    if not wanted:
        return {"state": "empty", "rest": "No change is wanted at the next two stops of a line."}
    dealt = _deal(room, wanted)
    none = sum(cell.tone == "act" for cell in dealt)
    said = f"{tools(len(wanted))} wanted" + (f", {none} with no spare." if none else ".")
    rows = [_ready_row(room, change, cell) for change, cell in zip(wanted, dealt, strict=True)]
    cut = rows if opened else rows[:FEW]
    return {
        "rest": said,
        "table": table("ready", "To be ready, in order", _READY, cut),
        "more": f"All {len(rows)}" if len(rows) > FEW else "",
        "open": opened,
    }


def _deal(room: Room, wanted: list[Change]) -> list[Cell]:
    """A spare for each change: from the shelf, else what is promised back by then.

    Dealt to the worst first, as on the Shift page: a spare goes where most is at stake.
    """
    used: set[str] = set()
    order = fleets.by_urgency([change.tool for change in wanted], room.fleet.now)
    rank = {(tool.press, tool.position): at for at, tool in enumerate(order)}
    cells: dict[int, Cell] = {}
    for at in sorted(range(len(wanted)), key=lambda at: rank[_place(wanted[at])]):
        cells[at], serial = _spare(room, wanted[at], used)
        used.add(serial)
    return [cells[at] for at in range(len(wanted))]


def _place(change: Change) -> tuple[str, str]:
    return change.tool.press, change.tool.position


def _spare(room: Room, change: Change, used: set[str]) -> tuple[Cell, str]:
    for serial in change.group.shelf:
        if serial not in used:
            return Cell(f"{serial}, on the shelf", href=f"/tool/{serial}"), serial
    stock = room.stock.get(change.group.kind)
    for away in stock.out if stock else ():
        back = away.back_at
        if away.serial not in used and back is not None and room.fleet.now <= back <= change.by:
            size = "" if room.sizes_of(change.group.kind) < 2 else ", if ground to this size"
            text = f"{away.serial}, promised {_day(room, back)}{size}"
            return Cell(text, href=f"/tool/{away.serial}", tone="quiet"), away.serial
    return Cell("none in this kind and size", tone="act"), ""


def _ready_row(room: Room, change: Change, spare: Cell) -> Row:
    tool, group, fleet = change.tool, change.group, room.fleet
    is_now = change.by == fleet.now
    by = "now: its line stands" if is_now else words.moment(change.by, fleet.zone, fleet.now)
    if not change.is_stop:
        by += " (no stop is entered)"
    press = Cell(words.press_id(tool.press), href=f"/press/{tool.press}")
    state = words.STATE_WORDS[tool.state]
    tone = "act" if tool.state in ("overdue", "this-stop") else ""
    kind = f"{whole(group.kind)}, {size_words(group.size_mm)}"
    cells: list[str | Cell] = [by, press, whole(tool.position), kind, spare, Cell(state, tone=tone)]
    values = [change.by.isoformat(), tool.press, tool.position, group.size_mm, spare.text]
    return Row(f"{tool.press}:{tool.position}", cells, [*values, tool.state])


# ---- new ones ----

_ORDERS: Final = (
    Column("Kind", "kind"),
    Column("On order", "quantity", right=True),
    Column("Size", "size_mm"),
    Column("Due", "due_at"),
    Column("A new one takes, days", "lead_days", right=True),
)


def orders(room: Room) -> Document:
    """Orders by kind; kinds with a lead time and no order have a row too."""
    rows = [row for stock in room.stock.values() for row in _order_rows(room, stock)]
    if not rows:
        return {"state": "empty", "rest": "No lead time and no order is known of any kind."}
    return {"table": table("orders", "Orders and lead times", _ORDERS, rows)}


def _order_rows(room: Room, stock: Stock) -> Iterator[Row]:
    lead = "not known" if stock.lead_days is None else f"{stock.lead_days:g}"
    for at, order in enumerate(stock.on_order):
        cells: list[str | Cell] = [whole(stock.kind), str(order.quantity)]
        cells += [size_words(order.size_mm), _due(room, order.due_at), lead]
        values: list[Value] = [stock.kind, order.quantity, order.size_mm]
        values += [order.due_at.isoformat(), stock.lead_days]
        yield Row(f"{stock.kind}:{at}", cells, values)
    if not stock.on_order and stock.lead_days is not None:
        none: list[Value] = [stock.kind, 0, None, None, stock.lead_days]
        yield Row(stock.kind, [whole(stock.kind), "none", "", "", lead], none)


def _due(room: Room, at: datetime) -> Cell:
    if at < room.fleet.now:
        return Cell(f"{_day(room, at)}, past", tone="act")
    return Cell(_day(room, at))
