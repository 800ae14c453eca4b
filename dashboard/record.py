"""What the API holds about one press beside its state: readings of tools, events, flags, series.

The types hold the fields that the press page shows and no more, as in `client`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import msgspec

from dashboard.client import Time


class Position(msgspec.Struct, frozen=True):
    """A position: what sits there, what its wear is measured in, where from cup to dome."""

    position: str
    kind: str
    order: int
    quantity: str | None = None
    unit: str | None = None
    limit: float | None = None


class Event(msgspec.Struct, frozen=True):
    """One line of the ledger. `press_strokes`: the press's total then.

    strokes_before_margin: by how much `strokes_before` may be off, either way.
    """

    id: str
    type: str
    serial: str
    at: Time
    entered_at: Time
    entered_by: str
    press: str | None = None
    position: str | None = None
    reason: str | None = None
    strokes_before: int | None = None
    strokes_before_margin: int | None = None
    before_unknown: bool = False
    by: str | None = None
    note: str | None = None
    corrects: str | None = None
    corrected_by: str | None = None
    void: bool = False
    press_strokes: int | None = None

    @property
    def stands(self) -> bool:
        """Whether it counts: neither taken back nor replaced by a correction."""
        return self.corrected_by is None and not self.void


class WholeEvent(Event, frozen=True):
    """The same with what only a tool's own page and a correction show.

    implied_by: the fit with `replaces` that this pull follows from.
    """

    size_mm: float | None = None
    back_at: Time | None = None
    replaces: bool = False
    implied_by: str | None = None


class Inspection(msgspec.Struct, frozen=True):
    """A verdict, a reading, or both.

    uncertainty: half-width of the reading's 95 % range, in its unit.  of_set: read off the can, so
    that it tells of several tools together.  share: part of its limit used up, null without one and
    while the reading is in question.
    """

    id: str
    serial: str
    at: Time
    entered_at: Time
    entered_by: str
    position: str | None = None
    verdict: str | None = None
    quantity: str | None = None
    value: float | None = None
    unit: str | None = None
    limit: float | None = None
    uncertainty: float | None = None
    of_set: bool = False
    share: float | None = None
    by: str | None = None
    note: str | None = None
    corrects: str | None = None
    corrected_by: str | None = None
    void: bool = False

    @property
    def stands(self) -> bool:
        """Whether it counts: neither taken back nor replaced by a correction."""
        return self.corrected_by is None and not self.void


class PlacedInspection(Inspection, frozen=True):
    """The same with where the tool was, or had last been, and the press's total then."""

    press: str | None = None
    press_strokes: int | None = None


class Question(msgspec.Struct, frozen=True):
    """What a reading asks back, and only somebody who knows can answer."""

    id: str
    serial: str
    words: str
    raised_at: Time
    position: str | None = None


class Settled(msgspec.Struct, frozen=True):
    """How a flag was settled, why, by whom and when."""

    strokes: int
    reason: str
    by: str
    at: Time


class Flag(msgspec.Struct, frozen=True, kw_only=True):
    """Two neighbouring readings between which strokes may be hidden.

    candidates: the counts that whole turns of the counter leave open.
    """

    id: str
    kinds: list[str]
    counted: int
    hidden_at_most: int
    settled: Settled | None
    candidates: list[int] = []
    begins: Time = msgspec.field(name="from")
    ends: Time = msgspec.field(name="to")


class DryWindow(msgspec.Struct, frozen=True, kw_only=True):
    """A window in which a press ran without cups. Its strokes stay counted."""

    id: str
    reason: str
    strokes: int
    entered_by: str
    begins: Time = msgspec.field(name="from")
    ends: Time = msgspec.field(name="to")


class Bucket(msgspec.Struct, frozen=True):
    """An hour or a day: strokes, means of the reported peaks, minutes of running."""

    strokes: int
    minutes_running: float
    begins: Time = msgspec.field(name="from")
    ends: Time = msgspec.field(name="to")
    mean_speed_mps: float | None = None
    mean_accel_mps2: float | None = None


@dataclass(frozen=True, slots=True)
class Record:
    """What was read about one press; a part that was never read is None.

    faults: why parts could not be read this time.  aged: those of them whose parts were read
    before: they stay, and are as old as that.

    events, inspections: by time.  flags: by the later reading.  questions: open ones.
    dry: windows marked dry that count, by their start.
    hours: back beyond the days shown.  days: the press's own, over those shown.
    series_at: when hours and days were read.
    """

    positions: tuple[Position, ...] | None
    events: tuple[Event, ...] | None
    inspections: tuple[Inspection, ...] | None
    flags: tuple[Flag, ...] | None
    questions: tuple[Question, ...] | None
    dry: tuple[DryWindow, ...] | None
    hours: tuple[Bucket, ...] | None
    days: tuple[Bucket, ...] | None
    read_at: datetime
    series_at: datetime
    faults: tuple[str, ...] = ()
    aged: tuple[str, ...] = ()
