"""The counting rules over whole columns: the first count of a long record, by numpy.

Pairs that nothing is doubtful about are counted in one sweep; every other pair goes through the
same judgement as everywhere.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.counting.batch import Rules, rule_for
from duestroke.counting.effects import NEVER, Bounds, PairEffect, Rollup
from duestroke.counting.judge import MINUTE, judge_between, judge_within
from duestroke.counting.record import Boot, Placed, Span
from duestroke.counting.types import Reading, Rule

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
_NO_READINGS: Final = "a first count needs at least one reading"


@dataclass(frozen=True)
class ReadingColumns:
    """Readings of one press as columns of equal length n, in any order.

    boots: names; boot: index into them, shape (n,).  seq, at and received_at (microseconds since
    1970 UTC), strokes: int64.  peak_speed_mps, peak_accel_mps2: float64, NaN for none.
    """

    boots: list[str]
    boot: NDArray[np.integer]
    seq: Ints
    at: Ints
    strokes: Ints
    peak_speed_mps: Floats
    peak_accel_mps2: Floats
    received_at: Ints

    def take(self, order: NDArray[np.integer]) -> ReadingColumns:
        """The same columns in another order."""
        return ReadingColumns(
            self.boots,
            self.boot[order],
            self.seq[order],
            self.at[order],
            self.strokes[order],
            self.peak_speed_mps[order],
            self.peak_accel_mps2[order],
            self.received_at[order],
        )

    def reading(self, index: int) -> Reading:
        """One row as a reading."""
        speed, accel = float(self.peak_speed_mps[index]), float(self.peak_accel_mps2[index])
        return Reading(
            self.boots[int(self.boot[index])],
            int(self.seq[index]),
            int(self.at[index]),
            int(self.strokes[index]),
            None if np.isnan(speed) else speed,
            None if np.isnan(accel) else accel,
        )


@dataclass(frozen=True)
class ColumnCount:
    """A counted record: columns in counting order and what the store keeps beside them.

    unwrapped, counted (strokes from the reading before), gap, latest_before: shape (n,).
    """

    rows: ReadingColumns
    unwrapped: Ints
    counted: Ints
    gap: Ints
    latest_before: Ints
    boots: list[Boot]
    spans: list[Span]

    @property
    def total(self) -> int:
        return int(self.counted.sum())

    @property
    def missing(self) -> int:
        return int(self.gap.sum())


def count_columns(readings: ReadingColumns, rules: Rules) -> ColumnCount:
    """Count a whole record.  Raises ValueError when it is empty or an identity stands twice."""
    rows, starts = _ordered(readings)
    ends = np.append(starts[1:], len(rows.seq))
    first = np.zeros(len(rows.seq), dtype=bool)
    first[starts] = True
    held = [rule_for(rules, int(rows.at[start])) for start in starts]
    lengths = ends - starts
    modulus = np.repeat(np.array([rule.modulus for rule in held], dtype=np.int64), lengths)
    max_spm = np.repeat(np.array([rule.max_spm for rule in held], dtype=np.int64), lengths)
    ahead = np.mod(np.diff(rows.strokes, prepend=rows.strokes[:1]), modulus)
    step = np.diff(rows.at, prepend=rows.at[:1])
    most = 5 * max_spm * np.maximum(step, 0) // (4 * MINUTE) + 50
    plain = ~first & (step >= 0) & (ahead <= most) & (ahead + modulus > most)
    unwrapped = np.cumsum(np.where(first, 0, ahead))
    unwrapped += np.repeat(rows.strokes[starts] - unwrapped[starts], lengths)
    gap = np.where(first, 0, np.diff(rows.seq, prepend=rows.seq[:1]) - 1)
    latest = np.maximum.accumulate(rows.at)
    latest_before = np.concatenate(([NEVER], latest[:-1]))
    counted = np.where(plain, ahead, 0)
    spans: list[Span] = []
    rank = np.repeat(np.arange(len(starts)), lengths)
    for index in np.flatnonzero(~plain):
        _judge(int(index), rows, first, held[int(rank[index])], unwrapped, latest, counted, spans)
    totals = np.cumsum(counted)
    index_of = {(boot, seq): i for boot, seq, i in _identities(rows, ~plain)}
    spans = [
        span._replace(
            total=int(totals[index_of[span.start]]),
            latest_before=int(latest_before[index_of[span.start]]),
            boot_at=int(rows.at[starts[rank[index_of[span.start]]]]),
        )
        for span in spans
    ]
    boots = [
        _boot(rows, unwrapped, int(start), int(end))
        for start, end in zip(starts, ends, strict=True)
    ]
    return ColumnCount(rows, unwrapped, counted, gap, latest_before, boots, spans)


def _ordered(readings: ReadingColumns) -> tuple[ReadingColumns, Ints]:
    """Columns in counting order (rule 2), and where each boot starts in them."""
    if not len(readings.seq):
        raise ValueError(_NO_READINGS)
    rows = readings.take(np.lexsort((readings.seq, readings.boot)))
    same = np.diff(rows.boot) == 0
    if bool(np.any(same & (np.diff(rows.seq) == 0))):
        raise ValueError("an identity (boot, seq) stands twice")
    starts = np.concatenate(([0], np.flatnonzero(~same) + 1))
    lengths = np.diff(np.append(starts, len(rows.seq)))
    order = sorted(
        range(len(starts)),
        key=lambda i: (int(rows.at[starts[i]]), rows.boots[int(rows.boot[starts[i]])]),
    )
    rows = rows.take(np.concatenate([np.arange(starts[i], starts[i] + lengths[i]) for i in order]))
    ordered = np.array([int(lengths[i]) for i in order], dtype=np.int64)
    return rows, np.concatenate(([0], np.cumsum(ordered)[:-1])).astype(np.int64)


def _judge(
    index: int,
    rows: ReadingColumns,
    first: NDArray[np.bool_],
    rule: Rule,
    unwrapped: Ints,
    latest: Ints,
    counted: Ints,
    spans: list[Span],
) -> None:
    """Judge the pair that ends at `index`; a break where it is flagged or opens a boot."""
    later = rows.reading(index)
    span = Span(later.boot, later.seq, later.at, later.at, int(unwrapped[index]))
    if index == 0:
        spans.append(span)
        return
    earlier = rows.reading(index - 1)
    if first[index]:
        judged = judge_between(earlier, later, rule, int(latest[index - 1]))
    else:
        judged = judge_within(earlier, later, rule)
    counted[index] = judged.counted
    if judged.kinds:
        spans.append(
            span._replace(
                prev=(earlier.boot, earlier.seq),
                prev_at=earlier.at,
                prev_unwrapped=int(unwrapped[index - 1]),
                kinds=judged.kinds,
                counted=judged.counted,
                hidden_at_most=judged.hidden_at_most,
            )
        )


def _identities(rows: ReadingColumns, chosen: NDArray[np.bool_]) -> list[tuple[str, int, int]]:
    return [
        (rows.boots[int(rows.boot[i])], int(rows.seq[i]), int(i)) for i in np.flatnonzero(chosen)
    ]


def _boot(rows: ReadingColumns, unwrapped: Ints, start: int, end: int) -> Boot:
    first, last = (Placed(rows.reading(i), int(unwrapped[i])) for i in (start, end - 1))
    return Boot(first.reading.boot, first, last, int(rows.at[start:end].max()), end - start)


@dataclass(frozen=True)
class BucketColumns:
    """Rollup rows as columns; the fields of `effects.Bucket`, peaks NaN for none."""

    start: Ints
    strokes: Ints
    running_us: Ints
    readings: Ints
    missing: Ints
    speed_sum: Ints
    speed_weight: Ints
    accel_sum: Ints
    accel_weight: Ints
    peak_speed_mps: Floats
    peak_accel_mps2: Floats
    first_at: Ints
    last_at: Ints


def rollup_columns(counted: ColumnCount, bounds: Bounds) -> BucketColumns:
    """Rollup rows of a counted record, equal to what `effects.Rollup` adds up pair by pair."""
    rows = counted.rows
    edges = _bucket_edges(int(rows.at.min()), int(rows.at.max()), bounds)
    size = len(edges) - 1
    strokes, running = np.zeros(size, np.int64), np.zeros(size, np.int64)
    # Strokes of a pair lie after the latest time before it: in that time's bucket, end included.
    since = counted.latest_before
    home = np.searchsorted(edges, since - 1, side="right") - 1
    moving = counted.counted > 0
    moving[0] = False
    inside = moving & (home >= 0) & (edges[np.clip(home + 1, 0, size)] >= rows.at)
    np.add.at(strokes, home[inside], counted.counted[inside])
    time = np.maximum(rows.at - since, 0)
    np.add.at(running, home[inside], time[inside])
    crossing = Rollup(bounds)
    for index in np.flatnonzero(moving & ~inside):
        i = int(index)
        prev_at, at, before = int(rows.at[i - 1]), int(rows.at[i]), int(since[i])
        crossing.add_strokes(
            PairEffect(prev_at, at, before, int(counted.counted[i]), 0, 0, None, None)
        )
    for start, bucket in crossing.buckets.items():
        where = int(np.searchsorted(edges, start))
        strokes[where] += bucket.strokes
        running[where] += bucket.running_us
    own = np.searchsorted(edges, rows.at, side="right") - 1
    readings = np.bincount(own, minlength=size)
    missing = np.zeros(size, np.int64)
    np.add.at(missing, own, counted.gap)
    speed = _weighted(counted, rows.peak_speed_mps, 1e6, own, size, moving)
    accel = _weighted(counted, rows.peak_accel_mps2, 1e3, own, size, moving)
    first_at = _extreme(np.minimum, rows.at, own, size, 2**62)
    last_at = _extreme(np.maximum, rows.at, own, size, -(2**62))
    keep = (readings > 0) | (strokes != 0) | (running != 0)
    columns = (edges[:-1], strokes, running, readings, missing, *speed, *accel)
    peaks = (_peaks(rows.peak_speed_mps, own, size), _peaks(rows.peak_accel_mps2, own, size))
    return BucketColumns(*(c[keep] for c in (*columns, *peaks, first_at, last_at)))


def _bucket_edges(first: int, last: int, bounds: Bounds) -> Ints:
    # From the bucket before the first reading: strokes at its very start belong there.
    edges = [bounds(bounds(first)[0] - 1)[0]]
    while edges[-1] <= last:
        edges.append(bounds(edges[-1])[1])
    return np.array(edges, dtype=np.int64)


def _weighted(
    counted: ColumnCount,
    peaks: Floats,
    scale: float,
    own: Ints,
    size: int,
    moving: NDArray[np.bool_],
) -> tuple[Ints, Ints]:
    told = moving & ~np.isnan(peaks)
    total, weight = np.zeros(size, np.int64), np.zeros(size, np.int64)
    whole = np.rint(peaks[told] * scale).astype(np.int64)
    np.add.at(total, own[told], counted.counted[told] * whole)
    np.add.at(weight, own[told], counted.counted[told])
    return total, weight


def _extreme(pick: Callable[..., Ints], at: Ints, own: Ints, size: int, start: int) -> Ints:
    out = np.full(size, start, dtype=np.int64)
    pick.at(out, own, at)  # type: ignore[attr-defined]
    return out


def _peaks(peaks: Floats, own: Ints, size: int) -> Floats:
    out = np.full(size, np.nan)
    np.fmax.at(out, own, peaks)
    return out
