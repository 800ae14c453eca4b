"""What one pair of neighbours puts into the hour and day rollups.

The press's total at a time is a sum over pairs of a function that is 0 before `latest_before`,
runs along the straight line between the two readings from there, and stays at the pair's count.
So a bucket's strokes are a sum over pairs, exact to the stroke, and a pair that changes is taken
out and put in again without touching any other (contract rule 8; proof by the property tests).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from duestroke.counting.batch import share_of

HOUR: Final = 3_600_000_000
NEVER: Final = -62_135_596_800_000_000
"""Stands for "before any reading": midnight of year 1 in microseconds since 1970."""

Bounds = Callable[[int], tuple[int, int]]
"""From a time (microseconds) to the bucket [start, end) that holds it."""


class PairEffect(NamedTuple):
    """A reading with its predecessor, as far as rollups need them. Times in microseconds.

    prev_at: None for the very first reading.  latest_before: latest `at` of all readings before.
    counted, settled: strokes.  gap: sequence numbers missing between the two.
    """

    prev_at: int | None
    at: int
    latest_before: int
    counted: int
    settled: int
    gap: int
    peak_speed_mps: float | None
    peak_accel_mps2: float | None


@dataclass(slots=True)
class Bucket:
    """Change of one rollup row. Speed sums in um/s x strokes, acceleration in mm/s2 x strokes."""

    strokes: int = 0
    running_us: int = 0
    readings: int = 0
    missing: int = 0
    speed_sum: int = 0
    speed_weight: int = 0
    accel_sum: int = 0
    accel_weight: int = 0
    peak_speed_mps: float | None = None
    peak_accel_mps2: float | None = None
    first_at: int | None = None
    last_at: int | None = None


def hour_bounds(at: int) -> tuple[int, int]:
    """The UTC hour that holds `at`."""
    start = at - at % HOUR
    return start, start + HOUR


@dataclass(slots=True)
class Rollup:
    """Changes of one press's rows in one kind of bucket, by bucket start (microseconds)."""

    bounds: Bounds
    buckets: dict[int, Bucket] = field(default_factory=dict)

    def add(self, pair: PairEffect, sign: int = 1) -> None:
        """Put a pair in (`sign` 1) or take it out (-1). Peaks and first and last only grow."""
        self.add_strokes(pair, sign)
        bucket = self._bucket(self.bounds(pair.at)[0])
        bucket.readings += sign
        bucket.missing += sign * pair.gap
        _weigh(bucket, pair, sign)
        if sign > 0:
            _widen(bucket, pair)

    def _bucket(self, start: int) -> Bucket:
        found = self.buckets.get(start)
        if found is None:
            found = self.buckets[start] = Bucket()
        return found

    def add_strokes(self, pair: PairEffect, sign: int = 1) -> None:
        """Put only a pair's strokes and running time in, spread over the buckets it crosses."""
        strokes = pair.counted + pair.settled
        if pair.prev_at is None or (strokes == 0 and pair.counted == 0):
            return
        running = pair.counted > 0 and pair.at > pair.latest_before
        # Strokes of a bucket are total(end) - total(start): after its start, end included.
        start, end = self.bounds(pair.latest_before - 1)
        done, since = 0, pair.latest_before
        while True:
            if end >= pair.at:
                upto, until = strokes, max(pair.at, since)
            else:
                upto = share_of(strokes, end - pair.prev_at, pair.at - pair.prev_at)
                until = end
            if upto != done or (running and until > since):
                bucket = self._bucket(start)
                bucket.strokes += sign * (upto - done)
                bucket.running_us += sign * (until - since) if running else 0
            if end >= pair.at:
                return
            done, since = upto, until
            start, end = self.bounds(end)


def _weigh(bucket: Bucket, pair: PairEffect, sign: int) -> None:
    if pair.counted <= 0:
        return
    if pair.peak_speed_mps is not None:
        bucket.speed_sum += sign * pair.counted * round(pair.peak_speed_mps * 1e6)
        bucket.speed_weight += sign * pair.counted
    if pair.peak_accel_mps2 is not None:
        bucket.accel_sum += sign * pair.counted * round(pair.peak_accel_mps2 * 1e3)
        bucket.accel_weight += sign * pair.counted


def _widen(bucket: Bucket, pair: PairEffect) -> None:
    bucket.peak_speed_mps = _most(bucket.peak_speed_mps, pair.peak_speed_mps)
    bucket.peak_accel_mps2 = _most(bucket.peak_accel_mps2, pair.peak_accel_mps2)
    if bucket.first_at is None or pair.at < bucket.first_at:
        bucket.first_at = pair.at
    if bucket.last_at is None or pair.at > bucket.last_at:
        bucket.last_at = pair.at


def _most(one: float | None, two: float | None) -> float | None:
    if one is None or two is None:
        return two if one is None else one
    return max(one, two)
