"""A press's record held and counted anew: settled flags, changed rules, days of another zone."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any, Final

import psycopg
from psycopg.rows import DictRow

from duestroke.counting.days import day_bounds
from duestroke.counting.effects import NEVER, Rollup
from duestroke.counting.record import Changes, Readings, Record
from duestroke.times import to_micros
from store import moves
from store.keep import Kept, add_buckets, bucket_row, write
from store.moves import Why
from store.pairs import pairs_between
from store.records import PgReadings, rules_by_press, whole_record
from store.rows import zone_of
from store.sql import named_queries

INTAKE: Final = named_queries("intake.sql")
RECORDS: Final = named_queries("records.sql")
_LAST: Final = datetime.max.replace(tzinfo=UTC)


class LockedPress:
    """A press whose state row this transaction holds, with its whole record."""

    def __init__(self, conn: psycopg.Connection[DictRow], state: Mapping[str, Any]) -> None:
        self._conn, self._state = conn, state
        self.id: int = state["press_id"]
        self.name: str = state["name"]
        self.timezone: str = state["timezone"]

    def apply(self, step: Callable[[Record, Readings], Changes], why: Why) -> None:
        """Count by a step over the record, and write all that it moves, and why."""
        press = {"press": self.id}
        rules = rules_by_press(self._conn.execute(INTAKE["rules_of"], {"presses": [self.id]}))
        record = whole_record(self._conn, self._state, rules[self.id])
        if not record.boots:
            return
        boot_ids = {r["name"]: r["id"] for r in self._conn.execute(RECORDS["boots_of"], press)}
        changes = step(record, PgReadings(self._conn, self.id))
        kept = Kept(self.id, self.name, self.timezone, record, changes, _nothing_new, boot_ids)
        before = moves.of_press(self._conn, self.id)
        write(self._conn, [kept], by_reports=False)
        moves.keep(self._conn, before, moves.of_press(self._conn, self.id), lambda *_: why)

    def days_of(self, timezone: str) -> None:
        """Cut the days anew by another zone, from the readings that are kept."""
        self.timezone = timezone
        self._conn.execute(INTAKE["clear_days"], {"press": self.id})
        rollup = Rollup(day_bounds(zone_of(timezone)))
        for pair in pairs_between(self._conn, self.id, NEVER, to_micros(_LAST)):
            rollup.add(pair)
        rows = [bucket_row(self.id, *item) for item in rollup.buckets.items()]
        add_buckets(self._conn, "day", rows)


def _nothing_new(identity: tuple[str, int]) -> datetime:
    raise KeyError(identity)


@contextmanager
def recounted(conn: psycopg.Connection[DictRow], press: str) -> Iterator[LockedPress]:
    """Hold a press's record while it is counted anew. Raises KeyError when it is not registered."""
    found = conn.execute(INTAKE["press_ids"], {"names": [press]}).fetchone()
    if found is None:
        raise KeyError(press)
    conn.execute(INTAKE["lock_presses"], {"presses": [found["id"]]})
    state = conn.execute(INTAKE["states"], {"presses": [found["id"]]}).fetchone()
    if state is None:
        raise KeyError(press)
    yield LockedPress(conn, state)
