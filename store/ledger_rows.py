"""Rows of the ledger as the rest of the program sees them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from duestroke.ledger import Run, ToolEvent
from duestroke.times import format_time

_CONTENT: Final = (
    *("type", "serial", "at", "press", "position", "reason", "strokes_before", "before_unknown"),
    "before_margin",
    *("size_mm", "back_at", "by", "replaces", "corrects", "void", "note"),
)


@dataclass(frozen=True, slots=True)
class EventRow:
    """An event on record. press_strokes: the press's total at its time (fit, pull, service).

    place: rank among events of equal `at`.  corrected_by: the event that stands instead.
    """

    event: ToolEvent
    entry: int
    place: int
    press_strokes: int | None
    corrected_by: UUID | None
    entered_at: datetime
    entered_by: str
    given: Mapping[str, Any] | None

    @property
    def key(self) -> tuple[datetime, int, int, int]:
        """Its place in the list of all events."""
        return (self.event.at, self.place, int(self.event.implied_by is None), self.entry)


@dataclass(frozen=True, slots=True)
class Stretch:
    """One stretch of a tool in one place. Strokes are since rework, None where nobody knows.

    run: strokes it ran here, up to now while it is in.
    """

    id: UUID
    serial: str
    kind: str
    press: str
    position: str
    fitted_at: datetime
    life: int
    chain: UUID
    base: int | None
    size_mm: float | None
    pulled_at: datetime | None
    reason: str | None
    fit_strokes: int
    pull_strokes: int | None
    run: int
    strokes_before: int | None
    strokes: int | None

    def as_run(self) -> Run:
        """As the ages are reckoned from it."""
        return Run(self.life, self.chain, self.base, self.run, self.pulled_at is None)


@dataclass(frozen=True, slots=True)
class Fitted:
    """A tool in a press now. Strokes are since rework unless the name says otherwise.

    press_strokes: the press's total at the fit.  life: reworks (services) before.
    strokes_before, strokes_since_rework: at the fit and now; None where nobody knows.
    last_good_strokes: age at the last inspection in this stretch that found it good (verdict, or a
    reading short of its limit).  reading_*: the last reading of the tool itself; share: of its
    limit used up.  past_limit_at: when a quantity was read past its limit that has not been read
    short of it since.  age_margin: how far off an age stated by hand may be.  strokes_hidden: what
    open flags of the press may hide in this stretch.  open_question: why a reading of this stretch
    goes backwards, which nobody has answered, in words.
    """

    press: str
    position: str
    kind: str
    serial: str
    batch: str | None
    fitted_at: datetime
    life: int
    size_mm: float | None
    press_strokes: int
    strokes_since_fit: int
    strokes_before: int | None
    strokes_since_rework: int | None
    last_good_strokes: int | None
    reading_strokes: int | None
    reading_at: datetime | None
    reading_quantity: str | None
    reading_value: float | None
    reading_unit: str | None
    reading_share: float | None
    past_limit_at: datetime | None
    last_verdict: str | None
    verdict_at: datetime | None
    age_margin: int
    strokes_hidden: int
    open_question: str | None


def content_of(event: ToolEvent) -> dict[str, Any]:
    """What the sender said, as JSON; what was left out is left out."""
    said = {name: _plain(getattr(event, name)) for name in _CONTENT}
    return {name: value for name, value in said.items() if value is not None and value is not False}


def _plain(value: object) -> object:
    if isinstance(value, datetime):
        return format_time(value)
    return str(value) if isinstance(value, UUID) else value


def event_row(row: Mapping[str, Any]) -> EventRow:
    """A row of `tool_event` with its press's name."""
    fields = {name: row[name] for name in (*_CONTENT, "id", "implied_by")}
    return EventRow(
        event=ToolEvent(**fields),
        entry=row["entry"],
        place=row["place"],
        press_strokes=row["press_strokes"],
        corrected_by=row["corrected_by"],
        entered_at=row["entered_at"],
        entered_by=row["entered_by"],
        given=row["given"],
    )
