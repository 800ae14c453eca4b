"""What a tool's readings say alone, as plain content that a forecast can show beside itself."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, TypedDict

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from duestroke.inference.wear.passage import FirstPassage, passage_chance
from duestroke.inference.wear.paths import MISFIT, WearPaths
from duestroke.inference.wear.trend import OwnTrend
from duestroke.lives import WearReading

Array = NDArray[np.float64]

QUANTILES: Final = (0.1, 0.5, 0.9)
_MILLION: Final = 1e6
_SLOPES, _LEVELS = 15, 5
_HORIZONS: Final = 96
_LEAST_SIGMA: Final = 0.01


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
    floor = _LEAST_SIGMA / math.sqrt(paths.typical_life)
    sigma = max(paths.roughness, floor)
    ahead = passage_quantiles(trend, sigma, np.array(QUANTILES)) - (age - trend.last)
    return {
        f"{level:g}": max(float(strokes), 0.0) if math.isfinite(strokes) else None
        for level, strokes in zip(QUANTILES, ahead, strict=True)
    }


def passage_quantiles(trend: OwnTrend, sigma: float, chances: Array) -> Array:
    """Strokes from the last reading to the limit by a tool's own line, at `chances`; same shape.

    sigma: roughness of the path about its line, a square root of a stroke, > 0. The inverse
    Gaussian law of the first passage, averaged over the errors of the slope and of the level at the
    last reading (Student t). Infinite where the limit need not be reached.
    """
    drift, distance = _lines(trend)
    left = distance > 0
    if not left.any():
        return np.zeros_like(chances)
    middle = FirstPassage(float(np.median(drift)), sigma, max(float(np.median(distance)), 1e-3))
    unit = float(middle.quantile(0.5)) if middle.chance > 0.5 else trend.last
    horizon = unit * np.exp(np.linspace(-8.0, 8.0, _HORIZONS))
    chance = passage_chance(horizon, drift[left, None], sigma, distance[left, None]).sum(axis=0)
    chance = (chance + np.count_nonzero(~left)) / left.size
    found = np.exp(np.interp(chances, chance, np.log(horizon)))
    found = np.where(chances <= chance[0], 0.0, found)
    return np.where(chances > chance[-1], np.inf, found)


def _lines(trend: OwnTrend) -> tuple[Array, Array]:
    """Equally likely slopes and distances to the limit at the last reading, (lines,)."""
    slope = trend.slope + trend.se_slope * _t_points(trend.freedom, _SLOPES)
    # At the mean age the errors of level and slope are independent.
    se_level = trend.residual_sd / math.sqrt(trend.readings)
    level = trend.level + se_level * _t_points(trend.freedom, _LEVELS)
    drift, middle = np.meshgrid(slope, level, indexing="ij")
    at_last = middle + drift * (trend.last - trend.middle)
    return drift.ravel(), 1 - at_last.ravel()


def _t_points(freedom: int, points: int) -> Array:
    """Middles of equally likely parts of Student's t."""
    return np.asarray(stdtrit(freedom, (np.arange(points) + 0.5) / points))
