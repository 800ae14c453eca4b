"""A small plant in a real database: presses that report, tools, and the unit of work over it."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import Any

from duestroke.counting.types import Reading
from duestroke.ledger import ToolEvent
from duestroke.messages.encode import encode_reading
from duestroke.messages.topics import report_topic
from duestroke.times import to_micros
from store.intake import Delivery, record_batch
from store.ledger import Recorded
from store.presses import Settings
from store.unit import Connection, Unit, connect
from tests.support.ledgers import START, TOOLS, at_hour

NOW = at_hour(1_000)


class Plant:
    """Calls on one connection; every call commits."""

    def __init__(self, conn: Connection) -> None:
        self.conn = conn
        self.unit = Unit(conn)
        self.seq: dict[str, int] = {}

    def press(self, name: str, settings: Settings | None = None) -> None:
        self.unit.presses.register(name, settings or Settings())
        self.conn.commit()

    def tools(self, *serials: str) -> None:
        for serial in serials or TOOLS:
            tool = TOOLS[serial]
            self.unit.tools.add(serial, tool.kind, size_mm=tool.size_mm, by="t", at=START)
        self.conn.commit()

    def report(
        self, press: str, at: datetime, strokes: int, *, boot: str = "a", seq: int | None = None
    ) -> None:
        number = self.seq.get(press, 0) if seq is None else seq
        self.seq[press] = max(self.seq.get(press, 0), number + 1)
        payload = encode_reading(Reading(boot, number, to_micros(at), strokes, 10.0, 400.0))
        record_batch(self.conn, [Delivery(report_topic(press), payload, NOW)], NOW)
        self.conn.commit()

    def steady(self, press: str, hours: int, per_hour: int = 10_000) -> None:
        """A report every hour from the start on."""
        for hour in range(hours + 1):
            self.report(press, at_hour(hour), hour * per_hour)

    def enter(self, *events: ToolEvent, now: datetime = NOW) -> Recorded:
        try:
            recorded = self.unit.ledger.record(events, by="keeper", now=now)
        except BaseException:
            self.conn.rollback()
            raise
        self.conn.commit()
        return recorded

    def rows(self, query: Any, *values: Any) -> list[dict[str, Any]]:
        return self.conn.execute(query, values).fetchall()


def made(kind: Any, serial: str, hour: float, **more: Any) -> ToolEvent:
    """An event; a pull is `planned` unless it says otherwise."""
    if kind == "pull":
        more = {"reason": "planned"} | more
    return ToolEvent(id=uuid.uuid4(), type=kind, serial=serial, at=at_hour(hour), **more)


@contextmanager
def plant_at(database_url: str) -> Iterator[Plant]:
    """A plant on a fresh database."""
    with connect(database_url) as conn:
        yield Plant(conn)
