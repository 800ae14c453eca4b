"""Spares: what is held follows from the tools' events; what is on order the plant says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, Final

import psycopg
from psycopg.rows import DictRow
from psycopg.types.json import Jsonb

from duestroke.times import format_time, parse_time
from store import wake
from store.sql import named_queries

SQL: Final = named_queries("stock.sql")


@dataclass(frozen=True, slots=True)
class Order:
    """New tools on order. size_mm: None where the kind has none."""

    quantity: int
    due_at: datetime
    size_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Due:
    """When the tool in one place is due, by what its forecast says.

    due_us: at the levels that forecasts keep; interval_us: at 0.1, 0.5, 0.9; microseconds since
    1970, None where there is no range, None each beyond 50 years.
    """

    kind: str
    press: str
    position: str
    serial: str
    made_at: datetime
    due_us: tuple[int | None, ...] | None
    interval_us: tuple[int | None, ...] | None


@dataclass(frozen=True, slots=True)
class Stock:
    """What was said of a kind. lead_days: for a new one, None: not given.

    entered_at, entered_by: None where nothing was said yet.
    """

    kind: str
    lead_days: float | None = None
    on_order: tuple[Order, ...] = ()
    entered_at: datetime | None = None
    entered_by: str | None = None


class PgStock:
    """What the plant says of its spares. The caller owns the transaction."""

    def __init__(self, conn: psycopg.Connection[DictRow]) -> None:
        self._conn = conn

    def put(self, stock: Stock) -> bool:
        """Set what is said of a kind; True when nothing was said before."""
        known = self.get(stock.kind)
        orders = [asdict(order) | {"due_at": format_time(order.due_at)} for order in stock.on_order]
        self._conn.execute(SQL["put"], asdict(stock) | {"on_order": Jsonb(orders)})
        wake.wake(self._conn, {"ledger": []})
        return known is None or known.entered_at is None

    def get(self, kind: str) -> Stock | None:
        """What was said of a kind; None where no position takes it and nothing was said."""
        rows = self.page(1, kind=kind)
        return rows[0] if rows else None

    def page(self, limit: int, *, kind: str | None = None, after: str | None = None) -> list[Stock]:
        """Up to `limit` kinds by name, after the name `after`."""
        values = {"kind": kind, "after": after, "limit": limit}
        return [_stock(row) for row in self._conn.execute(SQL["page"], values)]

    def dues(self, kind: str | None = None) -> list[Due]:
        """When each tool in a press is due, the presses themselves left out."""
        return [_due(row) for row in self._conn.execute(SQL["dues"], {"kind": kind})]

    def out_since(self) -> dict[str, datetime]:
        """When each tool that is out for rework was sent, by serial."""
        return {row["serial"]: row["at"] for row in self._conn.execute(SQL["out_since"])}

    def lateness(self, kind: str | None = None) -> dict[str, list[float]]:
        """Days by which past reworks came late (early: negative), rising, by kind."""
        found: dict[str, list[float]] = {}
        for row in self._conn.execute(SQL["delays"], {"kind": kind}):
            found.setdefault(row["kind"], []).append(float(row["late_days"]))
        return found


def _stock(row: dict[str, Any]) -> Stock:
    orders: Sequence[dict[str, Any]] = row["on_order"]
    read = (
        Order(order["quantity"], parse_time(order["due_at"]), order["size_mm"]) for order in orders
    )
    return Stock(row["kind"], row["lead_days"], tuple(read), row["entered_at"], row["entered_by"])


def _due(row: dict[str, Any]) -> Due:
    interval = row.pop("interval")
    due = row.pop("due_us")
    return Due(
        **row,
        due_us=None if due is None else tuple(due),
        interval_us=None if interval is None else tuple(interval[1]),
    )
