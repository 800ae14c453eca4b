"""The database session of the active ingestor, and the pauses between tries when it is away."""

from __future__ import annotations

import logging
import random
import threading
from collections.abc import Callable
from datetime import datetime
from typing import Final

import psycopg
from psycopg.rows import DictRow

from ingest import database
from store.leases import Lease

log = logging.getLogger(__name__)

Connection = psycopg.Connection[DictRow]
_ASK_AGAIN_S: Final = 1.0
LEASE: Final = "ingest"
"""The lease in the database that says who may write readings."""


class Backoff:
    """Growing pauses with jitter, from 0.1 s to 10 s, cut short by the stop event."""

    def __init__(
        self,
        stop: threading.Event,
        rng: random.Random,
        *,
        first_s: float = 0.1,
        longest_s: float = 10.0,
    ) -> None:
        self._stop, self._rng = stop, rng
        self._first_s, self._longest_s = first_s, longest_s
        self.tries = 0

    def wait(self) -> None:
        """Wait half to all of the pause that is due, and make the next one twice as long."""
        pause = min(self._longest_s, self._first_s * 2 ** min(self.tries, 16))
        self.tries += 1
        self._stop.wait(pause * self._rng.uniform(0.5, 1.0))

    def reset(self) -> None:
        """Begin with short pauses again."""
        self.tries = 0


class Session:
    """The connection that writes. It alone holds the right to, so a second ingestor stays cold."""

    def __init__(
        self, database_url: str, holder: str, *, stop: threading.Event, now: Callable[[], datetime]
    ) -> None:
        self._database_url, self._holder, self._stop, self._now = database_url, holder, stop, now
        self._conn: Connection | None = None

    @property
    def conn(self) -> Connection:
        """The connection. Raises psycopg.InterfaceError when there is none."""
        if self._conn is None:
            raise psycopg.InterfaceError("no database session")
        return self._conn

    @property
    def alive(self) -> bool:
        """Whether the connection stands, as far as is known."""
        return self._conn is not None and not self._conn.closed

    def try_to_hold(self) -> bool:
        """Connect if need be and ask for the right to write. Raises psycopg.OperationalError."""
        if not self.alive:
            self._conn = database.connect(self._database_url)
        held = self._lease().take(self._now())
        self.conn.commit()
        return held

    def show_life(self) -> None:
        """Leave a sign of life beside the right to write. Raises psycopg.OperationalError."""
        self._lease().beat(self._now())
        self.conn.commit()

    def _lease(self) -> Lease:
        return Lease(self.conn, LEASE, self._holder)

    def recover(self) -> bool:
        """Make the session fit to write again after a fault.

        False when another ingestor has the right now: this one has to stand by.
        Raises psycopg.OperationalError while the database is away.
        """
        if self._rolls_back():
            return True
        self.close()
        return self.try_to_hold()

    def stand_by(self, backoff: Backoff) -> bool:
        """Wait until this ingestor is the active one; False when stopped before that."""
        said = False
        while not self._stop.is_set():
            try:
                if self.try_to_hold():
                    return True
            except (psycopg.OperationalError, psycopg.ProgrammingError) as fault:
                self.close()
                log.warning("No database yet: %s", _line(fault), extra={"action": "database-down"})
                backoff.wait()
                continue
            if not said:
                log.info("Another ingestor is active, standing by", extra={"action": "standing-by"})
                said = True
            self._stop.wait(_ASK_AGAIN_S)
        return False

    def _rolls_back(self) -> bool:
        try:
            self.conn.rollback()
        except (psycopg.OperationalError, psycopg.InterfaceError):
            return False
        return self.alive

    def close(self) -> None:
        """End the session, which gives up the right to write."""
        if self._conn is not None:
            self._conn.close()
            self._conn = None


def _line(fault: Exception) -> str:
    return " ".join(str(fault).split())
