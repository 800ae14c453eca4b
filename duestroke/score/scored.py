"""One forecast held against how it came out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.forecast.dates import LEVELS
from duestroke.score.crps import crps_of_quantiles
from duestroke.score.ends import Ending, Outcome
from duestroke.score.rule import handbook_rule
from duestroke.score.transform import chances_at
from duestroke.times import to_micros

Array = NDArray[np.float64]

RANGES: Final = {0.8: (0.1, 0.9), 0.9: (0.05, 0.95)}
"""The ranges that are scored, with the levels of their ends."""


@dataclass(frozen=True, slots=True)
class Made:
    """What was forecast.

    remaining: strokes left at LEVELS.  due_us: the same as times, or None.  age: strokes, None
    where nobody knew.  handbook_life: strokes, None where there is none.  chance: of the end
    before the next stop.
    """

    remaining: Sequence[float]
    due_us: Sequence[int | None] | None
    age: float | None
    handbook_life: float | None
    chance: float | None


@dataclass(frozen=True, slots=True)
class Score:
    """How a forecast came out.

    pit_low, pit_high: its chance of the end by what is known of the outcome, equal for a known
    one, 1 above for one still to come.  date_low, date_high: the same of the due time, None
    without one.  width_80, width_90: strokes between the ends of its ranges.  crps, crps_rule:
    strokes, of the forecast and of the handbook's rule; of an open outcome the certain part.
    came: whether the end came before the next stop, None where nobody knows.
    """

    outcome: Outcome
    left_low: float
    left_high: float | None
    pit_low: float
    pit_high: float
    date_is_open: bool
    date_low: float | None
    date_high: float | None
    width_80: float
    width_90: float
    crps: float
    crps_rule: float | None
    chance: float | None
    came: bool | None


def score(made: Sequence[Made], ends: Sequence[Ending], came: Sequence[bool | None]) -> list[Score]:
    """Scores of forecasts, each with its end and whether that came before the next stop."""
    if not made:
        return []
    left = np.array([each.remaining for each in made], dtype=np.float64)
    low = np.array([end.left_low for end in ends])
    high = np.array([math.inf if end.left_high is None else end.left_high for end in ends])
    pit = _transforms(np.where(left < 1, 0.0, left), low, high)
    dates = _dates(made, ends)
    widths = [_width(left, least, most) for least, most in RANGES.values()]
    crps = crps_of_quantiles(LEVELS, left, low, high)
    rule = _by_rule(made, low, high)
    return [
        Score(
            outcome=end.outcome,
            left_low=end.left_low,
            left_high=end.left_high,
            pit_low=float(pit[0][k]),
            pit_high=float(pit[1][k]),
            date_is_open=end.at_high is None,
            date_low=dates[k][0],
            date_high=dates[k][1],
            width_80=float(widths[0][k]),
            width_90=float(widths[1][k]),
            crps=float(crps[k]),
            crps_rule=rule[k],
            chance=each.chance,
            came=came[k],
        )
        for k, (each, end) in enumerate(zip(made, ends, strict=True))
    ]


def _transforms(quantiles: Array, low: Array, high: Array) -> tuple[Array, Array]:
    """Transforms of outcomes between `low` and `high`: from the chance by the first (of the end
    before it, where it is exact or may have been past at once) to the chance by the last."""
    before, by = chances_at(LEVELS, quantiles, low)
    is_open = np.isinf(high)
    least = np.where((low == high) | ((low <= 0) & ~is_open), before, by)
    most = chances_at(LEVELS, quantiles, np.where(is_open, low, high))[1]
    # An open outcome beyond all kept levels lies beyond the last of them, no more.
    least = np.where(is_open & (by >= 1), before, least)
    return least, np.where(is_open, 1.0, np.maximum(most, least))


def _dates(
    made: Sequence[Made], ends: Sequence[Ending]
) -> list[tuple[float, float] | tuple[None, None]]:
    rows = [k for k, each in enumerate(made) if each.due_us is not None]
    found: list[tuple[float, float] | tuple[None, None]] = [(None, None) for _ in made]
    if not rows:
        return found
    due = np.array([made[k].due_us for k in rows], dtype=np.float64)
    low = np.array([float(to_micros(ends[k].at_low)) for k in rows])
    high = np.array([_instant(ends[k].at_high) for k in rows])
    for k, least, most in zip(rows, *_transforms(due, low, high), strict=True):
        found[k] = (float(least), float(most))
    return found


def _instant(at: datetime | None) -> float:
    return math.inf if at is None else float(to_micros(at))


def _width(left: Array, least: float, most: float) -> Array:
    ends = [np.argmin(np.abs(LEVELS - level)) for level in (least, most)]
    return np.asarray(left[:, ends[1]] - left[:, ends[0]])


def _by_rule(made: Sequence[Made], low: Array, high: Array) -> list[float | None]:
    rows = [k for k, each in enumerate(made) if each.age is not None and each.handbook_life]
    scores: list[float | None] = [None] * len(made)
    if rows:
        life = np.array([made[k].handbook_life for k in rows], dtype=np.float64)
        age = np.array([made[k].age for k in rows], dtype=np.float64)
        found = crps_of_quantiles(LEVELS, handbook_rule(life, age, LEVELS), low[rows], high[rows])
        for k, value in zip(rows, found, strict=True):
            scores[k] = float(value)
    return scores
