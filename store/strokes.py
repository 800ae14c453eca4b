"""Strokes between any two times, in buckets and by day, from spans, readings and rollups."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final, Literal

import psycopg
from psycopg.rows import DictRow

from duestroke.counting.batch import share_of
from duestroke.counting.days import clipped, day_bounds
from duestroke.counting.effects import HOUR, Bounds, Bucket, Rollup, hour_bounds
from duestroke.counting.judge import turn_candidates
from duestroke.counting.types import Judgement
from duestroke.errors import BadField
from duestroke.times import from_micros, to_micros
from store.pairs import pairs_between
from store.rows import NEVER_AT, zone_of
from store.sql import named_queries

SQL: Final = named_queries("strokes.sql")
MOST_BUCKETS: Final = 10_000
BucketSize = Literal["1m", "1h", "1d"]
Row = Mapping[str, Any]

_MINUTE: Final = 60_000_000


@dataclass(frozen=True)
class Settled:
    """Strokes that were hidden (or, negative, too many), why, who and when."""

    strokes: int
    reason: str
    by: str
    at: datetime


@dataclass(frozen=True)
class StoredFlag:
    """A doubtful pair of neighbours; `start` and `end` are the `at` of the two readings.

    candidates: counts that whole turns of the counter leave open, the counted one first; empty
    where no turn may hide.
    """

    id: uuid.UUID
    press: str
    kinds: list[str]
    start: datetime
    end: datetime
    counted: int
    hidden_at_most: int
    settled: Settled | None
    candidates: list[int]


def flag_of(row: Mapping[str, Any]) -> StoredFlag:
    """A flag; one that is settled hides nothing more."""
    settled = None
    if row["by"] is not None:
        settled = Settled(row["strokes"], row["reason"], row["by"], row["at"])
    judged = Judgement(tuple(row["kinds"]), row["counted"], row["hidden_at_most"])
    return StoredFlag(
        row["id"],
        row["press"],
        list(row["kinds"]),
        row["from"],
        row["to"],
        row["counted"],
        0 if settled is not None else row["hidden_at_most"],
        settled,
        turn_candidates(judged, row["modulus"]),
    )


@dataclass(frozen=True)
class StrokesBetween:
    """Strokes in a window, reports missing in it by sequence, and the flags that reach into it."""

    strokes: int
    missing: int
    flags: list[StoredFlag]


@dataclass(frozen=True)
class SeriesItem:
    """One bucket [start, end): strokes, means weighted by strokes, peaks (SI), minutes running."""

    start: datetime
    end: datetime
    strokes: int
    mean_speed_mps: float | None
    peak_speed_mps: float | None
    mean_accel_mps2: float | None
    peak_accel_mps2: float | None
    minutes_running: float


def totals_at(
    conn: psycopg.Connection[DictRow], questions: Sequence[tuple[int, datetime]]
) -> list[int]:
    """Press totals by (press id, time), in the order asked, by counting rule 8."""
    if not questions:
        return []
    values = {"presses": [press for press, _ in questions], "times": [at for _, at in questions]}
    rows = conn.execute(SQL["totals_at"], values)
    return [_total(row, at) for row, (_, at) in zip(rows.fetchall(), questions, strict=True)]


def _total(row: Row, at: datetime) -> int:
    if row["span_total"] is None:
        return 0
    if row["seq"] is None:
        return int(row["last_total"])
    if row["seq"] == row["start_seq"]:
        if row["prev_at"] is None:
            return 0
        start, step = row["span_total"] - row["broke"], row["broke"]
        began = row["prev_at"]
    else:
        start = row["span_total"] + row["before_unwrapped"] - row["start_unwrapped"]
        step, began = row["unwrapped"] - row["before_unwrapped"], row["before_at"]
    part, whole = to_micros(at) - to_micros(began), to_micros(row["at"]) - to_micros(began)
    return int(start + share_of(step, part, whole))


class PgStrokes:
    """Reads of what was counted. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def total_at(self, press: str, at: datetime) -> int:
        """The press's total at a time. Raises KeyError for a press that is not registered."""
        return totals_at(self._conn, [(self._press(press)["id"], at)])[0]

    def totals_at(self, questions: Sequence[tuple[str, datetime]]) -> list[int]:
        """Totals by (press, time) in the order asked. Raises KeyError as `total_at`."""
        ids = {press: self._press(press)["id"] for press, _ in questions}
        return totals_at(self._conn, [(ids[press], at) for press, at in questions])

    def between(self, press: str, start: datetime | None, end: datetime | None) -> StrokesBetween:
        """Strokes, missing reports and flags of a window; open ends mean the whole record.

        A gap in the sequence belongs to the reading that shows it. Raises KeyError as `total_at`.
        """
        known = self._press(press)
        first = 0 if start is None else totals_at(self._conn, [(known["id"], start)])[0]
        last = known["total"] if end is None else totals_at(self._conn, [(known["id"], end)])[0]
        missing = known["missing"]
        if start is not None or end is not None:
            missing = self._missing(
                known, start or NEVER_AT, end or datetime.max.replace(tzinfo=UTC)
            )
        values = {"press": press, "from": start, "to": end}
        flags = [flag_of(row) for row in self._conn.execute(SQL["flags_of_press"], values)]
        return StrokesBetween(last - first, missing, flags)

    def series(
        self, press: str, start: datetime, end: datetime, bucket: BucketSize
    ) -> list[SeriesItem]:
        """The buckets that a window touches, cut off at its ends; days are the press's own.

        Raises KeyError as `total_at`, and BadField when there are more than 10,000 buckets.
        """
        known = self._press(press)
        bounds = _bounds(bucket, known["timezone"])
        edges = _edges(bounds, to_micros(start), to_micros(end))
        rows: dict[int, Bucket] = {}
        query = {"1h": "hours_between", "1d": "days_between"}.get(bucket)
        if query is not None:
            values = {"press": known["id"], "from": start, "to": end}
            for row in self._conn.execute(SQL[query], values):
                rows[to_micros(row["start"])] = _bucket(row)
        for low, high in self._parts(bucket, bounds, edges):
            rows.update(self._raw(known["id"], low, high, clipped(bounds, low, high)))
        return [_item(low, high, rows.get(low, Bucket())) for low, high in edges]

    def daily(
        self, start: datetime, presses: Sequence[str] | None = None
    ) -> dict[str, list[tuple[datetime, int, int]]]:
        """By press, in order: (start of its own day, strokes, microseconds running)."""
        values = {"from": start, "presses": None if presses is None else list(presses)}
        out: dict[str, list[tuple[datetime, int, int]]] = {}
        for row in self._conn.execute(SQL["days_of_all"], values):
            day = (row["day"], row["strokes"], row["running_us"])
            out.setdefault(row["press"], []).append(day)
        return out

    def _press(self, press: str) -> Row:
        row = self._conn.execute(SQL["press_of"], {"press": press}).fetchone()
        if row is None:
            raise KeyError(press)
        return row

    def _missing(self, known: Row, start: datetime, end: datetime) -> int:
        low, high = to_micros(start), to_micros(end)
        first, last = -(-low // HOUR) * HOUR, hour_bounds(high)[0]
        if first >= last:
            return self._raw_missing(known["id"], low, high)
        values = {"press": known["id"], "from": from_micros(first), "to": from_micros(last)}
        row = self._conn.execute(SQL["missing_between"], values).fetchone()
        inside = 0 if row is None else int(row["missing"])
        edges = [(low, first), (last, high)]
        return inside + sum(self._raw_missing(known["id"], *edge) for edge in edges)

    def _raw_missing(self, press_id: int, low: int, high: int) -> int:
        if low >= high:
            return 0
        pairs = pairs_between(self._conn, press_id, low, high)
        return sum(pair.gap for pair in pairs if low <= pair.at < high)

    def _parts(
        self, bucket: BucketSize, bounds: Bounds, edges: list[tuple[int, int]]
    ) -> Iterable[tuple[int, int]]:
        """Stretches that rollups do not answer: all of it by the minute, else the cut-off ends."""
        if not edges:
            return []
        if bucket == "1m":
            return [(edges[0][0], edges[-1][1])]
        return [edge for edge in dict.fromkeys((edges[0], edges[-1])) if bounds(edge[0]) != edge]

    def _raw(self, press_id: int, low: int, high: int, bounds: Bounds) -> dict[int, Bucket]:
        rollup = Rollup(bounds)
        for pair in pairs_between(self._conn, press_id, low, high):
            rollup.add(pair)
        return {start: row for start, row in rollup.buckets.items() if low <= start < high}


def _bounds(bucket: BucketSize, zone: str) -> Bounds:
    if bucket == "1m":
        return lambda at: (at - at % _MINUTE, at - at % _MINUTE + _MINUTE)
    return hour_bounds if bucket == "1h" else day_bounds(zone_of(zone))


def _edges(bounds: Bounds, low: int, high: int) -> list[tuple[int, int]]:
    out: list[tuple[int, int]] = []
    at = low
    while at < high:
        if len(out) == MOST_BUCKETS:
            raise BadField(
                "bucket", "more than 10,000 buckets", "a shorter window or larger buckets"
            )
        end = min(bounds(at)[1], high)
        out.append((at, end))
        at = end
    return out


def _bucket(row: Row) -> Bucket:
    return Bucket(
        row["strokes"],
        row["running_us"],
        row["readings"],
        row["missing"],
        int(row["speed_sum"]),
        row["speed_weight"],
        int(row["accel_sum"]),
        row["accel_weight"],
        row["peak_speed_mps"],
        row["peak_accel_mps2"],
    )


def _item(low: int, high: int, row: Bucket) -> SeriesItem:
    return SeriesItem(
        from_micros(low),
        from_micros(high),
        row.strokes,
        row.speed_sum / row.speed_weight / 1e6 if row.speed_weight else None,
        row.peak_speed_mps,
        row.accel_sum / row.accel_weight / 1e3 if row.accel_weight else None,
        row.peak_accel_mps2,
        timedelta(microseconds=row.running_us) / timedelta(minutes=1),
    )
