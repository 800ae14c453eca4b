"""Flags on the count, and settling them."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import Final

import psycopg
from psycopg.rows import DictRow

from duestroke.counting.insert import settle
from duestroke.errors import BadField
from store.recount import recounted
from store.sql import named_queries
from store.strokes import StoredFlag, flag_of

SQL: Final = named_queries("strokes.sql")


class PgFlags:
    """Flags by press and state. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def page(
        self,
        *,
        press: str | None = None,
        open_only: bool | None = None,
        limit: int = 100,
        after: tuple[datetime, uuid.UUID] | None = None,
    ) -> list[StoredFlag]:
        """Flags by time of the later reading and id; `after` is that of the last one seen."""
        at, flag = after if after is not None else (None, None)
        values = {
            "press": press,
            "open": open_only,
            "after_at": at,
            "after_id": flag,
            "limit": limit,
        }
        return [flag_of(row) for row in self._conn.execute(SQL["flags_page"], values)]

    def get(self, flag: uuid.UUID) -> StoredFlag | None:
        """One flag whose readings are neighbours now, or None."""
        row = self._conn.execute(SQL["flag"], {"id": flag}).fetchone()
        return None if row is None else flag_of(row)

    def settle(
        self, flag: uuid.UUID, *, strokes: int, reason: str, by: str, at: datetime
    ) -> StoredFlag | None:
        """Settle a flag, or settle it again; None when there is no such flag now.

        Every figure that rests on the press's count moves in the same transaction. Raises BadField
        when more strokes are taken away than were counted.
        """
        found = self._conn.execute(SQL["flag"], {"id": flag}).fetchone()
        if found is None:
            return None
        with recounted(self._conn, found["press"]) as press:
            found = self._conn.execute(SQL["flag"], {"id": flag}).fetchone()
            if found is None:
                return None
            if strokes < -found["counted"]:
                raise BadField("strokes", strokes, f"an integer from -{found['counted']}")
            values = {
                "id": flag,
                "press": found["press_id"],
                "counted": found["counted"],
                "strokes": strokes,
                "reason": reason,
                "by": by,
                "at": at,
            }
            self._conn.execute(SQL["add_settlement"], values)
            press.apply(settle)
        return self.get(flag)
