"""What the engine asks of the record: how presses stand, and whether the ledger has changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import psycopg
from psycopg.rows import DictRow

from store.sql import named_queries
from store.standing import standing_since

SQL: Final = named_queries("press_facts.sql")


@dataclass(frozen=True, slots=True)
class PressRecord:
    """A press as its record stands.

    latest_at: `at` of the last report, first_at: of the first, None without one.  total: strokes
    counted.  changed: grows when a stored count was moved.  max_spm: strokes a minute that it can
    reach.  counter_stands_since: its counter stands still while the ram moves (store/standing.py).
    """

    press: str
    timezone: str
    registered_at: datetime
    latest_at: datetime | None
    total: int
    changed: int
    first_at: datetime | None
    max_spm: int
    counter_stands_since: datetime | None


@dataclass(frozen=True, slots=True)
class LedgerVersion:
    """How far the ledger goes.

    events, inspections: their newest entries.  open_questions: id and serial of those that nobody
    has answered.  lives, lives_back: past lives typed in, and those of them taken back.
    positions, stops: digests.
    """

    events: int
    inspections: int
    open_questions: frozenset[str]
    lives: int
    lives_back: int
    positions: str
    stops: str


class PgPressFacts:
    """Reads for the engine. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def presses(self, now: datetime, presses: Sequence[str] | None = None) -> list[PressRecord]:
        """How presses stand, by name; None: all of them."""
        asked = None if presses is None else list(presses)
        standing = standing_since(self._conn, asked)
        rows = self._conn.execute(SQL["presses"], {"now": now, "presses": asked})
        return [PressRecord(**row, counter_stands_since=standing.get(row["press"])) for row in rows]

    def changed(self) -> dict[str, int]:
        """By press, a number that grows when a stored count was moved."""
        rows = self._conn.execute(SQL["changed"])
        return {row["press"]: row["changed"] for row in rows}

    def ledger_version(self) -> LedgerVersion:
        """Another value whenever events, inspections, lives, positions or stops have changed."""
        row = self._conn.execute(SQL["ledger_version"]).fetchone()
        assert row is not None  # noqa: S101 - a query without a table of its own has one row
        values = {**row, "open_questions": frozenset(row["open_questions"])}
        return LedgerVersion(**values)
