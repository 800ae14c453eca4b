"""Windows in which a press ran dry: without a cup in the stroke. The strokes stay counted."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import psycopg
from psycopg.rows import DictRow

from duestroke.errors import BadField, Contradiction
from duestroke.times import format_time
from store.sql import named_queries
from store.strokes import totals_at

SQL: Final = named_queries("dry.sql")
_CONTENT: Final = ("press", "starts_at", "ends_at", "reason")


@dataclass(frozen=True)
class DryWindow:
    """A press ran dry from `starts_at` (held) to `ends_at` (not held), and why.

    taken_back_at, taken_back_by: set once the entry turned out wrong; it then counts no more.
    strokes: counted by the press in it; None where that was not asked.
    """

    id: str
    press: str
    starts_at: datetime
    ends_at: datetime
    reason: str
    entered_at: datetime
    entered_by: str
    taken_back_at: datetime | None = None
    taken_back_by: str | None = None
    strokes: int | None = None


class PgDryWindows:
    """Dry windows. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def add(self, window: DryWindow) -> tuple[DryWindow, bool]:
        """The window as stored, and whether it is new; the same one again changes nothing.

        Raises BadField when it ends before it starts or its press is not registered, Contradiction
        when the id is another's or that of one taken back.
        """
        if window.ends_at <= window.starts_at:
            raise BadField("to", format_time(window.ends_at), "a time after `from`")
        values = {name: getattr(window, name) for name in ("id", *_CONTENT)}
        values |= {"entered_at": window.entered_at, "entered_by": window.entered_by}
        made = self._conn.execute(SQL["add"], values).fetchone() is not None
        known = self.get(window.id)
        if known is None:
            raise BadField("press", window.press, "the name of a registered press")
        if not made:
            _check_same(known, window)
        return known, made

    def get(self, window_id: str) -> DryWindow | None:
        """One window by id, taken back or not; None where there never was one."""
        rows = self.page(1, window_id=window_id)
        return rows[0] if rows else None

    def page(
        self,
        limit: int,
        *,
        window_id: str | None = None,
        press: str | None = None,
        counting: bool | None = None,
        frm: datetime | None = None,
        to: datetime | None = None,
        after: tuple[datetime, str] | None = None,
    ) -> list[DryWindow]:
        """Windows that reach into [frm, to), by start and id, with the strokes counted in each.

        counting: only those that count, or only those taken back.
        """
        after_at, after_id = after or (None, None)
        values = {
            "id": window_id,
            "press": press,
            "counting": counting,
            "from": frm,
            "to": to,
            "after_at": after_at,
            "after_id": after_id,
            "limit": limit,
        }
        return self._with_strokes(self._conn.execute(SQL["page"], values).fetchall())

    def take_back(self, window_id: str, *, by: str, at: datetime) -> bool:
        """Let a window count no more; False when there is none that counts under this id."""
        values = {"id": window_id, "by": by, "at": at}
        return self._conn.execute(SQL["take_back"], values).fetchone() is not None

    def strokes(self, press: str, start: datetime | None, end: datetime | None) -> int:
        """Strokes that a press made dry within [start, end); where windows overlap, once."""
        values = dict.fromkeys(("id", "after_at", "after_id", "limit"))
        values |= {"press": press, "counting": True, "from": start, "to": end}
        rows = self._conn.execute(SQL["page"], values).fetchall()
        if not rows:
            return 0
        merged = _merged((_later(r["starts_at"], start), _earlier(r["ends_at"], end)) for r in rows)
        return sum(self._counted([(rows[0]["press_id"], *part) for part in merged]))

    def _with_strokes(self, rows: Sequence[dict[str, Any]]) -> list[DryWindow]:
        counts = self._counted([(r["press_id"], r["starts_at"], r["ends_at"]) for r in rows])
        return [
            DryWindow(**{k: v for k, v in row.items() if k != "press_id"}, strokes=count)
            for row, count in zip(rows, counts, strict=True)
        ]

    def _counted(self, parts: Sequence[tuple[int, datetime, datetime]]) -> list[int]:
        """Strokes counted in stretches (press id, start, end)."""
        edges = [(press_id, at) for press_id, *both in parts for at in both]
        totals = totals_at(self._conn, edges)
        return [totals[k + 1] - totals[k] for k in range(0, len(totals), 2)]


def _merged(parts: Iterable[tuple[datetime, datetime]]) -> list[tuple[datetime, datetime]]:
    """Stretches by start, those that overlap or touch as one; `parts` come by start."""
    out: list[tuple[datetime, datetime]] = []
    for start, end in parts:
        if out and start <= out[-1][1]:
            out[-1] = out[-1][0], max(end, out[-1][1])
        else:
            out.append((start, end))
    return out


def _later(at: datetime, bound: datetime | None) -> datetime:
    return at if bound is None else max(at, bound)


def _earlier(at: datetime, bound: datetime | None) -> datetime:
    return at if bound is None else min(at, bound)


def _check_same(known: DryWindow, again: DryWindow) -> None:
    if any(getattr(known, name) != getattr(again, name) for name in _CONTENT):
        words = f"{known.press} from {format_time(known.starts_at)} to {format_time(known.ends_at)}"
        raise Contradiction(f"another window has the id {again.id}: {words}", field="id")
    if known.taken_back_at is not None:
        when = format_time(known.taken_back_at)
        raise Contradiction(
            f"the window {again.id} was taken back at {when} by {known.taken_back_by}: "
            "enter it under another id",
            field="id",
        )
