"""Bounds of a press's own days: local midnight to local midnight, 23 to 25 hours long."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta, tzinfo

from duestroke.counting.effects import NEVER, Bounds
from duestroke.times import from_micros, to_micros


def day_bounds(zone: tzinfo) -> Bounds:
    """A function from a time (microseconds) to the local day [start, end) that holds it."""
    held = (0, 0)

    def bounds(at: int) -> tuple[int, int]:
        nonlocal held
        if not held[0] <= at < held[1]:
            held = _day(at, zone)
        return held

    return bounds


def _day(at: int, zone: tzinfo) -> tuple[int, int]:
    day = from_micros(at).astimezone(zone).date()
    start, end = (
        _midnight(datetime.combine(day + timedelta(days=n), time()), zone) for n in (0, 1)
    )
    # Where midnight itself is skipped or repeated, a time next to it may fall to the day beside.
    if at < start:
        return _midnight(datetime.combine(day - timedelta(days=1), time()), zone), start
    return start, end


def _midnight(local: datetime, zone: tzinfo) -> int:
    return to_micros(local.replace(tzinfo=zone).astimezone(UTC))


def clipped(bounds: Bounds, start: int, end: int) -> Bounds:
    """The same buckets cut off at a window [start, end); what lies outside falls to two ends."""

    def cut(at: int) -> tuple[int, int]:
        if at < start:
            return NEVER - 2, start
        if at >= end:
            return end, 2**62
        low, high = bounds(at)
        return max(low, start), min(high, end)

    return cut
