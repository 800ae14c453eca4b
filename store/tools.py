"""Tools as registered, and where their events have left them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal

import psycopg
from psycopg.rows import DictRow

from duestroke.errors import Contradiction
from store import wake
from store.sql import named_queries

SQL: Final = named_queries("tools.sql")
ToolState = Literal["shelf", "fitted", "bench", "out", "scrapped"]


@dataclass(frozen=True, slots=True)
class ToolRow:
    """A tool. size_mm: as registered; current_mm: after its last rework.  life: reworks so far.

    press, position: while fitted.  back_at: promised return while out for rework.
    """

    serial: str
    kind: str
    batch: str | None
    size_mm: float | None
    note: str | None
    registered_at: datetime
    registered_by: str
    current_mm: float | None
    life: int
    back_at: datetime | None
    position: str | None
    press: str | None
    state: ToolState


class PgTools:
    """Tools. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def add(
        self,
        serial: str,
        kind: str,
        *,
        batch: str | None = None,
        size_mm: float | None = None,
        note: str | None = None,
        by: str,
        at: datetime,
    ) -> tuple[ToolRow, bool]:
        """The tool, and whether it is new; the same one again changes nothing.

        Raises Contradiction when the serial is another tool's.
        """
        values = {"serial": serial, "kind": kind, "batch": batch, "size_mm": size_mm, "note": note}
        made = self._conn.execute(SQL["add"], values | {"by": by, "at": at}).fetchone()
        if made is not None:
            wake.wake(self._conn, {"ledger": [serial]})
        stored = self.get(serial)
        if stored is None:
            raise Contradiction(f"{serial} could not be read back", field="serial")
        given = (kind, batch, size_mm, note)
        if (stored.kind, stored.batch, stored.size_mm, stored.note) != given:
            raise Contradiction(f"another tool has this serial: {_words(stored)}", field="serial")
        return stored, made is not None

    def get(self, serial: str) -> ToolRow | None:
        """One tool by serial."""
        rows = self.page(1, serials=[serial])
        return rows[0] if rows else None

    def page(
        self,
        limit: int,
        *,
        serials: list[str] | None = None,
        kind: str | None = None,
        press: str | None = None,
        state: ToolState | None = None,
        after: str | None = None,
    ) -> list[ToolRow]:
        """Up to `limit` tools by serial, after the serial `after`."""
        values = {"serials": serials, "kind": kind, "press": press, "state": state}
        rows = self._conn.execute(SQL["page"], values | {"after": after, "limit": limit})
        return [ToolRow(**row) for row in rows.fetchall()]


def _words(tool: ToolRow) -> str:
    return (
        f"a {tool.kind}, batch {tool.batch or 'not given'}, "
        f"size {'not given' if tool.size_mm is None else f'{tool.size_mm} mm'}, "
        f"note {tool.note or 'none'}"
    )
