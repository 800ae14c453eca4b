"""The duty of a life: how fast and how rough its press ran from fit to pull.

Speed is the mean peak speed weighted by strokes. Roughness is the ram ratio K of each day over the
press's own, weighted the same way. A press's own level is the median of its first sixty days with a
K: later days can't move it, so an ended life keeps its figure.

An accelerometer that was scaled anew at a repair makes K step down, which a wearing ram never does;
a ram that was put right does the same. Either way the press's own level is learnt anew from the
days after a step down. A step up stays: it may be a tight ring or a bad dome, and nothing in the
record tells it from a new scale. Until a step can be told, days far below the own level read as
equal to it, so that no scale ever reads as an improvement. The bounds are common practice, no
source; tried on the demo plant, whose daily K is steady within 0.2 %.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.times import to_micros
from store.duty import DutyDay

Floats = NDArray[np.float64]

OWN_DAYS: Final = 60
STEP_DAYS: Final = 10
"""Days on either side of a step whose medians are held against each other."""
STEP_DOWN: Final = 0.97
"""A level that falls to less than this part of the one before is on a new scale."""
NOW_DAYS: Final = 14
"""Running days that tell how the press runs now."""
SPEED_DIGITS: Final = 3
ROUGH_DIGITS: Final = 3
"""Finer differences are noise and would fit every life of a press anew each day."""


@dataclass(frozen=True, slots=True)
class Duty:
    """Speed in m/s and roughness over some days; None where no day tells it."""

    speed_mps: float | None = None
    roughness: float | None = None


class PressDuty:
    """The days of one press as running sums, so that any stretch costs two look-ups.

    days: in order, whole ones only.
    """

    def __init__(self, days: Sequence[DutyDay]) -> None:
        table = np.array([_numbers(day) for day in days], dtype=np.float64).reshape(-1, 5)
        starts, strokes, speed, weight, ratio = table.T
        rough = relative_roughness(ratio)
        known = ~np.isnan(rough)
        self._starts = np.asarray(starts)
        self._sums = np.zeros((len(days) + 1, 4))
        columns = (speed, weight, np.where(known, rough * strokes, 0.0), known * strokes)
        np.cumsum(np.column_stack(columns), axis=0, out=self._sums[1:])
        self._runs = np.flatnonzero(strokes > 0)

    def sums(self, start: datetime, end: datetime | None) -> Floats:
        """What `duty_of` takes, of the days that begin in [start, end); None: from `start` on."""
        bounds = [to_micros(start), np.inf if end is None else to_micros(end)]
        first, last = np.searchsorted(self._starts, bounds)
        return np.asarray(self._sums[max(first, last)] - self._sums[first])

    def now(self) -> Duty:
        """Duty of the last fourteen running days."""
        if not self._runs.size:
            return Duty()
        return duty_of(self._sums[-1] - self._sums[int(self._runs[-NOW_DAYS:][0])])


def duty_of(sums: Floats) -> Duty:
    """Duty from sums of speed and its weight, of roughness and its strokes, (4,)."""
    speed, weight, rough, strokes = sums.tolist()
    return Duty(
        round(speed / weight / 1e6, SPEED_DIGITS) if weight > 0 and speed > 0 else None,
        round(rough / strokes, ROUGH_DIGITS) if strokes > 0 else None,
    )


def _numbers(day: DutyDay) -> tuple[float, ...]:
    ratio = np.nan if day.roughness is None else day.roughness
    return (to_micros(day.day), day.strokes, day.speed_sum, day.speed_weight, ratio)


def relative_roughness(ratios: Floats) -> Floats:
    """K by day (n,) over the press's own; NaN where a day has none, and so in the result."""
    relative = np.full_like(ratios, np.nan)
    known = np.flatnonzero(~np.isnan(ratios))
    values = ratios[known]
    bounds = [0, *steps_down(values), len(values)]
    for first, last in pairwise(bounds):
        if last > first:
            own = np.median(values[first : min(first + OWN_DAYS, last)])
            relative[known[first:last]] = values[first:last] / own
    # A new scale that is too young to be told as a step.
    return np.where(relative < STEP_DOWN, 1.0, relative)


def steps_down(ratios: Floats) -> list[int]:
    """Indices of the days, in order, on which a press's K (n,), all known, began a lower level."""
    if len(ratios) < 2 * STEP_DAYS:
        return []
    logs = np.log(ratios)
    windows = np.lib.stride_tricks.sliding_window_view(logs, STEP_DAYS)
    levels = np.median(windows, axis=1)
    falls = levels[STEP_DAYS:] - levels[:-STEP_DAYS] < np.log(STEP_DOWN)
    # Entry k of `falls` tells of a step near day k + 10; it is where K fell most about there.
    candidates = np.flatnonzero(falls) + STEP_DAYS
    if not candidates.size:
        return []
    runs = np.split(candidates, np.flatnonzero(np.diff(candidates) > STEP_DAYS) + 1)
    return sorted({_deepest(np.diff(logs), int(run[0]), int(run[-1])) for run in runs})


def _deepest(changes: Floats, first: int, last: int) -> int:
    """The day of the deepest fall from shortly before `first` to shortly after `last`.

    changes: from day k to k + 1, (n - 1,).
    """
    begin = max(first - STEP_DAYS, 0)
    return begin + int(np.argmin(changes[begin : last + STEP_DAYS])) + 1
