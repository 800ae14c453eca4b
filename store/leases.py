"""Leases: one holder of a job at a time, over all machines that share the database."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import psycopg
from psycopg.rows import class_row

from store.sql import named_queries

SQL: Final = named_queries("leases.sql")


@dataclass(frozen=True, slots=True)
class Holding:
    """Who holds a job, since when, and when it was last seen at work."""

    name: str
    holder: str
    taken_at: datetime
    beat_at: datetime


class Lease:
    """A job's lease for one connection, which must be in autocommit and stay the holder's own.

    The lock belongs to the session: it falls with the connection, so a dead holder's job is free
    at once and two never hold it. Not behind a proxy that pools transactions.
    """

    def __init__(self, conn: psycopg.Connection[Any], name: str, holder: str) -> None:
        self._conn, self._name, self._holder = conn, name, holder

    def take(self, now: datetime) -> bool:
        """Take the lease if nobody else holds it; true when it is ours. Ask once a session."""
        row = self._conn.execute(SQL["try_lock"], {"name": self._name}).fetchone()
        if row is None or not (row["taken"] if isinstance(row, dict) else row[0]):
            return False
        self._conn.execute(SQL["record"], self._row(now))
        return True

    def beat(self, now: datetime) -> None:
        """Leave a sign of life. Raises psycopg.OperationalError when the session is gone."""
        self._conn.execute(SQL["beat"], self._row(now))

    def release(self) -> None:
        """Give the lease back."""
        self._conn.execute(SQL["unlock"], {"name": self._name})

    def _row(self, now: datetime) -> dict[str, object]:
        return {"name": self._name, "holder": self._holder, "now": now}


def holding(conn: psycopg.Connection[Any], name: str) -> Holding | None:
    """Who holds a job, or held it last; None when nobody ever did."""
    with conn.cursor(row_factory=class_row(Holding)) as cursor:
        return cursor.execute(SQL["holder"], {"name": name}).fetchone()
