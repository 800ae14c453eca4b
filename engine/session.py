"""The engine's place in the database: its lease, its ear for wake-ups, its working connection."""

from __future__ import annotations

import json
import logging
from dataclasses import dataclass
from datetime import datetime
from types import TracebackType
from typing import Self

from store.leases import Lease
from store.unit import Connection, connect
from store.wake import CHANNEL

log = logging.getLogger(__name__)

LEASE = "engine"


@dataclass(slots=True)
class News:
    """Whether the ledger is to be looked at; rounds follow reports by the clock."""

    ledger: bool = False

    def hear(self, payload: str) -> None:
        """Take in one wake-up; one that names nothing, or can't be read, asks for a look."""
        try:
            heard = json.loads(payload or "{}")
        except json.JSONDecodeError:
            heard = {}
        self.ledger |= not isinstance(heard, dict) or not heard or "ledger" in heard


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
            news.hear(notice.payload)
