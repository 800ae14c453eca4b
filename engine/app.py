"""The engine: keeps forecasts current, one engine at a time over all machines."""

from __future__ import annotations

import logging
import os
import random
import socket
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Final

import psycopg

from duestroke.errors import DuestrokeError
from engine.cycle import Forecaster
from engine.scoring import Scorer
from engine.session import News, Session

log = logging.getLogger(__name__)

LISTEN_S: Final = 0.5
GATHER_S: Final = 0.1
"""After a wake-up: what comes with it goes into the same round."""
REPORTS_EVERY_S: Final = 10.0
LONGEST_PAUSE_S: Final = 5.0
FIRST_ROUND_S: Final = 20.0
"""After a start the first beat waits for the first forecasts, so long at most."""
PACE: Final = 2.0
"""Rounds for reports rest at least so many times as long as they take."""


def run(
    database_url: str,
    *,
    stop: threading.Event,
    beat: Callable[[], None] | None = None,
    now: Callable[[], datetime] = lambda: datetime.now(UTC),
    poll_s: float = 2.0,
    reports_every_s: float = REPORTS_EVERY_S,
) -> None:
    """Forecast until `stop` is set.

    beat: called at least every few seconds while the engine works or stands by.  now: the clock,
    UTC.  poll_s: how often the ledger is looked at though nothing was heard.  reports_every_s:
    the time between two rounds that follow reports.  Returns after `stop` only: a database
    that is away is waited for, with growing pauses of at most five seconds and jitter.
    """
    engine = Engine(stop, beat or (lambda: None), now, poll_s, reports_every_s)
    jitter = random.Random()  # noqa: S311 - no secret
    pause = 0.1
    while not stop.is_set():
        try:
            with Session(database_url, _holder()) as session:
                pause = 0.1
                engine.serve(session)
        except (psycopg.OperationalError, psycopg.InterfaceError) as fault:
            log.warning(
                "the database is away, the engine waits: %s",
                str(fault).strip(),
                extra={"action": "engine-database-away"},
            )
            stop.wait(pause * jitter.uniform(0.5, 1.0))
            pause = min(pause * 2, LONGEST_PAUSE_S)


def _holder() -> str:
    return f"engine on {socket.gethostname()}, process {os.getpid()}"


class Engine:
    """The loop over one session at a time."""

    def __init__(
        self,
        stop: threading.Event,
        beat: Callable[[], None],
        now: Callable[[], datetime],
        poll_s: float,
        reports_every_s: float,
    ) -> None:
        self._stop, self._beat, self._now = stop, beat, now
        self._poll_s, self._reports_every_s = poll_s, reports_every_s
        self._forecaster = Forecaster()
        self._scorer = Scorer()
        self._pace_s = 0.0
        self._has_worked, self._born = False, time.monotonic()

    def serve(self, session: Session) -> None:
        """Stand by until the lease is ours, then work until stopped.

        Raises psycopg.OperationalError when the database goes away.
        """
        if not self._stand_by(session):
            return
        # Whatever another engine did meanwhile is made again, which changes nothing.
        self._forecaster = Forecaster()
        news = News(ledger=True)
        looked = moved = -float("inf")
        is_behind = False
        while not self._stop.is_set():
            self._alive()
            began = time.monotonic()
            with_reports = began - moved >= max(self._reports_every_s, self._pace_s)
            if news.ledger or with_reports or is_behind or began - looked >= self._poll_s:
                session.listen(GATHER_S, news)
                news.ledger = False
                is_behind = self._round(session, with_reports, news)
                self._has_worked = self._has_worked or not is_behind
                looked = time.monotonic()
                if with_reports:
                    # In a plant too large for this machine, rounds take their share of time only.
                    moved, self._pace_s = looked, PACE * (looked - began)
            session.listen(0.0 if is_behind else LISTEN_S, news)

    def _stand_by(self, session: Session) -> bool:
        waits = False
        while not self._stop.is_set():
            if session.take(self._now()):
                log.info("the engine is at work", extra={"action": "engine-at-work"})
                return True
            self._beat()
            if not waits:
                log.info("another engine is at work", extra={"action": "engine-stands-by"})
                waits = True
            self._stop.wait(1.0)
        return False

    def _alive(self) -> None:
        """Beat, but at a start not before there are forecasts, unless those take long."""
        if self._has_worked or time.monotonic() - self._born > FIRST_ROUND_S:
            self._beat()

    def _round(self, session: Session, with_reports: bool, news: News) -> bool:
        """One round; whether more is to be done at once."""

        def go_on() -> bool:
            # An event that comes while others are worked off is followed first.
            self._alive()
            session.listen(0.0, news)
            return not (self._stop.is_set() or news.ledger)

        started = time.monotonic()
        try:
            done = self._forecaster.round(
                session.work, self._now(), with_reports=with_reports, go_on=go_on
            )
        except DuestrokeError:
            # What stands stays; a record that cannot be read must not end the engine.
            log.exception("a round failed", extra={"action": "engine-round-failed"})
            return False
        session.beat(self._now())
        if done.presses:
            log.info(
                "%d forecasts of %d presses in %.2f s, %d on record",
                *(done.forecasts, done.presses, time.monotonic() - started, done.on_record),
                extra={"action": "forecasts-made"},
            )
        return done.is_behind
