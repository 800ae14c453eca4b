"""The page of one press: tools in machine order, how rough it runs, how its strokes are counted.

Pure, as `fleet`: `now` is given, nothing is read and nothing is estimated.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import timedelta
from typing import Any, Final

from dashboard import axis as axes
from dashboard import counter, headline, ram, stack, words
from dashboard import fleet as fleets
from dashboard.client import Press
from dashboard.fleet import Document, Fleet
from dashboard.pages import Ask, Page
from dashboard.record import Record
from dashboard.sight import Sight

DAYS: Final = 42
FLAG_ROOM: Final = 12.5

DRAWING: Final = (
    "Section through the press, in the order of the rows: ram, punch, redraw sleeve and die, "
    "ironing rings, stripper, dome die; parts that someone must act on are filled."
)


def document(
    fleet: Fleet, press: Press, record: Record, *, fault: str = "", opened: Collection[str] = ()
) -> Document:
    """The whole page. fault: why the last question to the API got no answer, else empty."""
    sight = Sight(fleet, press, record, opened)
    ratio = ram.roughness(sight)
    return {
        "view": "press",
        "title": f"Press {words.press_id(press.press)} · Duestroke",
        "head": fleets.head(fleet),
        "bar": fleets.bar(fleet, fault) or _aged(sight),
        "axis": _axis_head(sight),
        "lines": {press.press: axes.stop_lines(fleet.axis, sight.stops)},
        "top": headline.top(sight),
        "stack": stack.stack(sight, ratio),
        "rough": ram.part(sight, ratio),
        "count": counter.section(fleet, press, record, sight.shown, opened),
        "foot": fleets.foot(fleet),
    }


def unknown(fleet: Fleet, name: str, *, fault: str = "") -> Document:
    """The page of a press that is not registered: says so, and where to go."""
    return {
        "view": "press",
        "title": f"Press {words.press_id(name)} · Duestroke",
        "head": fleets.head(fleet),
        "bar": fleets.bar(fleet, fault),
        "axis": {"span": fleet.axis.span, "weeks": axes.weeks(fleet.axis), "days": [], "flags": []},
        "away": {
            "lead": f"No press {name} is registered.",
            "rest": "The Shift page has those that are.",
        },
        "foot": fleets.foot(fleet),
    }


def _aged(sight: Sight) -> Document | None:
    """The bar of a page of which only a part is old."""
    if not sight.record.aged:
        return None
    at = words.clock(sight.record.read_at, sight.fleet.zone)
    return {
        "lead": "Part of this page is old.",
        "rest": f"At {at} {sight.record.aged[0]}; what was read of it before stays.",
    }


def _axis_head(sight: Sight) -> Document:
    axis = sight.fleet.axis
    return {
        "span": axis.span,
        "weeks": axes.weeks(axis),
        "days": axes.day_labels(axis),
        "flags": _flags(sight),
        "note": "In the order in which the cup meets them",
        "drawing": DRAWING,
        "read": "Last reading against its limit",
        "with": "When it is due, and what that rests on",
        "empty": _no_stop(sight),
    }


def _no_stop(sight: Sight) -> str:
    if sight.fleet.answers.stops is None:
        return "the stops could not be read"
    return "" if sight.stops else "no planned stop is entered"


def _flags(sight: Sight) -> list[dict[str, Any]]:
    """The stops of this press as dated flags; a long one is open, with its length."""
    fleet, shown, free_from = sight.fleet, [], 0.0
    for stop in axes.coming(sight.stops, fleet.now):
        left = fleet.axis.left(stop.begins)
        if left < free_from or left > axes.LABEL_TO:
            continue
        length = stop.ends - stop.begins
        is_long = length >= axes.LONG_STOP
        local = stop.begins.astimezone(fleet.zone)
        day = f"{words.DAYS[local.weekday()]}{words.NB}{local.day}"
        text = f"{round(length / timedelta(hours=1))}{words.NB}h" if is_long else day
        shown.append({"key": stop.id, "left": left, "text": text, "long": is_long})
        free_from = max(left, FLAG_ROOM / 2) + FLAG_ROOM
    return shown


def _page(ask: Ask) -> Document:
    name = ask.param("press")
    arranged = ask.arranged(DAYS, fleets.site_of(name))
    found = next((each for each in arranged.presses if each.press == name), None)
    if found is None:
        return unknown(arranged, name, fault=ask.fault)
    record = ask.sources.presses.read(name, ask=not ask.fault)
    return document(arranged, found, record, fault=ask.fault, opened=ask.opened)


PAGE: Final = Page(view="press", path="/press/{press}", title="Press", document=_page)
