"""From strokes left to running days: the mixture of what is not known of the tool and of the rate.

The days for `x` strokes at a rate with mean `m` are `n = x/m`, spread by the noise of `n` days,
by the error of the mean and by a level that drifts: relative variance
`v/n + v/N + d^2 n/3` (`v`: relative long-run variance a day, `N`: days seen, `d`: drift a day).
Taken as lognormal, so that no draw is negative. The mixture over the strokes left is summed over
pieces between their quantiles, in closed form within each, not drawn: the same inputs give the same
bytes, and chances grow with time. All sums run in a fixed order, so that a tool's days do not
depend on how many tools are worked out with it.
"""

from __future__ import annotations

from collections.abc import Sequence
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

_PIECES: Final[Floats] = np.concatenate(
    (
        [0.001, 0.005, 0.01, 0.02, 0.04, 0.07],
        np.array([10, 15, 20, 25, 30, 40, 50, 60, 70, 75, 80, 85, 90]) / 100,
        [0.93, 0.96, 0.98, 0.99, 0.995, 0.999],
    )
)
"""Levels between which the log of the strokes left is taken as a line."""
_PIECES_NORMAL: Final = ndtri(_PIECES)
_BY_LEVEL: Final = np.searchsorted(LEVELS, _PIECES - 1e-9)
_LEAST_DAYS: Final = 1e-9
_ALIKE: Final = 1e-3
_AT_ONCE: Final = 256
_SQRT_2_PI: Final = float(np.sqrt(2 * np.pi))


def spread_of_days(days: ArrayLike, rate: Rate) -> Floats:
    """Standard deviation of the log of the running days, for median days of any shape."""
    return _spread(np.asarray(days, dtype=float), _Rates.of([rate]))


def fixed_days(strokes: float, rate: Rate) -> Floats:
    """Running days for a known number of strokes (>= 0), at LEVELS."""
    days = max(strokes, 0.0) / rate.strokes_per_day
    return np.asarray(days * np.exp(NORMAL * spread_of_days(days, rate)))


class _Rates:
    """Rates of n rows, each (n, 1)."""

    def __init__(self, columns: Floats) -> None:
        self.strokes_per_day, self.variance, self.days, self.drift = columns[:, :, None]

    @staticmethod
    def of(rates: Sequence[Rate]) -> _Rates:
        rows = [(r.strokes_per_day, r.variance, r.days, r.drift) for r in rates]
        return _Rates(np.array(rows, dtype=float).reshape(-1, 4).T)

    @property
    def widening(self) -> Floats:
        """Since the long-run variance itself is estimated: Student's t over normal at 0.9.

        The Bartlett estimate has about 1.5 N / lags degrees of freedom, and the prior's days
        count. t / z at 0.9 is 1 + 0.66 / f within 1 % for f >= 3.
        """
        return np.asarray(1 + 0.66 / np.maximum(1.5 * self.days / LAGS, 3.0))


def _spread(days: Floats, rates: _Rates) -> Floats:
    mean_days = np.maximum(days, _LEAST_DAYS)
    error = rates.variance / rates.days
    variance = rates.variance / mean_days + error + rates.drift**2 * mean_days / 3
    return np.asarray(np.sqrt(np.log1p(variance)) * rates.widening).reshape(days.shape)


