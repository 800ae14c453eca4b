"""What a tool's readings say alone, as plain content that a forecast can show beside itself."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import cache
from typing import Final, TypedDict

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from duestroke.inference.wear.passage import passage_chance
from duestroke.inference.wear.paths import MISFIT, WearPaths
from duestroke.inference.wear.trend import OwnTrend
from duestroke.lives import WearReading

Array = NDArray[np.float64]

QUANTILES: Final = (0.1, 0.5, 0.9)
_MILLION: Final = 1e6
_SLOPES, _LEVELS = 9, 3
_REACH: Final = 8.0
_PARTS: Final = np.linspace(0.0, 1.0, 6)
_ROUNDS: Final = 5


class LastReading(TypedDict):
    """The latest reading. strokes: age.  share: part of the limit used up.  sd: as stated."""

    strokes: float
    share: float
    sd: float | None


class Trend(TypedDict):
    """Slope of the straight line through the readings, part of the limit a million strokes.

    low, high: its 90 % interval.
    """

    slope_per_million: float
    low: float
    high: float


class ReadingsAlone(TypedDict):
    """What the readings of one tool say alone.

    alone: strokes left at chances 0.1, 0.5 and 0.9 to have reached the limit, by the tool's own
    line and no other tool; None where it need not get there; None altogether where fewer than
    three readings make no line.
    fits: whether the latest reading fits to the earlier ones and the place's lives.
    """

    readings: int
    last: LastReading | None
    trend: Trend | None
    alone: dict[str, float | None] | None
    fits: bool


def readings_alone(
    paths: WearPaths, readings: Sequence[WearReading], *, age: float, misfit: float = 1.0
) -> ReadingsAlone:
    """What one tool's readings say alone at its present `age` (strokes).

    misfit: tail chance of the latest reading, from `WearPaths.misfit`.
    """
    trend = paths.own_trend(readings)
    last = max(readings, key=lambda one: one.strokes, default=None)
    return {
        "readings": len(readings),
        "last": None
        if last is None
        else {"strokes": last.strokes, "share": last.share, "sd": last.sd},
        "trend": None if trend is None else _trend(trend),
        "alone": None if trend is None else _left(paths, trend, age),
        "fits": misfit >= MISFIT,
    }


def _trend(trend: OwnTrend) -> Trend:
    low, high = trend.slope_interval(0.9)
    return {
        "slope_per_million": trend.slope * _MILLION,
        "low": low * _MILLION,
        "high": high * _MILLION,
    }


def _left(paths: WearPaths, trend: OwnTrend, age: float) -> dict[str, float | None]:
    ahead = passage_quantiles(trend, paths.roughness, np.array(QUANTILES)) - (age - trend.last)
    return {
        f"{level:g}": max(float(strokes), 0.0) if math.isfinite(strokes) else None
        for level, strokes in zip(QUANTILES, ahead, strict=True)
    }


def passage_quantiles(trend: OwnTrend, sigma: float, chances: Array) -> Array:
    """Strokes from the last reading to the limit by a tool's own line, at `chances`, (c,).

    sigma: roughness of the path about its line, a square root of a stroke, > 0. The inverse
    Gaussian law of the first passage, averaged over the errors of the slope and of the level at the
    last reading (Student t). Infinite where the limit need not be reached.
    """
    drift, distance = _lines(trend)
    there = distance <= 0
    away = np.where(there, 1.0, distance)

    def chance_within(strokes: Array) -> Array:
        reached = passage_chance(strokes[..., None], drift, sigma, away)
        return np.asarray(np.where(there, 1.0, reached).mean(axis=-1))

    return _inverse(chance_within, chances, _unit(drift, away, trend.last))


def _unit(drift: Array, distance: Array, last: float) -> float:
    """Strokes about which the limit is looked for: those of the middle line, or the age so far."""
    slope, left = float(np.median(drift)), float(np.median(distance))
    return left / slope if slope > 0 else last


def _inverse(chance_within: Callable[[Array], Array], chances: Array, unit: float) -> Array:
    """Strokes at which a rising chance comes to `chances`, within e^_REACH of `unit`."""
    low, high = np.full(chances.shape, -_REACH), np.full(chances.shape, _REACH)
    never = chance_within(unit * np.exp(high)) < chances
    at_once = chance_within(unit * np.exp(low)) >= chances
    rows = np.arange(chances.size)
    for _ in range(_ROUNDS):
        grid = low[:, None] + (high - low)[:, None] * _PARTS
        values = chance_within(unit * np.exp(grid))
        upper = np.clip((values < chances[:, None]).sum(axis=1), 1, _PARTS.size - 1)
        low, high = grid[rows, upper - 1], grid[rows, upper]
        reach = values[rows, upper - 1], values[rows, upper]
    rise = np.maximum(reach[1] - reach[0], np.finfo(np.float64).tiny)
    part = np.clip((chances - reach[0]) / rise, 0.0, 1.0)
    found = unit * np.exp(low + part * (high - low))
    return np.asarray(np.where(never, np.inf, np.where(at_once, 0.0, found)))


def _lines(trend: OwnTrend) -> tuple[Array, Array]:
    """Equally likely slopes and distances to the limit at the last reading, (lines,)."""
    slope = trend.slope + trend.se_slope * _t_points(trend.freedom, _SLOPES)
    # At the mean age the errors of level and slope are independent.
    se_level = trend.residual_sd / math.sqrt(trend.readings)
    level = trend.level + se_level * _t_points(trend.freedom, _LEVELS)
    at_last = level + slope[:, None] * (trend.last - trend.middle)
    return np.repeat(slope, _LEVELS), 1 - at_last.ravel()


@cache
def _t_points(freedom: int, points: int) -> Array:
    """Middles of equally likely parts of Student's t."""
    return np.asarray(stdtrit(freedom, (np.arange(points) + 0.5) / points))
