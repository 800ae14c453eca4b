"""The plant's calendar: planned stops, running time between two instants, wall-clock shifts.

Running time is true time outside planned stops. It is kept apart from wall-clock time, since a
night shift from 18:00 to 06:00 lasts 11 or 13 hours when the clocks change inside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from duestroke.names import in_scope
from duestroke.times import EPOCH, from_micros, to_micros

DAY_US: Final = 86_400_000_000
"""Microseconds in 24 hours of true time."""
STAND_IN_DAYS: Final = (7, 14, 21)
"""Days from now that stand in for stops where fewer than three are known."""
WANTED_STOPS: Final = 3

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Stop:
    """A planned stop: it holds `start`, not `end`. `id` is None where an instant stands in.

    scope: `site`, `site/line` or `site/line/press`.  max_changes: tools that can be changed in
    it, None where no bound is known, 0 where it is no time for a change at all.
    """

    id: str | None
    scope: str
    start: datetime
    end: datetime
    max_changes: int | None = None

    def __post_init__(self) -> None:
        if self.end < self.start:
            raise ValueError(f"stop {self.id}: ends before it begins")


@dataclass(frozen=True)
class Calendar:
    """Planned stops of one press, made by `calendar_of`. Knows running time and its inverse."""

    stops: tuple[Stop, ...] = ()

    @cached_property
    def _starts(self) -> Ints:
        return np.array([start for start, _ in self._merged], dtype=np.int64)

    @cached_property
    def _ends(self) -> Ints:
        return np.array([end for _, end in self._merged], dtype=np.int64)

    @cached_property
    def _merged(self) -> list[tuple[int, int]]:
        return _union((to_micros(stop.start), to_micros(stop.end)) for stop in self.stops)

    @cached_property
    def _stopped(self) -> Ints:
        """Microseconds stopped before each stop, and after the last."""
        return np.concatenate(([0], np.cumsum(self._ends - self._starts))).astype(np.int64)

    def running_us(self, start_us: ArrayLike, end_us: ArrayLike) -> Ints:
        """Microseconds outside planned stops between instants (microseconds since 1970).

        Broadcasts; negative where the end lies before the start.
        """
        return self._clock(end_us) - self._clock(start_us)

    def running_time(self, start: datetime, end: datetime) -> timedelta:
        """True time outside planned stops between two aware instants."""
        return timedelta(microseconds=int(self.running_us(to_micros(start), to_micros(end))))

    def instants_us(self, start: datetime, running_days: ArrayLike) -> Floats:
        """Instants (microseconds since 1970) at which that much running time has passed.

        running_days: days of 24 h, >= 0, any shape, may be infinite. Never before `start`; where
        the time is used up just as a stop begins, the instant is that beginning.
        """
        origin = to_micros(start)
        target = float(self._clock(origin)) + np.asarray(running_days, dtype=float) * DAY_US
        begun = np.searchsorted(self._starts - self._stopped[:-1], target, side="left")
        return np.maximum(target + self._stopped[begun], float(origin))

    def _clock(self, at_us: ArrayLike) -> Ints:
        """Microseconds of running time since 1970."""
        at = np.asarray(at_us, dtype=np.int64)
        ended = np.searchsorted(self._ends, at, side="right")
        into = np.zeros_like(at)
        if len(self._starts):
            start = self._starts[np.minimum(ended, len(self._starts) - 1)]
            into = np.where(ended < len(self._starts), np.maximum(at - start, 0), 0)
        return at - self._stopped[ended] - into


def _union(spans: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    merged: list[tuple[int, int]] = []
    for start, end in sorted(span for span in spans if span[1] > span[0]):
        if merged and start <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
        else:
            merged.append((start, end))
    return merged


def calendar_of(press: str, stops: Iterable[Stop]) -> Calendar:
    """The stops whose scope covers a press (`site/line/press`), in order of time."""
    own = [stop for stop in stops if in_scope(press, stop.scope)]
    return Calendar(tuple(sorted(own, key=_order)))


def _order(stop: Stop) -> tuple[datetime, datetime, str]:
    return stop.start, stop.end, stop.id or ""


def stops_ahead(calendar: Calendar, now: datetime, most: int = 8) -> list[Stop]:
    """The press's stops to come at which a tool can be changed, at least three, in order.

    A stop under way counts until it ends; one with `max_changes` 0 does not. Where fewer than
    three are known, instants 7, 14 and 21 days from now stand in: those after the last known
    stop, or all of them where that is not enough.
    """
    known = [stop for stop in calendar.stops if stop.end > now and stop.max_changes != 0][:most]
    if len(known) >= WANTED_STOPS:
        return known
    stand_ins = [_stand_in(now + timedelta(days=days)) for days in STAND_IN_DAYS]
    later = [stop for stop in stand_ins if not known or stop.start > known[-1].start]
    chosen = later if len(known) + len(later) >= WANTED_STOPS else stand_ins
    return sorted([*known, *chosen], key=_order)


def _stand_in(at: datetime) -> Stop:
    return Stop(None, "", at, at)


def occasions(stops: Sequence[Stop]) -> list[datetime]:
    """Beginnings of separate occasions: a stop that begins inside an earlier one is the same."""
    begins: list[datetime] = []
    until = EPOCH
    for stop in stops:
        if not begins or stop.start >= until:
            begins.append(stop.start)
        until = max(until, stop.end, stop.start + timedelta(microseconds=1))
    return begins


def shift_span(zone: tzinfo, day: date, begins: time, ends: time) -> tuple[datetime, datetime]:
    """A shift by the wall clock, as aware instants in its zone.

    It ends on the next day where `ends` is not after `begins`. A wall time that comes twice is
    taken the first time; one that is skipped is read by the offset before the change.
    """
    last = day if ends > begins else day + timedelta(days=1)
    return datetime.combine(day, begins, zone), datetime.combine(last, ends, zone)


def day_start(at: datetime, zone: tzinfo) -> datetime:
    """The local midnight at or before an instant, as UTC."""
    local = at.astimezone(zone)
    return _to_utc(datetime.combine(local.date(), time(), zone))


def next_day(start: datetime, zone: tzinfo) -> datetime:
    """The local midnight after the day that holds `start`, as UTC: 23, 24 or 25 hours later."""
    tomorrow = start.astimezone(zone).date() + timedelta(days=1)
    return _to_utc(datetime.combine(tomorrow, time(), zone))


def _to_utc(local: datetime) -> datetime:
    return from_micros(to_micros(local))
