"""Figures for those who watch the service itself, read in a few cheap queries."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import psycopg
from psycopg.rows import DictRow

from store.sql import named_queries

SQL: Final = named_queries("metrics.sql")


@dataclass(frozen=True)
class QuarantineCount:
    """Messages of one reason: how often such came in ever, and how many wait now."""

    reason: str
    times: int
    waiting: int


@dataclass(frozen=True)
class Figures:
    """State of the service at a moment. Ages and delays are seconds; None where nothing is known.

    `reports` and `missing` are of the whole record; `silent` presses sent nothing for ten minutes;
    `delay_s` is the median, over presses heard in the last ten minutes, from a report's own time
    to its arrival. `forecast_age_s` is of the oldest that stands; `forecast_lag_s` the longest
    that one lies behind its press's last report.
    """

    presses: int
    silent: int
    reports: int
    missing: int
    last_report_age_s: float | None
    delay_s: float | None
    flags_open: int
    forecasts: int
    forecast_age_s: float | None
    forecast_lag_s: float | None
    quarantine: tuple[QuarantineCount, ...]


def read(conn: psycopg.Connection[DictRow], at: datetime) -> Figures:
    """The figures at `at`."""
    values: dict[str, Any] = {}
    for query in ("totals", "flags", "forecasts"):
        values |= conn.execute(SQL[query], {"at": at}).fetchone() or {}
    rows = conn.execute(SQL["quarantine"]).fetchall()
    return Figures(**values, quarantine=tuple(QuarantineCount(**row) for row in rows))
