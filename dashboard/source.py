"""The last answers of the API, shared by all screens: asked at most once in a few seconds."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final, TypeVar

from dashboard.client import ApiFault, Client
from dashboard.fleet import Answers

log = logging.getLogger(__name__)

FRESH_FOR: Final = timedelta(seconds=3)
STOPS_AHEAD: Final = timedelta(days=43)
STOPS_BEHIND: Final = timedelta(days=3)
"""A stop that has begun and goes on lies behind; the longest is a press service of two days."""

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
