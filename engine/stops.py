"""Planned stops as forecasts take them, under the version that a forecast names."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Self

from duestroke.calendar import Calendar, Stop
from duestroke.forecast.digest import digest_of_stops
from duestroke.times import parse_time
from store import stops as rows


def stops_of(planned: Iterable[rows.Stop]) -> list[Stop]:
    """Planned stops as the calendar takes them."""
    return [Stop(row.id, row.scope, row.starts_at, row.ends_at, row.max_changes) for row in planned]


@dataclass(frozen=True, slots=True)
class StopCalendar:
    """The stops that hold for a press, with their version."""

    version: str
    calendar: Calendar

    @classmethod
    def of(cls, calendar: Calendar) -> Self:
        """A press's calendar under its version."""
        return cls(digest_of_stops(calendar.stops), calendar)

    @classmethod
    def kept(cls, content: Iterable[Sequence[Any]]) -> Self:
        """The calendar of which `content` was kept."""
        stops = [
            Stop(name, scope, parse_time(start), parse_time(end), changes)
            for name, scope, start, end, changes in content
        ]
        return cls.of(Calendar(tuple(stops)))

    @property
    def content(self) -> list[tuple[object, ...]]:
        """The stops as plain content, in order."""
        return [
            (stop.id, stop.scope, stop.start, stop.end, stop.max_changes)
            for stop in self.calendar.stops
        ]
