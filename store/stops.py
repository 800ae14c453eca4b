"""Planned stops of sites, lines and presses."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Final

import psycopg
from psycopg.rows import DictRow

from duestroke.errors import BadField, Contradiction
from duestroke.names import in_scope
from duestroke.times import format_time
from store import wake
from store.sql import named_queries

SQL: Final = named_queries("stops.sql")


@dataclass(frozen=True, slots=True)
class Stop:
    """A planned stop. scope: site, site/line or press.  max_changes: tools that can be changed."""

    id: str
    scope: str
    starts_at: datetime
    ends_at: datetime
    max_changes: int | None
    entered_at: datetime
    entered_by: str

    def covers(self, press: str) -> bool:
        """Whether this stop stops the press."""
        return in_scope(press, self.scope)


class PgStops:
    """Planned stops. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def add(self, stop: Stop) -> tuple[Stop, bool]:
        """The stop as stored, and whether it is new; the same one again changes nothing.

        Raises BadField when it ends before it starts, Contradiction when the id is another's.
        """
        if stop.ends_at <= stop.starts_at:
            raise BadField("to", format_time(stop.ends_at), "a time after `from`")
        row = self._conn.execute(SQL["add"], asdict(stop)).fetchone()
        if row is None:
            return _same(self.get(stop.id), stop), False
        wake.wake(self._conn, {"ledger": [stop.scope]})
        return Stop(**row), True

    def get(self, stop_id: str) -> Stop | None:
        """One stop by id."""
        row = self._conn.execute(SQL["get"], {"id": stop_id}).fetchone()
        return None if row is None else Stop(**row)

    def page(
        self,
        limit: int,
        *,
        scope: str | None = None,
        frm: datetime | None = None,
        to: datetime | None = None,
        after: tuple[datetime, str] | None = None,
    ) -> list[Stop]:
        """Up to `limit` stops that touch the window [frm, to) and concern the scope, by start."""
        after_at, after_id = after or (None, None)
        values = {"scope": scope, "from": frm, "to": to, "limit": limit}
        values |= {"after_at": after_at, "after_id": after_id}
        return [Stop(**row) for row in self._conn.execute(SQL["page"], values).fetchall()]

    def upcoming(self, now: datetime, press: str | None = None) -> list[Stop]:
        """Stops not over at `now`, by start: of the whole plant, or those that stop one press."""
        rows = self._conn.execute(SQL["upcoming"], {"now": now}).fetchall()
        stops = [Stop(**row) for row in rows]
        return stops if press is None else [stop for stop in stops if stop.covers(press)]

    def all(self) -> list[Stop]:
        """Every stop, past ones too, by start."""
        return self.upcoming(datetime.min.replace(tzinfo=UTC))

    def remove(self, stop_id: str) -> bool:
        """Take a stop out of the plan; False when there is none of this id."""
        row = self._conn.execute(SQL["remove"], {"id": stop_id}).fetchone()
        if row is not None:
            wake.wake(self._conn, {"ledger": []})
        return row is not None


def _same(known: Stop | None, again: Stop) -> Stop:
    content = ("scope", "starts_at", "ends_at", "max_changes")
    if known is None or any(getattr(known, name) != getattr(again, name) for name in content):
        raise Contradiction(f"another stop has the id {again.id}: {_words(known)}", field="id")
    return known


def _words(stop: Stop | None) -> str:
    if stop is None:
        return "it was just taken out"
    return f"{stop.scope} from {format_time(stop.starts_at)} to {format_time(stop.ends_at)}"
