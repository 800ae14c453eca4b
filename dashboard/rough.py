"""How rough a ram runs: K by day from the API's hours, beside its own level before.

K itself is `duestroke.stroke.ram_ratio`. Nothing is tested or fitted here: a day is the median of
its hours, the own level the median of the days before those shown.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from itertools import groupby
from statistics import median
from typing import Final

from dashboard.record import Bucket
from duestroke.stroke import ram_ratio

LEAST_MINUTES: Final = 20.0
LEAST_HOURS: Final = 12
LEAST_DAYS: Final = 14
FULL_SHARE: Final = 0.9
RECENT_DAYS: Final = 7


@dataclass(frozen=True, slots=True)
class Day:
    """A plant day: ram ratio (no unit), speed in m/s, strokes a minute of its full hours."""

    day: date
    ratio: float
    speed_mps: float
    rate: float


@dataclass(frozen=True, slots=True)
class Rough:
    """Days shown, and the press's own level: None where too few days lie before them."""

    days: tuple[Day, ...]
    own: float | None

    @property
    def recent(self) -> float | None:
        """Median of the last seven days shown, None without any."""
        last = [day.ratio for day in self.days[-RECENT_DAYS:]]
        return median(last) if last else None


def of_hours(hours: Iterable[Bucket], zone: tzinfo, now: datetime, shown: int) -> Rough:
    """Days of K. shown: how many days up to now are shown; the ones before give the own level."""
    known = by_day(hours, zone)
    begin = now.astimezone(zone).date() - timedelta(days=shown)
    before = [day.ratio for day in known if day.day < begin]
    return Rough(
        days=tuple(day for day in known if day.day >= begin),
        own=median(before) if len(before) >= LEAST_DAYS else None,
    )


def by_day(hours: Iterable[Bucket], zone: tzinfo) -> list[Day]:
    """Plant days with enough hours of running, oldest first."""
    usable = sorted((hour for hour in hours if _is_usable(hour)), key=lambda hour: hour.begins)
    grouped = groupby(usable, key=lambda hour: hour.begins.astimezone(zone).date())
    found = [_day(day, list(its)) for day, its in grouped]
    return [day for day in found if day is not None]


def _is_usable(hour: Bucket) -> bool:
    return (
        hour.strokes > 0
        and hour.minutes_running >= LEAST_MINUTES
        and (hour.mean_speed_mps or 0) > 0
        and (hour.mean_accel_mps2 or 0) > 0
    )


def _day(day: date, hours: Sequence[Bucket]) -> Day | None:
    if len(hours) < LEAST_HOURS:
        return None
    rate = full_rate([hour.strokes / hour.minutes_running for hour in hours])
    ratios = [
        ram_ratio(hour.mean_accel_mps2 or 0.0, hour.mean_speed_mps or 0.0, rate) for hour in hours
    ]
    return Day(day, median(ratios), median(hour.mean_speed_mps or 0.0 for hour in hours), rate)


def full_rate(rates: Sequence[float]) -> float:
    """Strokes a minute of a day's full hours: the rate that nine in ten of its hours don't pass.

    A short stop takes strokes from the hour but nothing from its peaks; the mean rate would make
    every such day look rough.
    """
    return sorted(rates)[round(FULL_SHARE * (len(rates) - 1))]
