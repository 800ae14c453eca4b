"""Scores of the forecasts on record, made when a life ends or its record is put right."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from datetime import datetime
from typing import Final

from duestroke.score import Made
from duestroke.times import parse_time
from engine.judge import Told, judged
from store.scores import OnRecord
from store.unit import Connection, Unit

log = logging.getLogger(__name__)

LIVES_AT_ONCE: Final = 40
"""So many are scored in a transaction; forecasts wait no longer for it than for a round."""
LEAST_REST_S: Final = 60.0
PACE: Final = 20.0
"""Looking for ended lives rests at least so many times as long as it takes."""


class Scorer:
    """Keeps the scores of forecasts on record up to date, a few lives at a time.

    monotonic: a clock in seconds. Its memory only saves work.
    """

    def __init__(self, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._monotonic = monotonic
        self._rest_until = -float("inf")

    def round(self, conn: Connection, now: datetime) -> int:
        """Score some lives where it is time for it, and commit; how many lives."""
        began = self._monotonic()
        if began < self._rest_until:
            return 0
        with Unit(conn) as unit:
            lives = score_lives(unit, now, LIVES_AT_ONCE)
            unit.commit()
        if lives < LIVES_AT_ONCE:
            took = self._monotonic() - began
            self._rest_until = began + max(LEAST_REST_S, PACE * took)
        if lives:
            log.info("%d lives scored", lives, extra={"action": "forecasts-scored"})
        return lives


def score_lives(unit: Unit, now: datetime, limit: int) -> int:
    """Score the forecasts of up to `limit` lives that are not scored as they stand; how many."""
    marks = unit.scores.stale_lives(now, limit)
    unit.scores.forget_lost_lives()
    if not marks:
        return 0
    told = [_told(each) for each in unit.scores.forecasts_of(list(marks))]
    unit.scores.replace_lives(marks, judged(unit, told, now), now)
    return len(marks)


def _told(row: OnRecord) -> Told:
    stop, at, chance = row.chances[0] if row.chances else (None, None, None)
    return Told(
        forecast_id=row.id,
        press_id=row.press_id,
        position=row.position,
        kind=row.kind,
        serial=row.serial,
        chain=row.chain,
        fit_id=row.fit_id,
        as_of=row.as_of,
        made=Made(row.remaining, row.due_us, row.age, row.handbook_life, chance),
        stop=None if at is None else (stop, parse_time(at)),
    )
