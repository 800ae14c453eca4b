"""What presses did day by day: strokes, speed, how rough the ram ran; off the hourly rollups."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final, NamedTuple

import psycopg
from psycopg.rows import DictRow

from store.sql import named_queries

SQL: Final = named_queries("duty.sql")
LEAST_RUNNING: Final = timedelta(minutes=20)
"""An hour with less running says little of the rate and the peaks."""
LEAST_HOURS: Final = 12


class DutyDay(NamedTuple):
    """One day of a press, by its own clock.

    day: its begin.  strokes: counted.  speed_sum, speed_weight: their quotient is the mean peak
    speed weighted by strokes, um/s.  roughness: the day's ram ratio K, None with fewer than twelve
    hours of running.
    """

    day: datetime
    strokes: int
    speed_sum: int
    speed_weight: int
    roughness: float | None


class PgDuty:
    """Reads of the hourly rollups. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def days(self, presses: Sequence[str], start: datetime) -> dict[str, list[DutyDay]]:
        """Days of these presses from `start`, one of their local midnights, in order.

        Days without a report are left out, and so is a press without any.
        """
        values = {
            "presses": list(presses),
            "from": start,
            "least_us": LEAST_RUNNING // timedelta(microseconds=1),
            "least_hours": LEAST_HOURS,
        }
        found: dict[str, list[DutyDay]] = {}
        for row in self._conn.execute(SQL["days"], values):
            press = row.pop("press")
            found.setdefault(press, []).append(DutyDay(**row))
        return found
