"""Stored press totals that rest on readings, moved with them in the same transaction."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Final

import psycopg
from psycopg.rows import DictRow

from store import moves
from store.sql import named_queries
from store.strokes import totals_at

SQL: Final = named_queries("ledger.sql")


def refresh(
    conn: psycopg.Connection[DictRow],
    moved: Sequence[tuple[int, datetime]],
    *,
    by_reports: bool = True,
) -> int:
    """Set anew the press totals of events and inspections at or after each (press id, time).

    The caller holds the row locks of these presses. Returns how many figures changed; one query
    where there is nothing to look at.  by_reports: write down that reports moved them; who moves
    them for another reason writes that down.
    """
    if not moved:
        return 0
    values = {"presses": [press for press, _ in moved], "times": [at for _, at in moved]}
    rows = conn.execute(SQL["touched"], values).fetchall()
    if not rows:
        return 0
    totals = totals_at(conn, [(row["press_id"], row["at"]) for row in rows])
    changed = [
        (row, total)
        for row, total in zip(rows, totals, strict=True)
        if row["press_strokes"] != total
    ]
    if changed:
        _write(conn, changed)
        if by_reports:
            moves.keep_reports(conn, changed)
    return len(changed)


def _write(
    conn: psycopg.Connection[DictRow], changed: Sequence[tuple[dict[str, Any], int]]
) -> None:
    events = {row["id"]: total for row, total in changed if row["what"] == "event"}
    readings = {row["id"]: total for row, total in changed if row["what"] == "inspection"}
    if events:
        values = {"ids": list(events), "strokes": list(events.values())}
        conn.execute(SQL["set_event_strokes"], values)
        conn.execute(SQL["set_fit_strokes"], {"ids": list(events)})
    if readings:
        values = {"ids": list(readings), "strokes": list(readings.values())}
        conn.execute(SQL["set_inspection_strokes"], values)
