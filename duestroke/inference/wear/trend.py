"""The straight line through a tool's own readings, with what it can and cannot say.

Ordinary least squares (Draper and Smith, Applied Regression Analysis). The interval of the line and
that of a further reading are two things: the second holds the scatter of a reading too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from duestroke.lives import WearReading

Array = NDArray[np.float64]

LEAST_READINGS: Final = 3
"""Two readings make a line and say nothing of its error."""


@dataclass(frozen=True)
class OwnTrend:
    """share = intercept + slope * strokes, from `readings` readings of one tool.

    slope: part of the limit a stroke.  se_slope, se_intercept: standard errors.  residual_sd: of a
    reading about the line.  middle: mean age of the readings, strokes.  level: share at `middle`.
    spread: sum of squared distances of the ages from `middle`, strokes squared.  r2: part of the
    variance that the line explains; 1 where there is none.  first, last: ages, strokes.
    """

    readings: int
    slope: float
    intercept: float
    se_slope: float
    se_intercept: float
    residual_sd: float
    r2: float
    middle: float
    level: float
    spread: float
    first: float
    last: float

    @property
    def freedom(self) -> int:
        """Degrees of freedom of the residual."""
        return self.readings - 2

    def share_at(self, strokes: ArrayLike) -> Array:
        """The line at `strokes`; same shape."""
        return self.level + self.slope * (np.asarray(strokes, dtype=np.float64) - self.middle)

    def se_at(self, strokes: ArrayLike) -> Array:
        """Standard error of the line at `strokes`; same shape."""
        away = np.asarray(strokes, dtype=np.float64) - self.middle
        return np.asarray(self.residual_sd * np.sqrt(1 / self.readings + away**2 / self.spread))

    def slope_interval(self, level: float = 0.9) -> tuple[float, float]:
        """Two-sided interval of the slope, part of the limit a stroke."""
        half = self._t(level) * self.se_slope
        return self.slope - half, self.slope + half

    def mean_interval(self, strokes: ArrayLike, level: float = 0.9) -> tuple[Array, Array]:
        """Two-sided interval of the line at `strokes`: low and high, same shape."""
        return self._interval(strokes, self.se_at(strokes), level)

    def prediction_interval(self, strokes: ArrayLike, level: float = 0.9) -> tuple[Array, Array]:
        """Two-sided interval of one further reading at `strokes`: low and high, same shape."""
        return self._interval(strokes, np.hypot(self.se_at(strokes), self.residual_sd), level)

    def _interval(self, strokes: ArrayLike, se: Array, level: float) -> tuple[Array, Array]:
        middle, half = self.share_at(strokes), self._t(level) * se
        return middle - half, middle + half

    def _t(self, level: float) -> float:
        return float(stdtrit(self.freedom, (1 + level) / 2))


def own_trend(readings: Sequence[WearReading]) -> OwnTrend | None:
    """The line through one tool's readings; None with fewer than 3, or all at one age."""
    if len(readings) < LEAST_READINGS:
        return None
    x = np.array([one.strokes for one in readings])
    y = np.array([one.share for one in readings])
    middle, level = float(x.mean()), float(y.mean())
    spread = float(((x - middle) ** 2).sum())
    if not spread > 0:
        return None
    slope = float(((x - middle) * (y - level)).sum()) / spread
    left = float(((y - level - slope * (x - middle)) ** 2).sum())
    total = float(((y - level) ** 2).sum())
    residual_sd = math.sqrt(left / (x.size - 2))
    return OwnTrend(
        readings=x.size,
        slope=slope,
        intercept=level - slope * middle,
        se_slope=residual_sd / math.sqrt(spread),
        se_intercept=residual_sd * math.sqrt(1 / x.size + middle**2 / spread),
        residual_sd=residual_sd,
        r2=1 - left / total if total > 0 else 1.0,
        middle=middle,
        level=level,
        spread=spread,
        first=float(x.min()),
        last=float(x.max()),
    )
