"""From strokes left to running days: the mixture of what is not known of the tool and of the rate.

The days for `x` strokes at a rate with mean `m` are `n = x/m`, spread by the noise of `n` days,
by the error of the mean and by a level that drifts: relative variance
`v/n + v/N + d^2 n/3` (`v`: relative long-run variance a day, `N`: days seen, `d`: drift a day).
Taken as lognormal, so that no draw is negative. The mixture over the strokes left is summed on
their quantiles, not drawn: the same inputs give the same bytes, and chances grow with time.
"""

from __future__ import annotations

from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from duestroke.forecast.rate import LAGS, Rate

Floats = NDArray[np.float64]

LEVELS: Final[Floats] = np.concatenate(
    ([0.001, 0.002, 0.005], np.arange(1, 100) / 100, [0.995, 0.998, 0.999])
)
"""Levels at which quantiles are kept."""
_EDGES: Final = np.concatenate(([0.0], (LEVELS[1:] + LEVELS[:-1]) / 2, [1.0]))
WEIGHTS: Final[Floats] = np.diff(_EDGES)
"""Share of each level's quantile in a sum over the distribution."""
NORMAL: Final[Floats] = ndtri(LEVELS)
"""Standard normal quantiles at the levels."""
_LEAST_DAYS: Final = 1e-9


def spread_of_days(days: ArrayLike, rate: Rate) -> Floats:
    """Standard deviation of the log of the running days, for median days of any shape."""
    mean_days = np.maximum(np.asarray(days, dtype=float), _LEAST_DAYS)
    variance = rate.variance / mean_days + rate.variance / rate.days + rate.drift**2 * mean_days / 3
    return np.asarray(np.sqrt(np.log1p(variance)) * _unsure_variance(rate))


def _unsure_variance(rate: Rate) -> float:
    """Widening since the long-run variance itself is estimated: Student's t over normal at 0.9.

    The Bartlett estimate has about 1.5 N / lags degrees of freedom, and the prior's days count.
    t / z at 0.9 is 1 + 0.66 / f within 1 % for f >= 3.
    """
    freedom = max(1.5 * rate.days / LAGS, 3.0)
    return 1 + 0.66 / freedom


def fixed_days(strokes: float, rate: Rate) -> Floats:
    """Running days for a known number of strokes (>= 0), at LEVELS."""
    days = max(strokes, 0.0) / rate.strokes_per_day
    return np.asarray(days * np.exp(NORMAL * spread_of_days(days, rate)))


class DueDays:
    """Running days until the strokes left are used up; `strokes` are their quantiles at LEVELS.

    `strokes` has shape (tools, levels), each >= 0; those below one are the chance that the end
    is past.
    """

    def __init__(self, strokes: Floats, rate: Rate) -> None:
        self._days = np.where(strokes < 1, 0.0, strokes) / rate.strokes_per_day
        self._spread = spread_of_days(self._days, rate)
        self._log_days = np.log(np.maximum(self._days, _LEAST_DAYS))

    def chance_before(self, running_days: Floats) -> Floats:
        """Chance of the end before running days (k,), >= 0, by tool: (tools, k); grows with them.

        Read off the quantiles, so that it agrees with the due times and has no steps where few
        quantiles of the strokes left lie.
        """
        rows = [
            _read_off(days, ended, running_days)
            for days, ended in zip(self.quantiles, self.ended(), strict=True)
        ]
        return np.array(rows).reshape(len(self._days), len(running_days))

    def mixture(self, running_days: Floats) -> Floats:
        """The sum itself: chance of the end within running days (tools, k), growing along k."""
        log_time = np.log(np.maximum(running_days, _LEAST_DAYS))
        standard = log_time[:, :, None] - self._log_days[:, None, :]
        standard /= self._spread[:, None, :]
        chance: Floats = np.where(self._days[:, None, :] > 0, ndtr(standard), 1.0) @ WEIGHTS
        ended = self.ended()[:, None]
        return np.where(running_days > 0, np.maximum(chance, ended), ended)

    def ended(self) -> Floats:
        """Chance that the end is past, by tool."""
        return np.asarray((self._days <= 0) @ WEIGHTS)

    @cached_property
    def quantiles(self) -> Floats:
        """Running days at LEVELS, (tools, levels), growing with the level; 0 is due now."""
        time = self._knots()
        chance = np.maximum.accumulate(self.mixture(time), axis=1)
        days = [np.interp(LEVELS, row, at) for row, at in zip(chance, time, strict=True)]
        return np.maximum.accumulate(np.array(days).reshape(self._days.shape), axis=1)

    def _knots(self) -> Floats:
        """Running days in order, dense where the mixture has its mass.

        Strokes and rate erring together span its range; erring against each other they fill
        what lies between a mass at zero and the rest.
        """
        together = self._days * np.exp(NORMAL * self._spread)
        against = self._days[:, ::2] * np.exp(-NORMAL[::2] * self._spread[:, ::2])
        return np.sort(np.concatenate((together, against), axis=1), axis=1)


def _read_off(days: Floats, ended: float, at: Floats) -> Floats:
    later = days > 0
    knots = np.concatenate(([0.0], days[later]))
    chance = np.concatenate(([ended], np.maximum(LEVELS[later], ended)))
    return np.asarray(np.interp(at, knots, chance, right=1.0))
