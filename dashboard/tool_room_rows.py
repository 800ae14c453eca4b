"""Rows on the axis: what is wanted of each kind and size, and what is out with its promise.

A week's numbers stand as two uprights on one base: what is enough with chance 50 % in ink, with
chance 90 % as an outline. Nothing is estimated here; heights and places follow the API's numbers.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from dashboard import words
from dashboard.axis import LABEL_TO
from dashboard.fleet import Document
from dashboard.tables import Column, Row, table
from dashboard.tool_room_facts import (
    Away,
    Demand,
    DemandList,
    Lateness,
    Room,
    Stock,
    Week,
    named,
    own_size,
    short_at,
    size_words,
    there,
    whole,
)
from dashboard.tool_room_queue import entry, is_late

BASE: Final = 72.0
HIGH: Final = 44.0
MOST_NAMED: Final = 4
"""Serials of the shelf that are named in a row."""


def row_id(demand: Demand) -> str:
    """The anchor of a kind and size."""
    return f"{demand.kind}-{demand.size_mm or 0:g}".replace(".", "_")


# ---- in words: enough, or short by when ----


def verdict(room: Room, demand: Demand) -> tuple[str, str]:
    """Tone and sentence: question five of a first week, answered for one kind and size."""
    if not demand.tools:
        return "doubt", "Can’t tell: no tool in a press has a range."
    likely, perhaps = short_at(demand, "50"), short_at(demand, "90")
    first = perhaps or likely
    if first is not None:
        how = "Likely short" if likely is first else "May be short"
        later = likely is not None and likely is not first
        sure = f" As likely as not by {_by(room, likely)}." if likely and later else ""
        return "act", f"{how} by {_by(room, first)}: {_against(demand, first)}{sure}"
    if _leans_on_back(room, demand):
        return "", "Enough at 90 % only if what comes back is ground to this size."
    return "", f"Enough at 90 % for {len(demand.weeks)}{words.NB}weeks."


def _leans_on_back(room: Room, demand: Demand) -> bool:
    """Whether tools that may come back in another size are counted on."""
    if room.sizes_of(demand.kind) < 2:
        return False
    return any(
        each.wanted_by_then.level_90 > there(each, demand) - each.back_by_then
        for each in demand.weeks
    )


def _against(demand: Demand, week: Week) -> str:
    said = f"{week.wanted_by_then.level_90} wanted by then at 90 %, {there(week, demand)} there"
    if week.back_by_then:
        return f"{said} if the {week.back_by_then} promised by then are back."
    return f"{said}."


def _by(room: Room, week: Week) -> str:
    return words.weekday(week.end, room.fleet.zone, room.fleet.now)


def short_words(room: Room) -> str:
    """The lead of the page: which kinds and sizes are short, soonest first."""
    pairs = [(each, short_at(each, "90")) for each in room.demand]
    short = sorted(
        ((each, week) for each, week in pairs if week is not None),
        key=lambda pair: (pair[1].end, pair[0].kind, pair[0].size_mm or 0.0),
    )
    if not room.demand:
        return "Nothing is wanted: no tool in a press has a forecast."
    if not short:
        return "Enough of every kind and size at 90 % for six weeks."
    said = [f"{named(each)} by {_by(room, week)}" for each, week in short]
    return f"May be short: {words.listed(said, 4)}."


# ---- wanted ----


def wanted(room: Room, told: DemandList, opened: bool) -> Document:
    """A row a kind and size, those that run short first."""
    if not told.items:
        return {"state": "empty", "rest": "No tool in a press has a forecast, so none is wanted."}
    most = max((w.wanted.level_90 for d in told.items for w in d.weeks), default=0)
    ordered = sorted(told.items, key=lambda each: _soonest(each))
    return {
        "rows": [_wanted_row(room, each, max(most, 1)) for each in ordered],
        "table": _table(room, told),
        "open": opened,
    }


def _soonest(demand: Demand) -> tuple[float, str, float]:
    likely, perhaps = short_at(demand, "50"), short_at(demand, "90")
    first = perhaps or likely
    when = first.end.timestamp() if first else float("inf")
    return when, demand.kind, demand.size_mm or 0.0


def _wanted_row(room: Room, demand: Demand, most: int) -> Document:
    tone, said = verdict(room, demand)
    stock = room.stock.get(demand.kind)
    return {
        "key": row_id(demand),
        "name": whole(demand.kind),
        "size": size_words(demand.size_mm),
        "places": ", ".join(whole(each) for each in demand.positions),
        "count": str(len(demand.shelf)),
        "shelf": _shelf(room, demand),
        "tone": tone,
        "says": said,
        "likely": _uprights(room, demand, most, "50"),
        "perhaps": _uprights(room, demand, most, "90"),
        "returns": _returns(room, stock),
        "marks": [_mark(room, week) for week in demand.weeks],
        "orders": _order_marks(room, demand, stock),
        "note": _unknown(demand),
        "spoken": _spoken(room, demand),
    }


def _shelf(room: Room, demand: Demand) -> list[Document]:
    stock = room.stock.get(demand.kind)
    batches = {each.serial: each.batch for each in stock.shelf} if stock else {}
    held = [
        _on_shelf(room, demand, each, batches.get(each) or "") for each in demand.shelf[:MOST_NAMED]
    ]
    rest = _rest(demand)
    last = {"serial": "", "href": "", "batch": rest, "weak": "", "life": ""}
    return [*held, last] if rest else held


def _on_shelf(room: Room, demand: Demand, serial: str, batch: str) -> Document:
    """A tool on the shelf; of a batch that lasts less than the others that is said."""
    weak = room.weak_at(demand, batch)
    return {
        "serial": serial,
        "href": f"/tool/{serial}",
        "batch": batch,
        "weak": "" if weak is None else f"lasts {weak.ratio:.2f} of the others",
        "life": "" if weak is None else f"/life?position={weak.position}",
    }


def _rest(demand: Demand) -> str:
    rest = len(demand.shelf) - MOST_NAMED
    return f"and {rest} more" if rest > 0 else ""


def _unknown(demand: Demand) -> str:
    count = demand.without_range
    if not count:
        return ""
    return f"{count} in presses without a range, not counted."


def _uprights(room: Room, demand: Demand, most: int, level: str) -> str:
    axis, drawn = room.fleet.axis, []
    for week in demand.weeks:
        number = week.wanted.level_90 if level == "90" else week.wanted.level_50
        if number:
            left, right = axis.x(week.start), axis.x(week.end)
            pad = 0.4 * (right - left)
            top = BASE - HIGH * number / most
            drawn.append(f"M{left + pad:.0f} {BASE:g}V{top:.1f}H{right - pad:.0f}V{BASE:g}Z")
    return "".join(drawn)


def _mark(room: Room, week: Week) -> Document:
    middle = week.start + (week.end - week.start) / 2
    low, high = week.wanted.level_50, week.wanted.level_90
    text = f"{low}" if low == high else f"{low}–{high}"
    return {"left": room.fleet.axis.left(middle), "text": text, "none": high == 0}


def _returns(room: Room, stock: Stock | None) -> str:
    """Blue brackets from the day promised to the day by which nine in ten are back."""
    found = stock.out if stock else ()
    return "".join(_bracket(room, each, 80.0, 92.0) for each in found)


def _bracket(room: Room, away: Away, top: float, low: float) -> str:
    if away.back_at is None or is_late(away.back_by_90 or away.back_at, room):
        return ""
    axis = room.fleet.axis
    start = max(0.0, axis.x(away.back_at))
    end = min(axis.span, axis.x(away.back_by_90 or away.back_at))
    if start > axis.span:
        return ""
    closing = f"V{top:g}" if axis.x(away.back_by_90 or away.back_at) <= axis.span else ""
    opening = f"M{start:.0f} {top:g}V{low:g}" if axis.x(away.back_at) >= 0 else f"M0 {low:g}"
    return f"{opening}H{max(end, start):.0f}{closing}"


def _order_marks(room: Room, demand: Demand, stock: Stock | None) -> list[Document]:
    """Orders that serve this size, due within the axis."""
    axis = room.fleet.axis
    serve = [
        order
        for order in (stock.on_order if stock else ())
        if order.size_mm in (None, demand.size_mm) or demand.size_mm is None
    ]
    return [
        {"key": str(at), "left": axis.left(order.due_at), "text": f"+{order.quantity}{words.NB}new"}
        for at, order in enumerate(serve)
        if 0 <= axis.left(order.due_at) <= LABEL_TO
    ]


def _spoken(room: Room, demand: Demand) -> str:
    weeks = [
        f"week to {_by(room, week)}: {week.wanted.level_50} enough with chance 50 per cent, "
        f"{week.wanted.level_90} with 90"
        for week in demand.weeks
    ]
    return "; ".join(weeks) + "."


_WANTED: Final = (
    Column("Kind", "kind"),
    Column("Size", "size_mm", right=True),
    Column("Week to", "week_to"),
    Column("Mean", "expected", right=True),
    Column("50 %", "level_50", right=True),
    Column("90 %", "level_90", right=True),
    Column("By then, 50 %", "by_then_level_50", right=True),
    Column("By then, 90 %", "by_then_level_90", right=True),
    Column("On the shelf", "shelf", right=True),
    Column("Promised back", "back_by_then", right=True),
    Column("On order", "ordered_by_then", right=True),
)


def _table(room: Room, told: DemandList) -> Document:
    rows = [_line(room, each, week) for each in told.items for week in each.weeks]
    return table("demand", "Wanted by kind, size and week", _WANTED, rows)


def _line(room: Room, demand: Demand, week: Week) -> Row:
    by, single = week.wanted_by_then, week.wanted
    counts = [by.level_50, by.level_90, len(demand.shelf), week.back_by_then, week.ordered_by_then]
    cells = [whole(demand.kind), size_words(demand.size_mm), _by(room, week)]
    cells += [f"{single.expected:.1f}", str(single.level_50), str(single.level_90)]
    values = [demand.kind, demand.size_mm, week.end.isoformat(), round(single.expected, 3)]
    return Row(
        f"{row_id(demand)}:{week.end.isoformat()}",
        [*cells, *(str(count) for count in counts)],
        [*values, single.level_50, single.level_90, *counts],
    )


# ---- out for rework ----


def away(room: Room) -> Document:
    """A row a tool that is out, by the day promised; what nobody promised comes last."""
    found = [(stock, each) for stock in room.stock.values() for each in stock.out]
    if not found:
        return {"state": "empty", "rest": "Nothing is out for rework."}
    far = datetime.max.replace(tzinfo=room.fleet.now.tzinfo)
    found.sort(key=lambda pair: (pair[1].back_at or far, pair[1].serial))
    late = sum(is_late(each.back_at, room) for _, each in found)
    return {
        "rest": f"{late} past the day promised." if late else "",
        "rows": [_away_row(room, *pair) for pair in found],
    }


def _away_row(room: Room, stock: Stock, out: Away) -> Document:
    tone, said = _promise(room, out)
    return {
        "key": out.serial,
        "serial": out.serial,
        "href": f"/tool/{out.serial}",
        "name": whole(stock.kind),
        "size": _sent_with(room, stock, out),
        "batch": out.batch or "",
        "tone": tone,
        "says": said,
        "sent": "" if out.sent_at is None else f"out since {_day(room, out.sent_at)}",
        "usual": _usual(stock.usual_lateness),
        "returns": _bracket(room, out, 25.0, 75.0),
        "enter": entry("rework", out.serial) if room.can_enter else "",
    }


def _sent_with(room: Room, stock: Stock, out: Away) -> str:
    sized = any(each.size_mm is not None for each in room.demand if each.kind == stock.kind)
    return f"sent with {own_size(out.size_mm)}" if sized or out.size_mm is not None else ""


def _day(room: Room, at: datetime) -> str:
    return words.weekday(at, room.fleet.zone, room.fleet.now)


def _promise(room: Room, out: Away) -> tuple[str, str]:
    if out.back_at is None:
        return "doubt", "No day is promised."
    if is_late(out.back_at, room):
        days = (room.fleet.now - out.back_at) / timedelta(days=1)
        lasted = words.lasted(days * 1440)
        return "act", f"Late: promised {_day(room, out.back_at)}, {lasted} ago."
    by = "" if out.back_by_90 is None else f", nine in ten by {_day(room, out.back_by_90)}"
    return "", f"Promised {_day(room, out.back_at)}{by}."


def _usual(late: Lateness | None) -> str:
    if late is None:
        return "too few past promises to know how they are kept"
    return (
        f"usual: half {_after(late.median_days)}, nine in ten {_after(late.days_90)} "
        f"({late.reworks} past ones)"
    )


def _after(days: float) -> str:
    """Days after a promise, in words."""
    whole_days = round(days)
    if whole_days <= 0:
        return "by the day promised"
    return f"within {whole_days}{words.NB}day{'' if whole_days == 1 else 's'} after it"
