"""What could not be taken in, with its bytes: listed, replayed, dropped; never erased."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import psycopg
from psycopg.rows import DictRow

from store.intake import replay
from store.sql import named_queries

SQL: Final = named_queries("quarantine.sql")


@dataclass(frozen=True)
class Quarantined:
    """A refused payload. `state` is waiting, replayed or dropped; `times` how often it came."""

    id: int
    received_at: datetime
    last_received_at: datetime
    times: int
    topic: str
    payload: bytes
    reason: str
    field: str | None
    detail: str
    press: str | None
    state: str


class PgQuarantine:
    """The quarantine. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def page(
        self,
        *,
        reason: str | None = None,
        press: str | None = None,
        state: str | None = None,
        limit: int = 100,
        after: int | None = None,
    ) -> list[Quarantined]:
        """Rows by id; `after` is the last id seen."""
        values = {"reason": reason, "press": press, "state": state, "limit": limit, "after": after}
        return [_quarantined(row) for row in self._conn.execute(SQL["page"], values)]

    def get(self, row_id: int) -> Quarantined | None:
        """One row, or None."""
        row = self._conn.execute(SQL["get"], {"id": row_id}).fetchone()
        return None if row is None else _quarantined(row)

    def replay(self, row_id: int, now: datetime) -> Quarantined | None:
        """Try a payload again, whatever its state; None where there is no such row."""
        row = self._conn.execute(SQL["hold"], {"id": row_id}).fetchone()
        if row is None:
            return None
        replay(self._conn, row, now)
        return self.get(row_id)

    def drop(self, row_id: int) -> Quarantined | None:
        """Set a payload aside for good; it stays on record. None where there is no such row."""
        self._conn.execute(SQL["drop"], {"id": row_id})
        return self.get(row_id)


def _quarantined(row: Mapping[str, Any]) -> Quarantined:
    return Quarantined(**dict(row) | {"payload": bytes(row["payload"])})
