"""The engine's place in the database: its lease, its ear for wake-ups, its working connection."""

from __future__ import annotations

import json
import logging
from dataclasses import dataclass
from datetime import datetime
from types import TracebackType
from typing import Self

from psycopg import Notify

from store.leases import Lease
from store.unit import Connection, connect
from store.wake import CHANNEL

log = logging.getLogger(__name__)

LEASE = "engine"


@dataclass(slots=True)
class News:
    """What was heard since the last round."""

    ledger: bool = False
    reports: bool = False

    def hear(self, payload: str) -> None:
        """Take in one wake-up; one that cannot be read asks for a look at everything."""
        try:
            heard = json.loads(payload or "{}")
        except json.JSONDecodeError:
            heard = {}
        keys = set(heard) if isinstance(heard, dict) else set()
        self.ledger |= "ledger" in keys or not keys
        self.reports |= "presses" in keys


class Session:
    """Two connections: one holds the lease and listens, the other works. Closed by `with`."""

    def __init__(self, database_url: str, holder: str) -> None:
        self._ear = connect(database_url, autocommit=True)
        self._lease = Lease(self._ear, LEASE, holder)
        try:
            self.work: Connection = connect(database_url)
        except BaseException:
            self._ear.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.work.close()
        self._ear.close()

    def take(self, now: datetime) -> bool:
        """Take the engine's lease and begin to listen; false while another engine holds it."""
        if not self._lease.take(now):
            return False
        self._ear.execute(f"LISTEN {CHANNEL}")
        return True

    def beat(self, now: datetime) -> None:
        """Leave a sign of life in the lease."""
        self._lease.beat(now)

    def listen(self, seconds: float, news: News) -> None:
        """Wait for wake-ups until one came or the time is up."""
        for notice in self._ear.notifies(timeout=seconds, stop_after=1):
            _take_in(notice, news)


def _take_in(notice: Notify, news: News) -> None:
    news.hear(notice.payload)
