"""Product-limit estimate of transforms, so that outcomes still to come are not dropped.

A tool pulled healthy at strokes that its forecast gave a chance `u` shows that its transform lies
beyond `u`, no more. The estimate of Kaplan and Meier (1958, J. Am. Stat. Assoc. 53, 457-481) on
the scale of the transforms takes that for what it is; leaving such tools out would make the rest
look early. It holds where those who pull know no more than the forecast. Forecasts of one life
share its end, so errors are summed by life before they are squared.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtrit

from duestroke.score.bounds import share_bounds

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]

PIECES: Final = 20
"""An outcome known to a range counts as so many parts, evenly over it, where it is a whole unit."""

MOST_WEIGHT: Final = 10.0
"""Of an outcome that stands for others; more would let a few rule a mean."""


@dataclass(frozen=True)
class Share:
    """An estimated share with 95 % bounds.

    binomial: as if all forecasts were independent.  by_life: with the forecasts of one life taken
    together.
    """

    share: float
    binomial: tuple[float, float]
    by_life: tuple[float, float]


class ProductLimit:
    """The distribution of transforms known as ranges, some of them open above."""

    def __init__(
        self, low: ArrayLike, high: ArrayLike, is_open: ArrayLike, life: ArrayLike
    ) -> None:
        """All of shape (n,). low, high: in [0, 1].  is_open: the outcome was still to come, and
        the transform lies beyond `low`.  life: number of the life, any integers."""
        self._n = np.asarray(low).size
        row, value, weight, is_end = _points(
            np.asarray(low, dtype=np.float64),
            np.asarray(high, dtype=np.float64),
            np.asarray(is_open, dtype=bool),
        )
        order = np.lexsort((~is_end, value))
        self._row, self._value = row[order], value[order]
        self._weight, self._is_end = weight[order], is_end[order]
        self._life = np.unique(np.asarray(life), return_inverse=True)[1]
        self._at_risk = np.cumsum(self._weight[::-1])[::-1]
        ended = np.where(self._is_end, self._weight, 0.0)
        self._survival = np.cumprod(np.maximum(1.0 - ended / self._at_risk, 0.0))
        self._rate = ended / self._at_risk
        self._square = np.cumsum(ended / self._at_risk**2)

    @property
    def lives(self) -> int:
        """How many lives there are."""
        return int(self._life.max(initial=-1)) + 1

    @property
    def reach(self) -> float:
        """The transform up to which outcomes tell: the last known end, 1 where that ended all."""
        ends = np.flatnonzero(self._is_end)
        if not ends.size:
            return 0.0
        last = int(ends[-1])
        return 1.0 if last == self._value.size - 1 else float(self._value[-1])

    def chance_by(self, at: float) -> float:
        """Share of transforms up to `at`; NaN beyond the reach."""
        if at > self.reach:
            return float("nan")
        rank = int(np.searchsorted(self._value, at, side="right"))
        return 0.0 if rank == 0 else 1.0 - float(self._survival[rank - 1])

    def between(self, start: float, end: float) -> Share:
        """Share of transforms above `start` and up to `end`; NaN beyond the reach.

        start 0 takes in what lies at 0.
        """
        low = 0.0 if start <= 0 else self.chance_by(start)
        high = 1.0 if end >= 1 else self.chance_by(end)
        share = high - low
        if np.isnan(share):
            return Share(share, (0.0, 1.0), (0.0, 1.0))
        errors = self._errors(end) - self._errors(start)
        by_row = _sums(self._row, errors, self._n)
        return Share(
            share,
            bounds_by_group(share, by_row, self._n),
            bounds_by_group(share, _sums(self._life, by_row, self.lives), self._n),
        )

    def _errors(self, at: float) -> Array:
        """What each point adds to the error of the share up to `at` (the influence function)."""
        if at <= 0 or at >= 1:
            return np.zeros_like(self._value)
        rank = int(np.searchsorted(self._value, at, side="right"))
        if rank == 0:
            return np.zeros_like(self._value)
        inside = np.arange(self._value.size) < rank
        upto = np.where(inside, self._square, self._square[rank - 1])
        ended = np.where(inside & self._is_end, 1.0 / self._at_risk, 0.0)
        return np.asarray(self._survival[rank - 1] * self._weight * (ended - upto))


def ended_weights(low: ArrayLike, high: ArrayLike, is_open: ArrayLike) -> Array:
    """Weights by which ended outcomes stand for those that were cut off before they came, (n,).

    low, high, is_open: transforms as for ProductLimit. An outcome that ended at a transform `u`
    weighs one over the share of outcomes that nothing would have cut off before `u`, at most
    MOST_WEIGHT; one still to come weighs nothing. With them a mean over ended outcomes does not
    favour the early ones (Graf, Schmoor, Sauerbrei and Schumacher 1999, Stat. Med. 18, 2529-2545).
    """
    least, most = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    cut = np.asarray(is_open, dtype=bool)
    value = np.where(cut, least, (least + most) / 2)
    order = np.lexsort((cut, value))
    at_risk = np.arange(value.size, 0, -1)
    uncut = np.cumprod(1 - np.where(cut[order], 1.0, 0.0) / at_risk)
    before = np.concatenate(([1.0], uncut))[np.searchsorted(value[order], value, side="left")]
    return np.where(cut, 0.0, np.minimum(1 / np.maximum(before, 1 / MOST_WEIGHT), MOST_WEIGHT))


def _points(low: Array, high: Array, is_open: Flags) -> tuple[Ints, Array, Array, Flags]:
    """Rows, values, weights and ends: a range becomes even parts of it, at most PIECES."""
    width = np.where(is_open, 0.0, high - low)
    parts = np.clip(np.ceil(width * PIECES * 2), 1, PIECES).astype(np.intp)
    row = np.repeat(np.arange(low.size), parts)
    first = np.cumsum(parts) - parts
    number = np.arange(row.size) - first[row]
    value = low[row] + (number + 0.5) / parts[row] * width[row]
    return row, value, 1.0 / parts[row], ~is_open[row]


def bounds_by_group(share: float, errors: Array, n: int) -> tuple[float, float]:
    """Wilson bounds with as many independent outcomes as the errors of the groups amount to.

    errors: (groups,), what each adds to the error of the share.  n: outcomes, > 0.
    Few groups tell their own spread badly: Student's t takes that in.
    """
    groups = errors.size
    share = min(max(share, 0.0), 1.0)
    if groups < 2:
        return share_bounds(share, 1.0)
    widened = float(stdtrit(groups - 1, 0.975) / ndtri(0.975)) ** 2
    variance = float(np.sum(errors**2)) * groups / (groups - 1) * widened
    spread = share * (1 - share)
    # Where all came out alike there is no spread to go by: each group counts as one outcome.
    worth = min(spread / variance, n) if variance > 0 and spread > 0 else groups
    return share_bounds(share, max(worth, 1.0))


def _sums(group: Ints, values: Array, groups: int) -> Array:
    return np.asarray(np.bincount(group, values, groups), dtype=np.float64)
