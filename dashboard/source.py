"""The last answers of the API, shared by all screens: asked at most once in a few seconds."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final, TypeVar

from dashboard.client import ApiFault, Client
from dashboard.fleet import Answers
from dashboard.record import Bucket, DryWindow, Event, Flag, Inspection, Position, Question, Record
from duestroke.times import format_time

log = logging.getLogger(__name__)

FRESH_FOR: Final = timedelta(seconds=3)
STOPS_AHEAD: Final = timedelta(days=43)
STOPS_BEHIND: Final = timedelta(days=3)
"""A stop that has begun and goes on lies behind; the longest is a press service of two days."""

RECORD_FRESH_FOR: Final = timedelta(seconds=10)
SERIES_FRESH_FOR: Final = timedelta(minutes=2)
RECORDS_HELD: Final = 32
DAYS_SHOWN: Final = 60
DAYS_BEFORE: Final = 90
"""Days ahead of those shown, from which a press's own level is taken."""
READINGS_BACK: Final = timedelta(days=400)

ASK_FAILED: Final = {"action": "board-ask-failed"}
PART_FAILED: Final = {"action": "board-part-failed"}

Part = TypeVar("Part")


@dataclass(frozen=True, slots=True)
class Seen:
    """The newest good answers (None before the first), and why the last question failed, if so."""

    answers: Answers | None
    fault: str = ""


class Source:
    """Reads the API for all screens. Thread-safe; a failed question keeps the last good answers."""

    def __init__(self, client: Client, now: Callable[[], datetime]) -> None:
        self._client, self._now = client, now
        self._lock = threading.Lock()
        self._seen = Seen(answers=None)
        self._asked: datetime | None = None

    def read(self) -> Seen:
        """The newest answers, asked for anew when the last question is a few seconds old."""
        with self._lock:
            now = self._now()
            if self._asked is None or not now - self._asked < FRESH_FOR:
                self._seen = self._ask(now)
                self._asked = now
            return self._seen

    def forget(self) -> None:
        """Ask anew at the next read: something was written."""
        with self._lock:
            self._asked = None

    def _ask(self, now: datetime) -> Seen:
        try:
            presses = tuple(self._client.presses())
        except ApiFault as fault:
            log.warning("The API was asked in vain: %s.", fault, extra=ASK_FAILED)
            return Seen(answers=self._seen.answers, fault=str(fault))
        faults: list[str] = []
        forecasts = self._part(self._client.forecasts, faults)
        stops = self._part(
            lambda: self._client.stops(now - STOPS_BEHIND, now + STOPS_AHEAD), faults
        )
        return Seen(
            Answers(
                at=now,
                presses=presses,
                forecasts=None if forecasts is None else tuple(forecasts),
                stops=None if stops is None else tuple(stops),
                faults=tuple(faults),
            )
        )

    def _part(self, ask: Callable[[], list[Part]], faults: list[str]) -> list[Part] | None:
        try:
            return ask()
        except ApiFault as fault:
            log.warning("A part of the page failed: %s.", fault, extra=PART_FAILED)
            faults.append(str(fault))
            return None


class Records:
    """What the API holds about single presses, for all screens. Thread-safe.

    Held for as many presses as are looked at, at most `most`; series, which are large and move
    slowly, longer. A part that fails keeps what was read of it before.
    """

    def __init__(
        self, client: Client, now: Callable[[], datetime], *, most: int = RECORDS_HELD
    ) -> None:
        self._client, self._now, self._most = client, now, most
        self._lock = threading.Lock()
        self._held: dict[str, Record] = {}
        self._outdated: set[str] = set()

    def forget(self) -> None:
        """Ask anew at the next read, but for the series: something was written."""
        with self._lock:
            self._outdated = set(self._held)

    def read(self, press: str, *, ask: bool = True) -> Record:
        """The newest record of a registered press.

        ask: false while the API is known to give no answer; what is held then stays as it is.
        """
        with self._lock:
            now = self._now()
            held = self._held.pop(press, None)
            is_old = held is not None and not now - held.read_at < RECORD_FRESH_FOR
            if held is None or (ask and (is_old or press in self._outdated)):
                held = self._ask(press, now, held)
                self._outdated.discard(press)
            self._held[press] = held
            if len(self._held) > self._most:
                del self._held[next(iter(self._held))]
            return held

    def _ask(self, press: str, now: datetime, held: Record | None) -> Record:
        asking = _Asking(self._client, [], [])
        of_press = {"press": press}
        since = of_press | {"from": format_time(now - READINGS_BACK)}
        old = held or NEVER_READ
        is_fresh = held is not None and now - held.series_at < SERIES_FRESH_FOR
        hours, days = (old.hours, old.days) if is_fresh else (None, None)
        if hours is None or days is None:
            is_fresh = False
            hours = asking.buckets(press, now, "1h", DAYS_SHOWN + DAYS_BEFORE, old.hours)
            days = asking.buckets(press, now, "1d", DAYS_SHOWN, old.days)
        return Record(
            positions=asking.all("/positions", {}, Position, old.positions),
            events=asking.all("/tool-events", of_press, Event, old.events),
            inspections=asking.all("/inspections", since, Inspection, old.inspections),
            flags=asking.all("/flags", of_press, Flag, old.flags),
            questions=asking.all(
                "/questions", of_press | {"open": "true"}, Question, old.questions
            ),
            dry=asking.all("/dry-windows", of_press | {"counting": "true"}, DryWindow, old.dry),
            hours=hours,
            days=days,
            read_at=now,
            series_at=old.series_at if is_fresh else now,
            faults=tuple(asking.faults),
            aged=tuple(asking.aged),
        )


NEVER_READ: Final = Record(
    positions=None,
    events=None,
    inspections=None,
    flags=None,
    questions=None,
    dry=None,
    hours=None,
    days=None,
    read_at=datetime.min.replace(tzinfo=UTC),
    series_at=datetime.min.replace(tzinfo=UTC),
)


@dataclass(slots=True)
class _Asking:
    """One round of questions about a press, and what went wrong in it."""

    client: Client
    faults: list[str]
    aged: list[str]

    def all(
        self, path: str, asked: dict[str, str], kind: type[Part], old: tuple[Part, ...] | None
    ) -> tuple[Part, ...] | None:
        """A whole list, or `old` when it could not be read."""
        try:
            return tuple(self.client.items(path, asked, kind))
        except ApiFault as fault:
            log.warning("A part of a press page failed: %s.", fault, extra=PART_FAILED)
            self.faults.append(str(fault))
            if old is not None:
                self.aged.append(str(fault))
            return old

    def buckets(
        self, press: str, now: datetime, size: str, days: int, old: tuple[Bucket, ...] | None
    ) -> tuple[Bucket, ...] | None:
        """Hours or days back from now, the first one whole where it is an hour."""
        begin = now.replace(minute=0, second=0, microsecond=0) - timedelta(days=days)
        asked = {"bucket": size, "from": format_time(begin), "to": format_time(now)}
        return self.all(f"/presses/{press}/series", asked, Bucket, old)
