"""Tool events as entered, and what each type of event must say."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal, get_args
from uuid import UUID

from duestroke.errors import BadField
from duestroke.names import PRESS, PRESS_POSITION, SERIAL, is_match
from duestroke.times import format_time

EventType = Literal["fit", "pull", "send", "rework", "shelve", "scrap", "service"]
Reason = Literal["worn", "broken", "can-defect", "planned", "collateral", "size-change", "other"]
EVENT_TYPES: Final[tuple[EventType, ...]] = get_args(EventType)
REASONS: Final[tuple[Reason, ...]] = get_args(Reason)


@dataclass(frozen=True, slots=True)
class Tool:
    """A tool as registered. size_mm: its size when new, or None where nobody said."""

    serial: str
    kind: str
    size_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolEvent:
    """One line of the ledger, as entered.

    serial: a `service` carries the press's own name.  strokes_before: strokes since the last
    rework, >= 0; `before_unknown` says that nobody knows.  before_margin: strokes by which that
    may be off to either side, at most `strokes_before`.  replaces: a fit pulls the tool that sits
    there first, for `reason`.  corrects: the event that this one stands for from now on; with
    `void` it only takes that one back.  implied_by: a pull that follows from a fit with `replaces`.
    """

    id: UUID
    type: EventType
    serial: str
    at: datetime
    press: str | None = None
    position: str | None = None
    reason: Reason | None = None
    strokes_before: int | None = None
    before_unknown: bool = False
    before_margin: int | None = None
    size_mm: float | None = None
    back_at: datetime | None = None
    by: str | None = None
    replaces: bool = False
    corrects: UUID | None = None
    void: bool = False
    note: str | None = None
    implied_by: UUID | None = None

    def __str__(self) -> str:
        """In words, for who must settle a contradiction."""
        seat = ""
        if self.position is not None and self.press is not None:
            seat = f" {'at' if self.type == 'fit' else 'from'} {self.position} of {self.press}"
        return f"{self.type} of {self.serial}{seat} at {format_time(self.at)} (event {self.id})"


class BadEvent(BadField):
    """A wrong field in one event of several: `event` says in which."""

    def __init__(self, event: ToolEvent, fault: BadField) -> None:
        super().__init__(fault.field, fault.value, fault.allowed)
        self.event = event


def checked(event: ToolEvent, now: datetime) -> ToolEvent:
    """The event, when it says all that its type needs.

    Raises BadField naming the field: `at` after `now`, a fit without press or position, a pull
    without reason, a service without press, a size that is no size.
    """
    if event.at > now:
        raise BadField("at", format_time(event.at), f"not in the future (now {format_time(now)})")
    if event.void and event.corrects is None:
        raise BadField("corrects", None, "the id of the event to take back, with void")
    if event.size_mm is not None and not (math.isfinite(event.size_mm) and event.size_mm > 0):
        raise BadField("size_mm", event.size_mm, "a size above 0 mm")
    if event.strokes_before is not None and event.strokes_before < 0:
        raise BadField("strokes_before", event.strokes_before, "0 strokes or more")
    _check_margin(event)
    if not event.void:
        _NEEDS.get(event.type, _needs_serial)(event)
    return event


def _check_margin(event: ToolEvent) -> None:
    margin = event.before_margin
    if margin is None:
        return
    if event.strokes_before is None:
        raise BadField("strokes_before_margin", margin, "none without strokes_before")
    if not 0 <= margin <= event.strokes_before:
        allowed = f"0 to strokes_before ({event.strokes_before})"
        raise BadField("strokes_before_margin", margin, allowed)


def _needs_serial(event: ToolEvent) -> None:
    if not is_match(SERIAL, event.serial):
        raise BadField("serial", event.serial, "the tool's serial, 1 to 64 of A-Z a-z 0-9 . _ -")


def _needs_seat(event: ToolEvent) -> None:
    _needs_serial(event)
    if event.press is None:
        raise BadField("press", None, "the press that the tool is fitted in")
    if event.position is None:
        raise BadField("position", None, "the position that the tool is fitted at")
    if event.position == PRESS_POSITION:
        raise BadField("position", event.position, "a tool's position; a press has a service")


def _needs_reason(event: ToolEvent) -> None:
    _needs_serial(event)
    if event.reason is None:
        raise BadField("reason", None, "one of " + ", ".join(REASONS))


def _needs_press(event: ToolEvent) -> None:
    if event.press is None or not is_match(PRESS, event.press):
        raise BadField("press", event.press, "the press that was serviced")
    if event.position not in (None, PRESS_POSITION):
        raise BadField("position", event.position, "none: a service is the whole press's")
    if event.serial != event.press:
        raise BadField("serial", event.serial, "none: a service is the press's own")


_NEEDS: Final[dict[str, Callable[[ToolEvent], None]]] = {
    "fit": _needs_seat,
    "pull": _needs_reason,
    "service": _needs_press,
}
