"""Stores batches, one transaction each, and sets aside the one message that spoils a batch."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import psycopg

from ingest.arrivals import Arrival
from ingest.session import Connection, Session

log = logging.getLogger(__name__)

DATABASE_AWAY: Final = (psycopg.OperationalError, psycopg.InterfaceError)
"""Faults that pass: the same batch is tried again until they do."""
DATABASE_REFUSES: Final = (psycopg.ProgrammingError, psycopg.NotSupportedError)
"""Faults of the set-up (a missing table, a missing right): no message's own, so these wait too."""
MESSAGE_SPOILS: Final = (
    psycopg.DataError,
    psycopg.IntegrityError,
    psycopg.InternalError,
    ArithmeticError,
    LookupError,
    TypeError,
    ValueError,
)
"""Faults that one message can bring about: it must not hold up the others for ever."""

Record = Callable[[Connection, Sequence[Arrival], datetime], None]
SetAside = Callable[[Connection, Arrival, str], None]


@dataclass(frozen=True)
class Storing:
    """How messages are stored and how one is set aside, each within the caller's transaction."""

    record: Record
    set_aside: SetAside


class Writer:
    """Commits whole batches; `pause` is told `written` before a commit and `committed` after."""

    def __init__(
        self,
        session: Session,
        storing: Storing,
        *,
        now: Callable[[], datetime],
        pause: Callable[[str], None] | None = None,
    ) -> None:
        self._session, self._storing, self._now = session, storing, now
        self._pause = pause or (lambda _point: None)
        self.stored = 0
        self.set_aside = 0

    def store(self, arrivals: Sequence[Arrival]) -> None:
        """Store all; on return everything is committed. Raises psycopg errors of a database fault.

        A batch that some message spoils is halved until that message is alone; parts stored
        meanwhile may come again, which changes nothing.
        """
        try:
            self._storing.record(self._session.conn, arrivals, self._now())
            self._commit()
            self.stored += len(arrivals)
        except MESSAGE_SPOILS as fault:
            self._session.conn.rollback()
            if len(arrivals) == 1:
                self._put_away(arrivals[0], fault)
                return
            middle = len(arrivals) // 2
            self.store(arrivals[:middle])
            self.store(arrivals[middle:])

    def _put_away(self, arrival: Arrival, fault: Exception) -> None:
        """Keep the bytes in quarantine, so that the message can be acknowledged."""
        words = " ".join(str(fault).split())
        detail = f"could not be stored: {type(fault).__name__}: {words}"[:500]
        log.error(
            "A message on %s could not be stored and went to quarantine",
            arrival.topic,
            exc_info=fault,
            extra={"action": "message-set-aside"},
        )
        self._storing.set_aside(self._session.conn, arrival, detail)
        self._commit()
        self.set_aside += 1

    def _commit(self) -> None:
        self._pause("written")
        self._session.conn.commit()
        self._pause("committed")
