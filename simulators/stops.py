"""Planned stops of a line: a pure rule of the calendar and of the day on which the demo began."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from duestroke.times import to_micros
from simulators.plant import ZONE, Line

_ZONE: Final = ZoneInfo(ZONE)
_START: Final = time(7, 0)
_WEEK: Final = timedelta(days=7)
QUARTER_WEEKS: Final = 13
_HALF_YEAR_WEEKS: Final = 26


@dataclass(frozen=True)
class Stop:
    """A planned stop of a whole line. Times in microseconds since 1970; `to` is not in it."""

    id: str
    scope: str
    start: int
    end: int
    max_changes: int
    week: int
    """Weekly stops are numbered from the first one on or after the demo's first day, which is 0."""


def local_time(day: date, at: time) -> int:
    """Microseconds since 1970 of a plant's wall-clock time."""
    return to_micros(datetime.combine(day, at, tzinfo=_ZONE).astimezone(UTC))


def local_day(at: datetime) -> date:
    """The plant's own day at an instant."""
    return at.astimezone(_ZONE).date()


def planned_stops(line: Line, first_day: datetime, frm: int, to: int) -> Iterator[Stop]:
    """Stops of a line that begin in [frm, to), in order.

    first_day: the instant at which the demo began (D0), from which weeks are numbered.
    """
    origin = local_day(first_day)
    origin += timedelta(days=(line.clean_weekday - origin.weekday()) % 7)
    week = (frm - local_time(origin, _START)) // (7 * 86_400_000_000) - 1
    while (stop := _stop(line, origin + week * _WEEK, week)).start < to:
        if stop.start >= frm:
            yield stop
        week += 1


def _stop(line: Line, day: date, week: int) -> Stop:
    """Weekly clean 07:00-11:00; a day and a night each quarter; 18 hours to change can size."""
    start = local_time(day, _START)
    name, hours, changes = "clean", 4, 8
    if week % QUARTER_WEEKS == line.quarterly_week:
        name, hours, changes = "quarter", 24, 40
    elif line.size_change_week is not None and week % _HALF_YEAR_WEEKS == line.size_change_week:
        name, hours, changes = "size-change", 18, 30
    end = start + hours * 3_600_000_000
    label = f"{line.site}-{line.name}-{day.isoformat()}-{name}"
    return Stop(label, f"{line.site}/{line.name}", start, end, changes, week)
