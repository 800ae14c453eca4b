"""Counters that stand still while the ram moves: a contradiction, not a stop."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

import psycopg
from psycopg.rows import DictRow

from store.sql import named_queries

SQL: Final = named_queries("standing.sql")
REPORTS: Final = 2
"""One report may carry the speed of a stroke that the reading before had counted already."""
LEAST: Final = timedelta(minutes=2)
"""A sender that reports every second sees the ram crawl for as long without a whole stroke."""


def standing_since(
    conn: psycopg.Connection[DictRow], presses: Sequence[str] | None = None
) -> dict[str, datetime]:
    """Presses (None: of all) whose counter stands still while the ram moves, and since when.

    It does from the reading that first held its count, once two or more reports, the last of them
    two minutes later or more, saw the ram move and brought no stroke; until a stroke is counted
    again. Reports without a speed neither begin nor end it; nor does a new boot whose counter goes
    on where the last one's stood.
    """
    values = {
        "presses": None if presses is None else list(presses),
        "reports": REPORTS,
        "least": LEAST,
    }
    return {row["press"]: row["since"] for row in conn.execute(SQL["standing"], values)}
