"""The ingestor's loop: take a batch, commit it, acknowledge it; wait out what is away."""

from __future__ import annotations

import logging
import os
import random
import socket
import ssl
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Final

from ingest.arrivals import Inbox
from ingest.client import BrokerAddress
from ingest.link import Link
from ingest.session import Backoff, Session
from ingest.storing import record, replay, set_aside
from ingest.writer import DATABASE_AWAY, DATABASE_REFUSES, MESSAGE_SPOILS, Storing, Writer

log = logging.getLogger(__name__)

BATCH_MOST: Final = 1000
BATCH_ENOUGH: Final = 500
"""Half of what the broker may send unacknowledged: the rest comes in while these are written."""
GATHER_S: Final = 0.05
INBOX_CAPACITY: Final = 100_000
_IDLE_S: Final = 0.25
_LOOK_EVERY_S: Final = 0.25
_SUMMARY_EVERY_S: Final = 60.0
_REPLAY_FAILED_S: Final = 60.0


def run(
    *,
    database_url: str,
    mqtt_host: str,
    mqtt_port: int,
    username: str | None = None,
    password: str | None = None,
    tls: bool = False,
    client_id: str = "duestroke-ingest",
    stop: threading.Event,
    beat: Callable[[], None] | None = None,
    now: Callable[[], datetime] = lambda: datetime.now(UTC),
    pause: Callable[[str], None] | None = None,
    replay_every_s: float = 2.0,
) -> None:
    """Ingest until `stop` is set; then finish the batch in hand and leave the broker its session.

    tls: encrypt, and trust the certificates that this machine trusts (or `SSL_CERT_FILE` names).
    beat: called several times a second while messages can come in and be stored.  now: our
    clock, UTC.  pause: called at the writer's steps (see `Writer`).  Returns after `stop` only:
    a broker or database that is away is waited for.
    """
    context = ssl.create_default_context() if tls else None
    address = BrokerAddress(mqtt_host, mqtt_port, username, password, client_id, tls=context)
    Ingestor(
        database_url,
        address,
        stop=stop,
        beat=beat or (lambda: None),
        now=now,
        pause=pause,
        replay_every_s=replay_every_s,
    ).run()


class Ingestor:
    """One ingestor: active while its session holds the right to write, else standing by."""

    def __init__(
        self,
        database_url: str,
        address: BrokerAddress,
        *,
        stop: threading.Event,
        beat: Callable[[], None],
        now: Callable[[], datetime],
        pause: Callable[[str], None] | None = None,
        replay_every_s: float = 2.0,
        inbox_capacity: int = INBOX_CAPACITY,
    ) -> None:
        self._address, self._stop, self._beat, self._now = address, stop, beat, now
        self._inbox = Inbox(inbox_capacity)
        holder = f"{address.client_id} on {socket.gethostname()}, process {os.getpid()}"
        self._session = Session(database_url, holder, stop=stop, now=now)
        self._writer = Writer(self._session, Storing(record, set_aside), now=now, pause=pause)
        self._backoff = Backoff(stop, random.Random())  # noqa: S311 (jitter, no secret)
        self._link_pause = Backoff(stop, random.Random(), longest_s=30.0)  # noqa: S311
        self._link = self._new_link(0)
        self._replay_every_s = replay_every_s
        self._look_at = self._replay_at = 0.0
        self._summary_at = time.monotonic() + _SUMMARY_EVERY_S

    @property
    def stored(self) -> int:
        """Messages committed since the start."""
        return self._writer.stored

    @property
    def link(self) -> Link:
        """The link to the broker that serves now."""
        return self._link

    @property
    def session_pid(self) -> int:
        """The database's process for the session that writes."""
        return self._session.conn.info.backend_pid

    def run(self) -> None:
        """Stand by, serve while active, until stopped."""
        while self._session.stand_by(self._backoff):
            self._backoff.reset()
            self._serve()
        self._session.close()

    def _serve(self) -> None:
        """Be the active ingestor until stopped or another has the right to write."""
        self._link = self._new_link(self._link.generation + 1)
        self._link.open()
        try:
            while not self._stop.is_set() and self._step():
                pass
        finally:
            # Not acknowledged, so it comes again.
            self._link.close()
            self._inbox.clear()

    def _step(self) -> bool:
        """One batch and what is due by the clock; False when this ingestor has to stand by."""
        batch = self._inbox.take(BATCH_MOST, wait_s=_IDLE_S, gather_s=GATHER_S, enough=BATCH_ENOUGH)
        if batch:
            if not self._through(lambda: self._writer.store(batch), waiting=len(batch)):
                return False
            self._link.acknowledge(batch)
        return self._what_is_due()

    def _what_is_due(self) -> bool:
        now = time.monotonic()
        if now >= self._replay_at:
            self._replay_at = now + self._replay_every_s
            if not self._through(self._replay, waiting=0):
                return False
        if now >= self._look_at:
            self._look_at = now + _LOOK_EVERY_S
            self._look(now)
        return True

    def _replay(self) -> None:
        """Leave a sign of life, then try again what waits in quarantine for its time or press."""
        self._session.show_life()
        try:
            replay(self._session.conn, self._now())
        except MESSAGE_SPOILS as fault:
            self._session.conn.rollback()
            self._replay_at = time.monotonic() + _REPLAY_FAILED_S
            log.error(
                "What waits in quarantine could not be tried again",
                exc_info=fault,
                extra={"action": "replay-failed"},
            )

    def _look(self, now: float) -> None:
        fault = self._link.fault()
        if fault is not None:
            log.error("The broker link is renewed: %s", fault, extra={"action": "link-renewed"})
            self._renew_link()
        elif self._link.ready:
            self._link_pause.reset()
            self._beat()
        if now >= self._summary_at:
            self._summary_at = now + _SUMMARY_EVERY_S
            log.info(
                "%d messages stored since the start, %d set aside",
                self._writer.stored,
                self._writer.set_aside,
                extra={"action": "ingest-summary"},
            )

    def _renew_link(self) -> None:
        self._link.close()
        self._inbox.clear()
        self._link_pause.wait()
        self._link = self._new_link(self._link.generation + 1)
        self._link.open()

    def _through(self, work: Callable[[], None], *, waiting: int) -> bool:
        """Do `work`, however long the database is away; False when stopped or no longer active."""
        began = time.monotonic()
        while True:
            try:
                if self._backoff.tries and not self._session.recover():
                    log.warning(
                        "Another ingestor has taken over", extra={"action": "ingestor-taken-over"}
                    )
                    return False
                work()
            except (*DATABASE_AWAY, *DATABASE_REFUSES) as fault:
                self._say_waiting(fault, waiting + len(self._inbox))
                if self._stop.is_set():
                    return False
                self._backoff.wait()
                continue
            if self._backoff.tries:
                log.info(
                    "Database back after %.1f s",
                    time.monotonic() - began,
                    extra={"action": "database-back"},
                )
                self._backoff.reset()
            return True

    def _say_waiting(self, fault: Exception, waiting: int) -> None:
        log.warning(
            "Database down, %d messages waiting: %s",
            waiting,
            " ".join(str(fault).split()),
            extra={"action": "database-down", "waiting": waiting},
        )

    def _new_link(self, generation: int) -> Link:
        return Link(self._address, self._inbox, generation=generation, now=self._now)
