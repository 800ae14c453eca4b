"""The record with the times at which each line of it came in: what was known when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

import psycopg
from psycopg.rows import DictRow

from duestroke.ledger import Tool
from duestroke.lives import Life
from store.ledger_rows import EventRow, event_row
from store.sql import named_queries

SQL: Final = named_queries("known.sql")


@dataclass(frozen=True, slots=True)
class LookRow:
    """An inspection. press_strokes: the press's total that it tells of.  share, margin: of the
    limit, None without a reading of the tool itself.  is_own: of its position's own quantity.
    session: the press's day.  asked: what a question wants to know of it, open from `raised_at` to
    `closed_at`.
    """

    id: str
    entry: int
    serial: str
    at: datetime
    entered_at: datetime
    corrects: str | None
    void: bool
    press_strokes: int
    verdict: str | None
    share: float | None
    margin: float
    is_own: bool
    session: int
    asked: str | None
    raised_at: datetime | None
    closed_at: datetime | None

    def as_of(self, at: datetime) -> LookRow:
        """The same with the question only where it was open at a time."""
        is_open = self.raised_at is not None and self.raised_at <= at
        if is_open and (self.closed_at is None or self.closed_at > at):
            return self
        return replace(self, asked=None)


@dataclass(frozen=True, slots=True)
class ImportedRow:
    """A life typed in, and from when to when it counted."""

    life: Life
    entered_at: datetime
    taken_back_at: datetime | None


@dataclass(frozen=True, slots=True)
class PressRow:
    """A press with the ends of its record and the strokes a minute that it can reach."""

    press: str
    id: int
    timezone: str
    registered_at: datetime
    latest_at: datetime | None
    first_at: datetime | None
    max_spm: int


@dataclass(frozen=True)
class Record:
    """The whole record of tools, lines put right later included.

    batches: what tools came with, by serial.  presses: by name.
    """

    events: tuple[EventRow, ...]
    looks: tuple[LookRow, ...]
    imported: tuple[ImportedRow, ...]
    tools: Mapping[str, Tool]
    batches: Mapping[str, str | None]
    presses: Mapping[str, PressRow]


def read_record(conn: psycopg.Connection[DictRow]) -> Record:
    """Read the whole record. The caller owns the transaction."""

    def rows(query: str) -> list[DictRow]:
        return conn.execute(SQL[query]).fetchall()

    tools = rows("tools")
    return Record(
        events=tuple(event_row(row) for row in rows("events")),
        looks=tuple(LookRow(**row) for row in rows("inspections")),
        imported=tuple(_imported(row) for row in rows("imported")),
        tools={row["serial"]: Tool(row["serial"], row["kind"], row["size_mm"]) for row in tools},
        batches={row["serial"]: row["batch"] for row in tools},
        presses={row["press"]: PressRow(**row) for row in rows("presses")},
    )


def _imported(row: dict[str, Any]) -> ImportedRow:
    entered, taken_back = row.pop("entered_at"), row.pop("taken_back_at")
    return ImportedRow(Life(**row, source="imported"), entered, taken_back)
