"""Times between the core's microseconds and Postgres, and small helpers of row writing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any, Final
from zoneinfo import ZoneInfo

from duestroke.counting.effects import NEVER
from duestroke.times import from_micros, to_micros

NEVER_AT: Final = datetime.min.replace(tzinfo=UTC)
"""Stored for "before any reading"; equals `duestroke.counting.effects.NEVER`."""


def micros(at: datetime | None) -> int:
    """A stored time in microseconds; null is "never"."""
    return NEVER if at is None else to_micros(at)


def stamp(at: int | None) -> datetime | None:
    """Microseconds as a time to store."""
    return None if at is None else from_micros(at)


@lru_cache(maxsize=256)
def zone_of(name: str) -> ZoneInfo:
    """A time zone by IANA name. Raises ZoneInfoNotFoundError or ValueError for another name."""
    return ZoneInfo(name)


def columns(rows: Iterable[Sequence[Any]], width: int) -> list[list[Any]]:
    """Rows turned into columns, for `unnest`."""
    return [list(column) for column in zip(*rows, strict=True)] or [[] for _ in range(width)]
