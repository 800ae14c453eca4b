"""Tool rows of one press, in the order in which the cup meets them, beside the drawn section."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any, Final

from dashboard import counter, origins, ram, readings, rough, rows, section, words
from dashboard import fleet as fleets
from dashboard.client import Forecast
from dashboard.fleet import Document
from dashboard.record import Event, Position
from dashboard.sight import Sight
from duestroke.names import DEFAULT_POSITIONS, PRESS_POSITION

RISE: Final = 55.6

OWN_PARTS: Final = (
    *("punch", "redraw-sleeve", "redraw-die", "ring-1"),
    *("ring-2", "ring-3", "stripper", "dome-die", "press"),
)
"""Rows that stand even where nothing is recorded; a plant's own positions only where used."""

USUAL: Final = tuple(
    Position(position, kind, 10 * at) for at, (position, kind, _) in enumerate(DEFAULT_POSITIONS)
)
"""From cup to dome, where the plant's own could not be read."""


def stack(sight: Sight, ratio: rough.Rough | None) -> Document:
    """Every row with its slice of the section. ratio: how rough the ram runs, where known."""
    places = _places(sight)
    tools = sight.tools
    parts = [
        section.Part(
            place.kind,
            calls=place.position in tools and _calls(tools[place.position]),
            known=place.position == PRESS_POSITION or place.position in tools,
        )
        for place in places
    ]
    drawn = section.slices(parts)
    made = [_row(sight, place, ratio) | drawn[at] for at, place in enumerate(places)]
    fault = "The positions could not be read: the usual ones are shown, without limits."
    return {"rows": made, "fault": fault if sight.record.positions is None else ""}


def _calls(tool: Forecast) -> bool:
    return tool.state in ("overdue", "this-stop")


def _places(sight: Sight) -> list[Position]:
    """Positions of the rows: the press first, then from cup to dome.

    The sleeve, which is inside the cup and presses it on the die, stands above the die that comes
    just before it in the plant's order.
    """
    tools = sight.tools
    used = {each.position for each in sight.record.events or ()} | set(tools)
    known = sorted(
        USUAL if sight.record.positions is None else sight.record.positions,
        key=lambda place: (place.order, place.position),
    )
    listed = {place.position for place in known}
    known += [Position(name, name, 800) for name in tools if name not in listed]
    kept = [place for place in known if place.position in used or place.position in OWN_PARTS]
    press = [place for place in kept if place.position == PRESS_POSITION]
    others = [place for place in kept if place.position != PRESS_POSITION]
    for at, (one, two) in enumerate(pairwise(others)):
        if (one.kind, two.kind) == ("redraw-die", "redraw-sleeve"):
            others[at : at + 2] = [two, one]
            break
    return [*press, *others]


def fitted(events: Sequence[Event], position: str, serial: str | None) -> Event | None:
    """The standing event that a row's strokes count from: the tool's last fit, or last service."""
    if position == PRESS_POSITION:
        found = [each for each in events if each.type == "service"]
    else:
        found = [
            each
            for each in events
            if each.type == "fit" and each.position == position and each.serial == serial
        ]
    return max(found, key=lambda each: each.at, default=None)


def _row(sight: Sight, place: Position, ratio: rough.Rough | None) -> Document:
    fleet, press = sight.fleet, sight.press
    tool = sight.tools.get(place.position)
    fit = fitted(sight.events, place.position, tool.serial if tool else None)
    doubt = tool is not None and tool.state == "cant-tell"
    is_open = place.position in sight.opened
    has_range = tool is not None and fleets.has_range(tool)
    return {
        "key": place.position,
        "label": "press, ram" if place.position == PRESS_POSITION else place.position,
        **rows.state(tool),
        **rows.drawn(fleet, press.press, tool, RISE),
        "line": press.press,
        "stops": None,
        "serial": _serial(sight, place, tool),
        "strokes": _strokes(place, tool, fit),
        "hidden": _hidden(sight, tool, fit),
        "read": _read(sight, place, tool, fit, ratio),
        "asks": "a question is open" if _asked(sight, place.position) else "",
        "figures": rows.chance_figures(fleet, tool) if tool else [],
        "cap": rows.as_of(fleet, tool) if tool and doubt and has_range else "",
        "range": "" if doubt or not has_range or tool is None else rows.due_range(fleet, tool),
        "half": "" if doubt or tool is None else rows.middle(fleet, tool),
        "basis": rows.basis(tool) if tool else "",
        "spoken": rows.spoken(fleet, tool),
        "open": is_open,
        "opened": origins.of_tool(fleet, press, place.position, tool, fit, sight.record)
        if is_open
        else [],
    }


def _asked(sight: Sight, position: str) -> bool:
    return any(each.position == position for each in sight.record.questions or ())


def _serial(sight: Sight, place: Position, tool: Forecast | None) -> str:
    if tool is not None:
        return "" if place.position == PRESS_POSITION else tool.serial or ""
    if sight.fleet.answers.forecasts is None:
        return "range not read"
    return "no range yet" if place.position == PRESS_POSITION else "no tool recorded"


def _strokes(place: Position, tool: Forecast | None, fit: Event | None) -> str:
    if tool is None:
        return ""
    if tool.strokes is None:
        return "age not known"
    figure = words.strokes(tool.strokes)
    if place.position != PRESS_POSITION:
        return figure
    return f"{figure} since service" if fit is not None else f"{figure}, no service on record"


def _hidden(sight: Sight, tool: Forecast | None, fit: Event | None) -> str:
    if tool is None or tool.strokes is None:
        return ""
    since = None if fit is None else fit.at
    return counter.hidden_words(counter.hidden_since(sight.record.flags or (), since))


def _read(
    sight: Sight,
    place: Position,
    tool: Forecast | None,
    fit: Event | None,
    ratio: rough.Rough | None,
) -> dict[str, Any]:
    nothing = readings.NOTHING
    if place.position == PRESS_POSITION:
        return nothing | {"text": ram.ratio_words(ratio)}
    if tool is None:
        return nothing
    if sight.record.inspections is None:
        return nothing | {"text": "readings not read"}
    since = None if fit is None else fit.at
    found = readings.standing(sight.record.inspections, tool.serial, since)
    return readings.small_form(sight.fleet, found, place)
