"""Flags on the count, and settling them."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import datetime
from typing import Final

import psycopg
from psycopg.rows import DictRow

from duestroke.counting.insert import settle
from duestroke.errors import BadField
from store.moves import Why
from store.recount import recounted
from store.sql import named_queries
from store.strokes import StoredFlag, flag_of

SQL: Final = named_queries("strokes.sql")
_SHOWN: Final = 5


def _hidden(flag: StoredFlag, strokes: int | None, candidate: int | None) -> int:
    """Strokes to add to what a flag counted, given as such or by the count that really ran."""
    if candidate is None:
        if strokes is None or strokes < -flag.counted:
            raise BadField("strokes", strokes, f"an integer from -{flag.counted}")
        return strokes
    if strokes is not None:
        raise BadField("candidate", candidate, "left out where `strokes` are given")
    if candidate not in flag.candidates:
        raise BadField("candidate", candidate, _one_of(flag.candidates))
    return candidate - flag.counted


def _one_of(candidates: Sequence[int]) -> str:
    if not candidates:
        return "left out: no whole turn of the counter may hide here"
    more = ", ..." if len(candidates) > _SHOWN else ""
    return f"one of {', '.join(map(str, candidates[:_SHOWN]))}{more}"


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
        self,
        flag: uuid.UUID,
        *,
        strokes: int | None = None,
        candidate: int | None = None,
        reason: str,
        by: str,
        at: datetime,
    ) -> StoredFlag | None:
        """Settle a flag, or settle it again; None when there is no such flag now.

        strokes: those that were hidden; or candidate: which of the flag's candidates really ran.

        Every figure that rests on the press's count moves in the same transaction. Raises BadField
        when more strokes are taken away than were counted, or a candidate is none of the flag's.
        """
        found = self._conn.execute(SQL["flag"], {"id": flag}).fetchone()
        if found is None:
            return None
        with recounted(self._conn, found["press"]) as press:
            found = self._conn.execute(SQL["flag"], {"id": flag}).fetchone()
            if found is None:
                return None
            values = {
                "id": flag,
                "press": found["press_id"],
                "counted": found["counted"],
                "strokes": _hidden(flag_of(found), strokes, candidate),
                "reason": reason,
                "by": by,
                "at": at,
            }
            self._conn.execute(SQL["add_settlement"], values)
            press.apply(settle, Why("settlement", str(flag), f"flag settled: {reason}", at, by))
        return self.get(flag)
