"""Tool events to who sits where, fits, states and ages; what contradicts the record is refused.

Two times rule: `at` says when something was done, the order of entry breaks ties. A late entry is
judged in its place: the whole record must stay consistent, not only its end.
"""

from duestroke.ledger.ages import Ages, Run, ages
from duestroke.ledger.events import (
    EVENT_TYPES,
    REASONS,
    BadEvent,
    EventType,
    Reason,
    Tool,
    ToolEvent,
    checked,
)
from duestroke.ledger.replay import Entry, Fit, Ledger, State, ToolNow, replay, seat_of

__all__ = [
    "EVENT_TYPES",
    "REASONS",
    "Ages",
    "BadEvent",
    "Entry",
    "EventType",
    "Fit",
    "Ledger",
    "Reason",
    "Run",
    "State",
    "Tool",
    "ToolEvent",
    "ToolNow",
    "ages",
    "checked",
    "replay",
    "seat_of",
]
