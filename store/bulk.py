"""The first load of a press's long history: counted in columns, written by binary COPY."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import psycopg
from numpy.typing import NDArray
from psycopg.rows import DictRow

from duestroke.counting.columns import (
    BucketColumns,
    ColumnCount,
    ReadingColumns,
    count_columns,
    rollup_columns,
)
from duestroke.counting.days import day_bounds
from duestroke.counting.effects import hour_bounds
from duestroke.counting.record import Changes, Record
from duestroke.errors import Contradiction
from duestroke.times import from_micros
from store.binary import binary_rows, timestamps
from store.keep import Kept, boot_row, move_states, span_row
from store.moved import refresh
from store.records import rules_by_press
from store.rows import columns, zone_of
from store.sql import named_queries

SQL: Final = named_queries("bulk.sql")
INTAKE: Final = named_queries("intake.sql")


def load_history(conn: psycopg.Connection[DictRow], press: str, readings: ReadingColumns) -> int:
    """Count and store the first readings of a registered press; returns how many.

    The caller commits. Raises KeyError when the press is not registered, Contradiction when it has
    readings already, ValueError when an identity stands twice.
    """
    found = conn.execute(INTAKE["press_ids"], {"names": [press]}).fetchone()
    if found is None:
        raise KeyError(press)
    presses = {"presses": [found["id"]]}
    conn.execute(INTAKE["lock_presses"], presses)
    state = conn.execute(INTAKE["states"], presses).fetchone()
    if state is None or state["readings"]:
        raise Contradiction(f"press {press} has readings already")
    rules = rules_by_press(conn.execute(INTAKE["rules_of"], presses))[found["id"]]
    counted = count_columns(readings, rules)
    kept = _kept(found["id"], press, state["timezone"], counted)
    _boots(conn, kept, counted)
    _copy_readings(conn, kept, counted)
    with conn.cursor() as cursor:
        cursor.executemany(INTAKE["put_span"], [span_row(kept, span) for span in counted.spans])
    _state(conn, kept, counted)
    zone = zone_of(kept.timezone)
    for query, bounds in (("copy_hours", hour_bounds), ("copy_days", day_bounds(zone))):
        _copy_buckets(conn, query, kept.press_id, rollup_columns(counted, bounds))
    refresh(conn, [(kept.press_id, from_micros(int(counted.rows.at.min())))])
    return len(counted.rows.seq)


def _kept(press_id: int, press: str, timezone: str, counted: ColumnCount) -> Kept:
    record = Record([], {boot.name: boot for boot in counted.boots})
    received = from_micros(int(counted.rows.received_at.max()))
    return Kept(press_id, press, timezone, record, Changes(), lambda _: received, {})


def _boots(conn: psycopg.Connection[DictRow], kept: Kept, counted: ColumnCount) -> None:
    rows = [(kept.press_id, boot.name, *boot_row(boot)) for boot in counted.boots]
    for row in conn.execute(INTAKE["new_boots"], columns(rows, 12)):
        kept.boot_ids[row["name"]] = row["id"]


def _copy_readings(conn: psycopg.Connection[DictRow], kept: Kept, counted: ColumnCount) -> None:
    rows = counted.rows
    ids = np.array([kept.boot_ids.get(name, 0) for name in rows.boots], dtype=np.int32)
    values: list[NDArray[Any]] = [
        np.full(len(rows.seq), kept.press_id, dtype=np.int32),
        ids[rows.boot],
        rows.seq,
        timestamps(rows.at),
        rows.strokes,
        counted.unwrapped,
        rows.peak_speed_mps,
        rows.peak_accel_mps2,
        timestamps(rows.received_at),
    ]
    with conn.cursor() as cursor, cursor.copy(INTAKE["copy_readings"]) as copy:
        for chunk in binary_rows(values):
            copy.write(chunk)


def _copy_buckets(
    conn: psycopg.Connection[DictRow], query: str, press_id: int, rows: BucketColumns
) -> None:
    # A bucket that only strokes reach has no reading: its first and last stay null.
    bare = rows.readings == 0
    values: list[NDArray[Any]] = [
        np.full(len(rows.start), press_id, dtype=np.int32),
        timestamps(rows.start),
        *(rows.strokes, rows.running_us, rows.readings, rows.missing),
        *(rows.speed_sum, rows.speed_weight, rows.accel_sum, rows.accel_weight),
        *(rows.peak_speed_mps, rows.peak_accel_mps2),
        *(timestamps(rows.first_at), timestamps(rows.last_at)),
    ]
    nulls = dict.fromkeys((len(values) - 2, len(values) - 1), bare)
    with conn.cursor() as cursor, cursor.copy(SQL[query]) as copy:
        for chunk in binary_rows(values, nulls):
            copy.write(chunk)


def _state(conn: psycopg.Connection[DictRow], kept: Kept, counted: ColumnCount) -> None:
    row = (
        kept.press_id,
        kept.boot_ids[counted.boots[-1].name],
        counted.total,
        from_micros(int(counted.rows.at.max())),
        len(counted.rows.seq),
        counted.missing,
        from_micros(int(counted.rows.received_at.max())),
        1,
    )
    move_states(conn, [row])
