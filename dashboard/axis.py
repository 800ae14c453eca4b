"""The one time axis that a page shares: weeks, planned stops, and which of them are next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Any, Final

from dashboard import words
from dashboard.client import Stop
from dashboard.ramp import DAY
from duestroke.names import in_scope

LABEL_TO: Final = 93.0
"""Nothing is labelled past this share of the width, per cent."""

FLAG_ROOM: Final = 2.8
LONG_ROOM: Final = 7.0
DAY_ROOM: Final = 6.0
LONG_STOP: Final = timedelta(hours=20)
MOST_LANES: Final = 8


@dataclass(frozen=True, slots=True)
class Axis:
    """Time from `now` to the right edge, `days` later, in plant time `zone`."""

    now: datetime
    days: int
    zone: tzinfo

    @property
    def span(self) -> float:
        """Width in x units (hundredths of a day)."""
        return self.days * DAY

    def x(self, at: datetime) -> float:
        """x of a time; outside 0..span where the time is."""
        return (at - self.now).total_seconds() / 864.0

    def left(self, at: datetime) -> float:
        """Position in per cent of the width, to the hundredth."""
        return round(100 * self.x(at) / self.span, 2)


def for_changes(stops: Iterable[Stop], now: datetime) -> list[Stop]:
    """Stops that are not over and have room for a tool change, soonest first."""
    kept = [stop for stop in stops if stop.ends > now and stop.max_changes != 0]
    return sorted(kept, key=lambda stop: (stop.begins, stop.id))


def of_line(stops: Sequence[Stop], line: str) -> list[Stop]:
    """Stops that cover the whole of a line (`site/line`)."""
    return [stop for stop in stops if in_scope(line, stop.scope)]


def of_press(stops: Sequence[Stop], press: str) -> list[Stop]:
    """Stops that cover a press, its own ones among them."""
    return [stop for stop in stops if in_scope(press, stop.scope)]


def coming(stops: Sequence[Stop], now: datetime) -> list[Stop]:
    """Stops that have yet to begin."""
    return [stop for stop in stops if stop.begins > now]


def running(stops: Sequence[Stop], now: datetime) -> Stop | None:
    """The stop that goes on now, if any."""
    return next((stop for stop in stops if stop.begins <= now < stop.ends), None)


def stop_lines(axis: Axis, stops: Sequence[Stop]) -> dict[str, str]:
    """Path data of the stop lines of a row: `next` (the first) and `later`."""
    ahead = [axis.x(stop.begins) for stop in coming(stops, axis.now)]
    drawn = [f"M{x:.0f} 0V100" for x in ahead if x <= axis.span]
    return {"next": drawn[0] if drawn else "", "later": "".join(drawn[1:])}


def mondays(axis: Axis) -> list[datetime]:
    """Midnights of the Mondays on the axis, plant time (a day may have 23 or 25 hours)."""
    local = axis.now.astimezone(axis.zone)
    first = local.date() + timedelta(days=7 - local.weekday())
    starts = (first + timedelta(weeks=week) for week in range(axis.days // 7 + 1))
    midnights = (datetime(d.year, d.month, d.day, tzinfo=axis.zone) for d in starts)
    return [at for at in midnights if axis.x(at) < axis.span]


def weeks(axis: Axis) -> str:
    """Path data of the week lines."""
    return "".join(f"M{axis.x(at):.0f} 0V100" for at in mondays(axis))


def day_labels(axis: Axis) -> list[dict[str, Any]]:
    """Mondays by date, where there is room beside *now* and before the edge."""
    places = [(axis.left(at), at) for at in mondays(axis)]
    return [
        {"left": left, "text": words.day(at, axis.zone, axis.now)}
        for left, at in places
        if DAY_ROOM <= left <= LABEL_TO
    ]


def flags(axis: Axis, stops: Sequence[Stop], lines: Sequence[str]) -> list[dict[str, Any]]:
    """A lane of numbered flags for each line, one a stop; a long one is open, with its length."""
    return [
        flag
        for lane, line in enumerate(lines[:MOST_LANES])
        for flag in _lane(axis, coming(of_line(stops, line), axis.now), line, lane)
    ]


def _lane(axis: Axis, stops: Sequence[Stop], line: str, lane: int) -> list[dict[str, Any]]:
    shown: list[dict[str, Any]] = []
    free_from = 0.0
    name = line.rpartition("/")[2]
    for stop in stops:
        left = axis.left(stop.begins)
        if left < free_from or not 1.2 <= left <= LABEL_TO:
            continue
        length = stop.ends - stop.begins
        is_long = length >= LONG_STOP
        text = f"{name} {round(length.total_seconds() / 3600)} h" if is_long else name
        free_from = left + (LONG_ROOM if is_long else FLAG_ROOM)
        shown.append(
            {"key": f"{line}:{stop.id}", "left": left, "lane": lane, "text": text, "long": is_long}
        )
    return shown