class DueDays:
    """Running days until the strokes left are used up; `strokes` are their quantiles at LEVELS.

    `strokes` has shape (rows, levels), each >= 0; those below one are the chance that the end
    is past. One rate for each row.
    """

    def __init__(self, strokes: Floats, rates: Sequence[Rate]) -> None:
        self._rates = _Rates.of(rates)
        self._days = np.where(strokes < 1, 0.0, strokes) / self._rates.strokes_per_day

    def chance_before(self, running_days: Sequence[Floats]) -> list[Floats]:
        """Chance of the end before running days (k,), >= 0, given by row; grows with them.

        Read off the quantiles, so that it agrees with the due times and has no steps where few
        quantiles of the strokes left lie.
        """
        rows = zip(self.quantiles, self.ended, running_days, strict=True)
        return [_read_off(days, ended, at) for days, ended, at in rows]

    def mixture(self, running_days: Floats) -> Floats:
        """The sum itself: chance of the end within running days (rows, k), growing along k."""
        log_time = np.log(np.maximum(running_days, _LEAST_DAYS))
        found = [
            _summed(log_time[part], self._log_days[part], self._spread[part])
            for part in _parts(len(log_time))
        ]
        chance = np.concatenate(found) if found else np.zeros(log_time.shape)
        ended = self.ended[:, None]
        return np.asarray(np.where(running_days > 0, ended + (1 - ended) * chance, ended))

    @cached_property
    def ended(self) -> Floats:
        """Chance that the end is past, by row."""
        past = np.count_nonzero(self._days <= 0, axis=1)
        return np.asarray(np.concatenate(([0.0], np.cumsum(WEIGHTS)))[past])

    @cached_property
    def quantiles(self) -> Floats:
        """Running days at LEVELS, (rows, levels), growing with the level; 0 is due now."""
        time = self._knots()
        chance = np.maximum.accumulate(self.mixture(time), axis=1)
        found = np.zeros(self._days.shape)
        for row, ended in enumerate(self.ended.tolist()):
            later = ended < LEVELS
            if later.any():
                found[row, later] = _inverse(chance[row], time[row], ended, later)
        return np.maximum.accumulate(found, axis=1)

    @cached_property
    def _log_days(self) -> Floats:
        """Logs of the days for what is left at _PIECES of those whose end is still to come."""
        days = self._days[:, _BY_LEVEL].copy()
        for row in np.flatnonzero(self.ended > 0):
            ended, later = self.ended[row], self._days[row] > 0
            if later.any():
                at = ended + (1 - ended) * _PIECES
                days[row] = np.interp(at, LEVELS[later], self._days[row, later])
        return np.asarray(np.log(np.maximum(days, _LEAST_DAYS)))

    @cached_property
    def _spread(self) -> Floats:
        return _spread(np.exp(self._log_days), self._rates)

    def _knots(self) -> Floats:
        """Running days in order, dense where the mixture has its mass.

        Strokes and rate erring together span its range; erring against each other they fill
        what lies between a mass at zero and the rest.
        """
        error = _PIECES_NORMAL * self._spread
        together, against = self._log_days + error, (self._log_days - error)[:, ::2]
        return np.asarray(np.exp(np.sort(np.concatenate((together, against), axis=1), axis=1)))


def _parts(count: int) -> list[slice]:
    """Rows at a time, so that a piece stays in cache."""
    return [slice(first, first + _AT_ONCE) for first in range(0, count, _AT_ONCE)]


def _summed(log_time: Floats, log_days: Floats, spread: Floats) -> Floats:
    """Chance that days with log medians (rows, pieces) are over by each time (rows, k).

    Between neighbouring pieces the standard score runs from `a` to `b` in a line, so the mean
    chance is `(G(b) - G(a)) / (b - a)` with `G(z) = z Phi(z) + phi(z)`.
    """
    last, last_chance, last_area = _scored(log_time, log_days[:, :1], spread[:, :1])
    total = _PIECES[0] * last_chance
    for piece in range(1, _PIECES.size):
        at = slice(piece, piece + 1)
        score, chance, area = _scored(log_time, log_days[:, at], spread[:, at])
        step = score - last
        is_flat = np.abs(step) < _ALIKE
        mean = (area - last_area) / np.where(is_flat, 1.0, step)
        mean = np.where(is_flat, (chance + last_chance) / 2, mean)
        total += (_PIECES[piece] - _PIECES[piece - 1]) * mean
        last, last_chance, last_area = score, chance, area
    total += (1 - _PIECES[-1]) * last_chance
    return np.asarray(np.clip(total, 0.0, 1.0))


def _scored(log_time: Floats, log_days: Floats, spread: Floats) -> tuple[Floats, Floats, Floats]:
    score = np.clip((log_time - log_days) / spread, -30.0, 30.0)
    chance = ndtr(score)
    return score, chance, score * chance + np.exp(-0.5 * score * score) / _SQRT_2_PI


def _inverse(chance: Floats, time: Floats, ended: float, later: NDArray[np.bool_]) -> Floats:
    """Times at the levels later than `ended`: a line between normal scores and log times."""
    rest = np.clip((chance - ended) / (1 - ended), 1e-12, 1 - 1e-12)
    wanted = NORMAL[later] if ended == 0 else ndtri((LEVELS[later] - ended) / (1 - ended))
    return np.asarray(np.exp(np.interp(wanted, ndtri(rest), np.log(time))))


def _read_off(days: Floats, ended: float, at: Floats) -> Floats:
    later = days > 0
    knots = np.concatenate(([0.0], days[later]))
    chance = np.concatenate(([ended], np.maximum(LEVELS[later], ended)))
    return np.asarray(np.interp(at, knots, chance, right=1.0))
