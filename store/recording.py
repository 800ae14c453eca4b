"""Entering tool events: judged in their place among all others that they touch, all or nothing.

What a new event can change is bounded. It touches tools, and the places these were ever in; other
tools that were ever in those places may come out earlier or later. Their histories are played
again with it. Elsewhere nothing can move, so pulls implied there are taken as they stand.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final
from uuid import UUID

import psycopg
from psycopg.rows import DictRow

from duestroke.errors import BadField, Contradiction
from duestroke.ledger import (
    BadEvent,
    Entry,
    Ledger,
    Tool,
    ToolEvent,
    checked,
    replay,
    seat_of,
)
from store.ledger_rows import EventRow, content_of, event_row
from store.sql import named_queries

SQL: Final = named_queries("ledger.sql")
Seat = tuple[str, str]
Connection = psycopg.Connection[DictRow]


@dataclass(slots=True)
class Touched:
    """What the new events can change: tools and seats, their standing events, presses by name."""

    serials: set[str]
    seats: set[Seat]
    tools: dict[str, Tool]
    standing: list[EventRow]
    presses: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Fresh:
    """A new event with its order of entry and its rank among events of equal `at`."""

    event: ToolEvent
    entry: int
    place: int


def sift(events: Sequence[ToolEvent], known: Mapping[UUID, EventRow]) -> list[ToolEvent]:
    """The events that are new.

    Raises Contradiction for an id that belongs to other content.
    """
    seen: dict[UUID, Any] = {row_id: row.given for row_id, row in known.items()}
    fresh: list[ToolEvent] = []
    for event in events:
        content = content_of(event)
        if event.id not in seen:
            fresh.append(event)
        elif seen[event.id] != content:
            raise Contradiction(f"another event has the id {event.id}", field="id")
        seen[event.id] = content
    return fresh


def number(
    conn: Connection, fresh: Sequence[ToolEvent], known: Mapping[UUID, EventRow]
) -> list[Fresh]:
    """The new events in order of entry; a correction takes the rank of what it corrects.

    Raises Contradiction for a correction of what is unknown, corrected already or implied.
    """
    rows = conn.execute(SQL["next_entries"], {"many": len(fresh)}).fetchall()
    corrected = {row_id: row.corrected_by for row_id, row in known.items() if row.corrected_by}
    places = {row_id: (row.event, row.place) for row_id, row in known.items()}
    made: list[Fresh] = []
    for event, row in zip(fresh, rows, strict=True):
        place = int(row["entry"])
        if event.corrects is not None:
            place = _corrected_place(event, places, corrected)
            corrected[event.corrects] = event.id
        places[event.id] = (event, place)
        made.append(Fresh(event, int(row["entry"]), place))
    return made


def _corrected_place(
    event: ToolEvent,
    places: Mapping[UUID, tuple[ToolEvent, int]],
    corrected: Mapping[UUID, UUID | None],
) -> int:
    if event.corrects is None or event.corrects not in places:
        raise BadEvent(event, BadField("corrects", str(event.corrects), "the id of an event"))
    old, place = places[event.corrects]
    if old.implied_by is not None:
        raise Contradiction(f"the {old} follows from the fit {old.implied_by}: correct that one")
    if old.id in corrected:
        raise Contradiction(f"the {old} was corrected already, by the event {corrected[old.id]}")
    if old.void:
        raise Contradiction(f"the event {old.id} takes another back: enter that one anew instead")
    if event.void and event.serial != old.serial:
        raise Contradiction(f"the event {old.id} is of {old.serial}, not of {event.serial}")
    return place


def load(conn: Connection, fresh: Sequence[Fresh], known: Mapping[UUID, EventRow]) -> Touched:
    """Everything that the new events can change. Raises BadEvent for an unknown press."""
    events = [one.event for one in fresh]
    corrects = [e.corrects for e in events if e.corrects is not None]
    olds = [known[old].event for old in corrects if old in known]
    serials = {event.serial for event in (*events, *olds)}
    rows = conn.execute(SQL["seats"], {"serials": list(serials)}).fetchall()
    seats = {(row["press"], row["position"]) for row in rows}
    seats |= {seat_of(e) for e in events if e.type in ("fit", "service") and not e.void}
    presses, positions = [seat[0] for seat in seats], [seat[1] for seat in seats]
    rows = conn.execute(SQL["sitters"], {"presses": presses, "positions": positions}).fetchall()
    serials |= {row["serial"] for row in rows}
    touched = Touched(serials, seats, _tools(conn, serials), _standing(conn, serials))
    touched.presses = _presses(conn, touched, events)
    return touched


def _tools(conn: Connection, serials: Iterable[str]) -> dict[str, Tool]:
    rows = conn.execute(SQL["tools"], {"serials": list(serials)}).fetchall()
    return {row["serial"]: Tool(**row) for row in rows}


def _standing(conn: Connection, serials: Iterable[str]) -> list[EventRow]:
    rows = conn.execute(SQL["standing"], {"serials": list(serials)}).fetchall()
    return [event_row(row) for row in rows]


def _presses(conn: Connection, touched: Touched, events: Sequence[ToolEvent]) -> dict[str, int]:
    names = {event.press for event in events if event.press is not None}
    names |= {row.event.press for row in touched.standing if row.event.press is not None}
    names |= {press for press, _ in touched.seats}
    rows = conn.execute(SQL["presses"], {"names": list(names)}).fetchall()
    found = {row["name"]: int(row["id"]) for row in rows}
    for event in events:
        if event.press is not None and event.press not in found:
            raise BadEvent(event, BadField("press", event.press, "a registered press"))
    return found


def judge(fresh: Sequence[Fresh], touched: Touched, kinds: Mapping[str, str]) -> Ledger:
    """Play all of it. Raises Contradiction or BadEvent."""
    gone = {one.event.corrects for one in fresh if one.event.corrects is not None}
    entries = [
        Entry(_as_given(row), row.place)
        for row in touched.standing
        if row.event.id not in gone and not is_implied_here(row, touched)
    ]
    entries += [
        Entry(one.event, one.place)
        for one in fresh
        if not one.event.void and one.event.id not in gone
    ]
    return replay(entries, touched.tools, kinds, frozenset(one.event.id for one in fresh))


def is_implied_here(row: EventRow, touched: Touched) -> bool:
    """Whether this is a pull that is derived anew, being in a place that may change."""
    seat = (row.event.press or "", row.event.position or "")
    return row.event.implied_by is not None and seat in touched.seats


def _as_given(row: EventRow) -> ToolEvent:
    """A pull binds to the press that its sender named, not to where it was found to sit."""
    if row.event.type != "pull" or row.given is None:
        return row.event
    given = row.given
    return dataclasses.replace(row.event, press=given.get("press"), position=given.get("position"))


def check_all(fresh: Sequence[ToolEvent], now: datetime) -> None:
    """What each event must say by itself. Raises BadEvent."""
    for event in fresh:
        try:
            checked(event, now)
        except BadField as fault:
            raise BadEvent(event, fault) from fault
