"""Pairs of neighbours as they stand in the database, for rollups of any window."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

import psycopg
from psycopg.rows import DictRow

from duestroke.counting.effects import NEVER, PairEffect
from duestroke.times import from_micros, to_micros
from store.rows import micros
from store.sql import named_queries

SQL: Final = named_queries("strokes.sql")
_END: Final = 2**63 - 1
Row = Mapping[str, Any]


def pairs_between(
    conn: psycopg.Connection[DictRow], press_id: int, low: int, high: int
) -> Iterable[PairEffect]:
    """Pairs of neighbours that put anything into a window, in counting order."""
    spans = conn.execute(SQL["spans_touching"], {"press": press_id}).fetchall()
    state = conn.execute(SQL["thinned_to"], {"press": press_id}).fetchone()
    thinned_to = NEVER if state is None else micros(state["thinned_to"])
    for span in spans:
        if span["latest_after"] is not None and micros(span["latest_after"]) < low:
            continue
        if micros(span["latest_before"]) >= high and micros(span["start_at"]) >= high:
            break
        for pair in _pairs_of(conn, press_id, span, low, high):
            # Between readings that were thinned the sequence has gaps that nobody lost.
            yield pair if pair.at > thinned_to else pair._replace(gap=0)


def _pairs_of(
    conn: psycopg.Connection[DictRow], press_id: int, span: Row, low: int, high: int
) -> Iterable[PairEffect]:
    values = {
        "press": press_id,
        "boot": span["boot_id"],
        "first": span["start_seq"],
        "end": _END if span["next_seq"] is None else span["next_seq"],
        "from": from_micros(low),
        "to": from_micros(high),
    }
    before = micros(span["latest_before"])
    last: Row | None = None
    for row in conn.execute(SQL["readings_touching"], values):
        at, peaks = to_micros(row["at"]), (row["peak_speed_mps"], row["peak_accel_mps2"])
        if row["seq"] == span["start_seq"]:
            prev_at = None if span["prev_at"] is None else to_micros(span["prev_at"])
            same = span["prev_boot_id"] == span["boot_id"]
            gap = row["seq"] - span["prev_seq"] - 1 if same else 0
            counts = (span["counted"], span["settled"], gap)
            yield PairEffect(prev_at, at, before, *counts, *peaks)
        elif last is not None:
            prev_at = to_micros(last["at"])
            gap = row["seq"] - last["seq"] - 1
            counts = (row["unwrapped"] - last["unwrapped"], 0, gap)
            yield PairEffect(prev_at, at, max(before, prev_at), *counts, *peaks)
        last = row
