"""What was ever forecast of one tool, and how it came out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

import psycopg
from psycopg.rows import DictRow

from store.sql import named_queries

SQL: Final = named_queries("past.sql")


@dataclass(frozen=True, slots=True)
class PastForecast:
    """One forecast of a tool. source: on record, or made again by a backtest.

    remaining, due_us: at the kept levels, None for a backtest's.  outcome: None where it is not
    scored (one a week is).  left_low, left_high: strokes left as they came out, left_high None
    while the end is to come.  pit_low, pit_high: where in the forecast that lies, 0 to 1.
    width_80: strokes between its 10 % and 90 % marks.
    """

    source: Literal["live", "backtest"]
    id: int
    press: str
    position: str
    as_of: datetime
    state: str | None
    strokes: float | None
    remaining: list[float] | None
    due_us: list[int | None] | None
    outcome: str | None
    left_low: float | None
    left_high: float | None
    pit_low: float | None
    pit_high: float | None
    width_80: float | None


def of_serial(
    conn: psycopg.Connection[DictRow],
    serial: str,
    limit: int,
    after: tuple[datetime, str, int] | None = None,
) -> list[PastForecast]:
    """Up to `limit` forecasts of a tool by time, after the one of that key (time, source, id)."""
    at, source, number = after or (None, None, None)
    values = {"serial": serial, "limit": limit, "after_at": at}
    rows = conn.execute(SQL["page"], values | {"after_source": source, "after_id": number})
    return [PastForecast(**row) for row in rows]
