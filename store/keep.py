"""Writing what counting changed: readings, boots, spans, states and rollups of many presses."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Literal

import psycopg
from psycopg.rows import DictRow

from duestroke.counting.batch import Identity
from duestroke.counting.days import day_bounds
from duestroke.counting.effects import Bucket, Rollup, hour_bounds
from duestroke.counting.record import Boot, Changes, Record, Span
from duestroke.times import from_micros
from store.moved import refresh
from store.records import flag_id
from store.rows import columns, stamp, zone_of
from store.sql import named_queries

SQL: Final = named_queries("intake.sql")
_INT, _BIG, _TIME, _REAL = "int4", "int8", "timestamptz", "float8"
_READING_TYPES: Final = (_INT, _INT, _BIG, _TIME, _BIG, _BIG, _REAL, _REAL, _TIME)
_BOOT_TYPES: Final = (_INT, *(_BIG, _TIME, _BIG, _BIG) * 2, _TIME, _BIG)
_STATE_TYPES: Final = (_INT, _INT, _BIG, _TIME, _BIG, _BIG, _TIME, _INT)
_BUCKET_TYPES: Final = (_INT, _TIME, *(_BIG,) * 8, _REAL, _REAL, _TIME, _TIME)


@dataclass
class Kept:
    """One press's changes on their way into the database."""

    press_id: int
    press: str
    timezone: str
    record: Record
    changes: Changes
    received: Callable[[Identity], datetime]
    boot_ids: dict[str, int]


def write(conn: psycopg.Connection[DictRow], kept: list[Kept], *, by_reports: bool = True) -> None:
    """Write the changes of presses whose state rows are locked by this transaction.

    by_reports: it was reports that changed them, and not a settlement or another rule.
    """
    _boots(conn, kept)
    _readings(conn, kept)
    for one in kept:
        _spans(conn, one)
    _states(conn, kept)
    rollups(conn, kept)
    moved = [
        (one.press_id, from_micros(one.changes.moved_from))
        for one in kept
        if one.changes.moved_from is not None
    ]
    refresh(conn, moved, by_reports=by_reports)


def rollups(conn: psycopg.Connection[DictRow], kept: Iterable[Kept]) -> None:
    """Add the changes of hours and days."""
    hours: list[tuple[Any, ...]] = []
    days: list[tuple[Any, ...]] = []
    for one in kept:
        for bounds, rows in ((hour_bounds, hours), (day_bounds(zone_of(one.timezone)), days)):
            rollup = Rollup(bounds)
            for pair, sign in one.changes.effects:
                rollup.add(pair, sign)
            rows.extend(bucket_row(one.press_id, *item) for item in rollup.buckets.items())
    add_buckets(conn, "hour", hours)
    add_buckets(conn, "day", days)


def add_buckets(
    conn: psycopg.Connection[DictRow], size: Literal["hour", "day"], rows: list[tuple[Any, ...]]
) -> None:
    """Add changes to rollup rows; `rows` by `bucket_row`, each press and start once."""
    if rows:
        stage(conn, f"stage_{size}", _BUCKET_TYPES, rows)
        conn.execute(SQL[f"add_{size}s"])


def stage(
    conn: psycopg.Connection[DictRow], name: str, types: Sequence[str], rows: list[tuple[Any, ...]]
) -> None:
    """Bring rows into one of the stages, from which one statement takes them out again."""
    conn.execute(SQL["stages"])
    with conn.cursor() as cursor, cursor.copy(SQL[name]) as copy:
        copy.set_types(types)
        for row in rows:
            copy.write_row(row)


def bucket_row(press_id: int, start: int, bucket: Bucket) -> tuple[Any, ...]:
    """A rollup row as `add_hours` and `add_days` take it."""
    return (
        press_id,
        from_micros(start),
        bucket.strokes,
        bucket.running_us,
        bucket.readings,
        bucket.missing,
        bucket.speed_sum,
        bucket.speed_weight,
        bucket.accel_sum,
        bucket.accel_weight,
        bucket.peak_speed_mps,
        bucket.peak_accel_mps2,
        stamp(bucket.first_at),
        stamp(bucket.last_at),
    )


