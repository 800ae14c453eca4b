"""Many tools and inspections at once, as when a plant's past is taken over."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Final, NamedTuple

import psycopg
from psycopg.rows import DictRow

from duestroke.errors import BadField
from store import wake
from store.inspections import Inspection, PgInspections, check_reading, values_of
from store.sql import named_queries

INSPECTIONS: Final = named_queries("inspections.sql")
LEDGER: Final = named_queries("ledger.sql")
TOOLS: Final = named_queries("tools.sql")


class NewTool(NamedTuple):
    """A tool to register."""

    serial: str
    kind: str
    batch: str | None
    size_mm: float | None
    note: str | None = None


def add_tools(
    conn: psycopg.Connection[DictRow], tools: Sequence[NewTool], *, by: str, at: datetime
) -> None:
    """Register tools; serials that are known already keep what stands. The caller commits."""
    values = [tool._asdict() | {"by": by, "at": at} for tool in tools]
    conn.cursor().executemany(TOOLS["add"], values)
    wake.wake(conn, {"ledger": [tool.serial for tool in tools]})


def add_inspections(
    conn: psycopg.Connection[DictRow],
    inspections: Sequence[Inspection],
    *,
    by: str,
    now: datetime,
) -> None:
    """Enter verdicts and readings of tools that are on record, in the given order.

    The caller commits. Raises BadField for an unknown serial, neither verdict nor reading, a
    correction or an `at` after `now`.
    """
    wake.lock_ledger(conn)
    serials = sorted({inspection.serial for inspection in inspections})
    known = {row["serial"] for row in conn.execute(LEDGER["tools"], {"serials": serials})}
    for inspection in inspections:
        _check(inspection, known, now)
    values = [values_of(one, by=by, now=now) for one in inspections]
    conn.cursor().executemany(INSPECTIONS["insert"], values)
    PgInspections(conn).reseat(serials, now)
    wake.wake(conn, {"ledger": serials})


def _check(inspection: Inspection, known: set[str], now: datetime) -> None:
    if inspection.serial not in known:
        raise BadField("serial", inspection.serial, "the serial of a registered tool")
    if inspection.corrects is not None:
        raise BadField("corrects", inspection.corrects, "nothing: enter a correction by itself")
    check_reading(inspection)
    if inspection.at > now:
        raise BadField("at", inspection.at.isoformat(), "not in the future")
