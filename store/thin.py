"""Thinning raw readings out of old records; totals, hours, days and flags stay as they are."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

import psycopg
from psycopg.rows import DictRow

from duestroke.errors import BadField
from store.recount import recounted
from store.sql import named_queries

SQL: Final = named_queries("thin.sql")
LEAST: Final = timedelta(days=30)
"""Raw readings are kept at least this long after they came in."""


def thin(conn: psycopg.Connection[DictRow], press: str, *, keep: timedelta, now: datetime) -> int:
    """Thin out a press's readings that came in longer than `keep` ago; returns how many went.

    The caller commits. A later report from before the last one thinned out goes to quarantine as
    `past`. Raises BadField when `keep` is under 30 days, KeyError for an unregistered press.
    """
    if keep < LEAST:
        raise BadField("keep", keep, "30 days or more")
    with recounted(conn, press) as held:
        values = {"press": held.id, "before": now - keep}
        row = conn.execute(SQL["thin_press"], values).fetchone()
        if row is None or not row["gone"]:
            return 0
        conn.execute(SQL["set_thinned"], {"press": held.id, "thinned_to": row["thinned_to"]})
        return int(row["gone"])