def boot_row(boot: Boot) -> tuple[Any, ...]:
    """A boot's ends as `new_boots` and `move_boots` take them."""
    row: list[Any] = []
    for end in (boot.first, boot.last):
        reading = end.reading
        row += [reading.seq, from_micros(reading.at), reading.strokes, end.unwrapped]
    return (*row, from_micros(boot.latest_at), boot.readings)


def _boots(conn: psycopg.Connection[DictRow], kept: list[Kept]) -> None:
    new, moved = [], []
    for one in kept:
        for name in one.changes.boots:
            boot = one.record.boots[name]
            if name in one.boot_ids:
                moved.append((one.boot_ids[name], *boot_row(boot)))
            else:
                new.append((one.press_id, name, *boot_row(boot)))
    if moved:
        stage(conn, "stage_boot", _BOOT_TYPES, moved)
        conn.execute(SQL["move_boots"])
    if new:
        ids = {one.press_id: one.boot_ids for one in kept}
        for row in conn.execute(SQL["new_boots"], columns(new, 12)):
            ids[row["press_id"]][row["name"]] = row["id"]


def _readings(conn: psycopg.Connection[DictRow], kept: list[Kept]) -> None:
    if not any(one.changes.placed for one in kept):
        return
    with conn.cursor() as cursor, cursor.copy(SQL["copy_readings"]) as copy:
        copy.set_types(_READING_TYPES)
        for one in kept:
            for (boot, seq, at, strokes, speed, accel), unwrapped in one.changes.placed:
                copy.write_row(
                    (
                        one.press_id,
                        one.boot_ids[boot],
                        seq,
                        from_micros(at),
                        strokes,
                        unwrapped,
                        speed,
                        accel,
                        one.received((boot, seq)),
                    )
                )


def _spans(conn: psycopg.Connection[DictRow], one: Kept) -> None:
    if one.changes.gone_spans:
        gone = [(one.press_id, one.boot_ids[b], seq) for b, seq in one.changes.gone_spans]
        conn.execute(SQL["drop_spans"], columns(gone, 3))
    if one.changes.spans:
        rows = [span_row(one, span) for span in one.changes.spans.values()]
        with conn.cursor() as cursor:
            cursor.executemany(SQL["put_span"], rows)


def span_row(one: Kept, span: Span) -> tuple[Any, ...]:
    """A span as `put_span` takes it."""
    flagged = bool(span.kinds) and span.prev is not None
    return (
        one.press_id,
        one.boot_ids[span.boot],
        span.start_seq,
        from_micros(span.boot_at),
        span.boot,
        from_micros(span.start_at),
        span.start_unwrapped,
        span.total,
        from_micros(span.latest_before),
        None if span.prev is None else one.boot_ids[span.prev[0]],
        None if span.prev is None else span.prev[1],
        stamp(span.prev_at),
        span.prev_unwrapped,
        list(span.kinds),
        span.counted,
        span.hidden_at_most,
        span.settled,
        flag_id(one.press, span.prev, span.start) if flagged and span.prev else None,
    )


def _states(conn: psycopg.Connection[DictRow], kept: list[Kept]) -> None:
    rows = []
    for one in kept:
        record, last = one.record, one.record.last_boot
        received = (one.received(item.identity) for item in one.changes.placed)
        rows.append(
            (
                one.press_id,
                None if last is None else one.boot_ids[last.name],
                record.total,
                stamp(record.latest_at) if record.boots else None,
                record.readings,
                record.missing,
                max(received, default=None),
                int(one.changes.moved_from is not None),
            )
        )
    move_states(conn, rows)


def move_states(conn: psycopg.Connection[DictRow], rows: list[tuple[Any, ...]]) -> None:
    """Set presses' totals and ends; rows as the stage `stage_state` has its columns."""
    stage(conn, "stage_state", _STATE_TYPES, rows)
    conn.execute(SQL["move_states"])
