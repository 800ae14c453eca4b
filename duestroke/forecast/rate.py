"""How fast a press makes strokes, from its own daily record, and how sure that is.

Mean and long-run variance of the daily totals over at most the last 180 running days: production
days depend on each other (a breakdown lasts), so the variance of a sum is not that of one day
times their number. Newey-West with 14 lags, corrected for the mean taken out of a short record
and drawn towards a prior, so that a few smooth days never make a range narrow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from duestroke.calendar import DAY_US, Calendar, day_start, next_day
from duestroke.times import to_micros

WINDOW_DAYS: Final = 180
LAGS: Final = 14
SHUT_DOWN_DAYS: Final = 8
"""So many days in a row without a stroke are a shut-down, not part of the rate."""
LEAST_EXPOSURE: Final = 0.05
"""Days with a smaller share of running time say nothing about the rate."""
PRIOR_SPREAD: Final = 0.3
"""Long-run standard deviation of a daily total over its mean, before any record."""
PRIOR_DAYS: Final = 14.0
LEAST_SPREAD: Final = 0.1
DRIFT_BLOCK: Final = 14
PRIOR_DRIFT: Final = 0.002
"""Relative change of the level a day, before any record."""
PRIOR_BLOCKS: Final = 8.0

Floats = NDArray[np.float64]


class DayStrokes(NamedTuple):
    """Strokes between two instants, a day of the press's own or a part of one."""

    start: datetime
    end: datetime
    strokes: int


@dataclass(frozen=True, slots=True)
class Rate:
    """Strokes per running day (24 h outside planned stops) of a press, > 0, and its spread.

    variance: long-run variance of daily totals over `strokes_per_day` squared, so that a sum of
        `n` days has relative variance `variance / n`.
    days: running days in the window.  drift: relative standard deviation of the level's change
    a day.  start, end: the window.  stood_since: begin of a shut-down that still lasts.
    """

    strokes_per_day: float
    variance: float
    days: float
    drift: float
    start: datetime
    end: datetime
    stood_since: datetime | None = None


def whole_record(
    daily: Sequence[tuple[datetime, int]], zone: tzinfo, start: datetime, end: datetime
) -> list[DayStrokes]:
    """The press's days from `start` to `end` without gaps: a day left out had no strokes.

    daily: (local midnight, strokes).  start, end: first and last reading of the record, which
    cut the first and the last day.
    """
    strokes = {to_micros(day): count for day, count in daily}
    days: list[DayStrokes] = []
    begin = day_start(start, zone)
    while begin < end:
        until = next_day(begin, zone)
        span = (max(begin, start), min(until, end))
        days.append(DayStrokes(*span, strokes.get(to_micros(begin), 0)))
        begin = until
    return days


def rate_of(days: Sequence[DayStrokes], calendar: Calendar) -> Rate | None:
    """The rate of a press from its days in order of time; None when it never moved.

    Sources: W. K. Newey and K. D. West, Econometrica 55 (1987) 703 (Bartlett weights); the
    rest (prior, floor, block differences for the drift) is ours, tried by simulation.
    """
    used, stood_since = _without_shut_downs(days)
    exposure = _exposure(used, calendar)
    kept = np.flatnonzero(exposure >= min(LEAST_EXPOSURE, exposure.max(initial=0.0)))
    kept = kept[-WINDOW_DAYS:]
    strokes = np.array([day.strokes for day in used], dtype=float)[kept]
    exposure = exposure[kept]
    total, time = float(strokes.sum()), float(exposure.sum())
    if total <= 0 or time <= 0:
        return None
    mean = total / time
    rest = strokes / mean - exposure
    variance = _long_run_variance(rest, time)
    drift = _drift(rest, variance)
    window = (used[kept[0]].start, used[kept[-1]].end)
    return Rate(mean, variance, time, drift, *window, stood_since)


def _exposure(days: Sequence[DayStrokes], calendar: Calendar) -> Floats:
    starts = [to_micros(day.start) for day in days]
    ends = [to_micros(day.end) for day in days]
    return np.asarray(calendar.running_us(starts, ends) / DAY_US, dtype=float)


def _without_shut_downs(
    days: Sequence[DayStrokes],
) -> tuple[list[DayStrokes], datetime | None]:
    """The days outside long stretches without a stroke, and since when the last one lasts."""
    used: list[DayStrokes] = []
    still: list[DayStrokes] = []
    for day in days:
        if day.strokes == 0:
            still.append(day)
            continue
        if len(still) < SHUT_DOWN_DAYS and used:
            used += still
        used.append(day)
        still = []
    if len(still) >= SHUT_DOWN_DAYS:
        return used, still[0].start
    return used + still, None


def _long_run_variance(rest: Floats, days: float) -> float:
    """Relative long-run variance a day, drawn towards the prior and never below the floor."""
    lags = min(LAGS, len(rest) - 1)
    raw = float(rest @ rest)
    for lag in range(1, lags + 1):
        raw += 2 * (1 - lag / (lags + 1)) * float(rest[lag:] @ rest[:-lag])
    # The mean was fitted to the same days, which takes out about (lags + 1) / n of the variance.
    seen = max(raw, 0.0) / max(1 - (lags + 1) / max(len(rest), 1), 0.25)
    blended = (seen + PRIOR_DAYS * PRIOR_SPREAD**2) / (days + PRIOR_DAYS)
    return float(max(blended, LEAST_SPREAD**2))


def _drift(rest: Floats, variance: float) -> float:
    """Relative standard deviation of the level's change a day.

    A level that walks makes the means of neighbouring blocks of L days differ by a variance of
    2 L / 3 steps beyond the noise 2 v / L.
    """
    blocks = len(rest) // DRIFT_BLOCK
    step = PRIOR_DRIFT**2
    if blocks < 2:
        return PRIOR_DRIFT
    means = rest[-blocks * DRIFT_BLOCK :].reshape(blocks, DRIFT_BLOCK).mean(axis=1)
    beyond = float(np.mean(np.diff(means) ** 2)) - 2 * variance / DRIFT_BLOCK
    seen = max(beyond, 0.0) * 3 / (2 * DRIFT_BLOCK)
    return float(np.sqrt((seen * (blocks - 1) + PRIOR_BLOCKS * step) / (blocks - 1 + PRIOR_BLOCKS)))
