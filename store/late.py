"""Why an event moves figures that were shown before it was entered."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Final
from uuid import UUID

from duestroke.ledger import ToolEvent
from store.ledger_rows import EventRow
from store.moves import Key, Shown, Why, said

PROMPT: Final = timedelta(hours=1)
"""An event keyed within this is entered as it happens: what it ends was shown right till then."""


def cause_of(
    events: Sequence[ToolEvent], known: Mapping[UUID, EventRow], *, by: str, now: datetime
) -> Callable[[Key, Shown, Shown | None], Why | None]:
    """Names the new event that moved a figure; None where a run has just come to its end."""
    olds = {event.corrects: event for event in events if event.corrects is not None}
    causes = {event.serial: event for event in reversed(events)}
    for old_id, event in olds.items():
        if old_id in known:
            causes.setdefault(known[old_id].event.serial, event)

    def why(key: Key, was: Shown, now_shown: Shown | None) -> Why | None:
        event = causes.get(key.serial, events[0])
        is_end = was.is_running and now_shown is not None and not now_shown.is_running
        if is_end and event.corrects is None and now - event.at <= PROMPT:
            return None
        return _why(event, by=by, now=now)

    return why


def _why(event: ToolEvent, *, by: str, now: datetime) -> Why:
    if event.corrects is None:
        return said(Why("event", str(event.id), f"the {event}, entered later", now, by), event.note)
    done = "taken back by" if event.void else "corrected by"
    return said(Why("correction", str(event.id), f"{done} the {event}", now, by), event.note)
