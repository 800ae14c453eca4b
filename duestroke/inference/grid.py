"""The grid on which a posterior is computed: wide first, then laid over where the weight is.

Quadrature and not a sampler: two parameters a family, the same bytes for the same lives, and no
convergence to argue about.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
LogPosterior = Callable[[Array, Array], Array]

MEDIANS: Final = 56
SPREADS: Final = 27
_COARSE: Final = (28, 14)
_DEPTH: Final = 16.0
"""Points more than this below the peak of the log posterior are left out: e^-16 is 1e-7."""
_ENOUGH_CELLS: Final = 7
_MOST_STEPS: Final = 24
_EDGE_SHARE: Final = 0.002
"""0.1 % in an edge cell of the fine grid is twice that in one of the search grid."""
_FAIR_STEP: Final = 1.2
_MOST_ROWS: Final = 5
_MOST_COLUMNS: Final = 3


@dataclass(frozen=True)
class Grid:
    """Even steps in the log median `m`, shape (i,), and in the log of the spread `s`, shape (j,).

    log_weight: log posterior mass of each cell up to the evidence, shape (i, j).
    widened: whether the weight reached beyond the usual range.
    """

    m: Array
    s: Array
    log_weight: Array
    widened: bool

    @property
    def log_evidence(self) -> float:
        """Log of the sum of the cell masses."""
        top = float(self.log_weight.max())
        return top + math.log(float(np.exp(self.log_weight - top).sum()))

    def fair_steps(self) -> tuple[int, int]:
        """Rows and columns that may be stepped over without harm to sums over the grid.

        For a smooth bell a sum in steps of 1.2 standard deviations is off by e^-13; where the
        weight leans on an edge it is not smooth and every column counts. In `m` the standard
        deviation at a given spread counts, mostly that of the small spreads. A posterior that
        needed a wider range may have two peaks, so there nearly every point counts.
        """
        if self.widened:
            return 2, 1
        weight = np.exp(self.log_weight - self.log_weight.max())
        column = weight.sum(axis=0)
        rows = np.arange(self.m.size)[:, None]
        safe = np.where(column > 0, column, 1.0)
        mean = (weight * rows).sum(axis=0) / safe
        variance = (weight * (rows - mean) ** 2).sum(axis=0) / safe
        row_sd = (column.sum() / (column / np.maximum(variance, 0.1)).sum()) ** 0.5
        place = np.arange(self.s.size)
        share = column / column.sum()
        column_sd = float((share * (place - (share * place).sum()) ** 2).sum()) ** 0.5
        is_cut = max(share[0], share[-1]) > 1e-3
        return _step(row_sd, _MOST_ROWS), 1 if is_cut else _step(column_sd, _MOST_COLUMNS)


@dataclass(frozen=True)
class _Span:
    low: float
    high: float

    def axis(self, points: int) -> Array:
        return np.linspace(self.low, self.high, points)


_FIRST_MEDIAN: Final = _Span(-2.2, 2.2)
_FIRST_LOG_SPREAD: Final = _Span(math.log(0.10), math.log(1.8))
_WIDEST_MEDIAN: Final = _Span(-16.0, 16.0)
_WIDEST_LOG_S: Final = _Span(math.log(0.005), math.log(20.0))


def _step(sd: float, most: int) -> int:
    return int(min(max(math.floor(_FAIR_STEP * sd), 1), most))


def lay_grid(log_posterior: LogPosterior, *, fine: tuple[int, int] = (MEDIANS, SPREADS)) -> Grid:
    """Find where the posterior lies and evaluate it there.

    log_posterior: takes axes `m` (i,) and `s` (j,), gives log density per unit of `m` and `log s`,
        shape (i, j).
    fine: points on the two axes of the grid returned.
    The search grid grows when more than 0.1 % lies on one of its edges and shrinks when the
    weight fills only a few of its cells, so that two failures and two thousand are both resolved.
    """
    median, log_spread, widened = _locate(log_posterior)
    m, log_s = median.axis(fine[0]), log_spread.axis(fine[1])
    s = np.exp(log_s)
    area = (m[1] - m[0]) * (log_s[1] - log_s[0])
    return Grid(m, s, log_posterior(m, s) + math.log(area), widened)


def _locate(log_posterior: LogPosterior) -> tuple[_Span, _Span, bool]:
    median, log_spread = _FIRST_MEDIAN, _FIRST_LOG_SPREAD
    widened = False
    for _ in range(_MOST_STEPS):
        m, log_s = median.axis(_COARSE[0]), log_spread.axis(_COARSE[1])
        values = log_posterior(m, np.exp(log_s))
        grown = _grow(median, log_spread, values)
        if grown != (median, log_spread):
            (median, log_spread), widened = grown, True
            continue
        tight_m, cells_m = _around(m, values.max(axis=1))
        tight_s, cells_s = _around(log_s, values.max(axis=0))
        if min(cells_m, cells_s) >= _ENOUGH_CELLS:
            return tight_m, tight_s, widened
        if (tight_m, tight_s) == (median, log_spread):
            break
        median, log_spread = tight_m, tight_s
    return median, log_spread, widened


def _grow(median: _Span, log_spread: _Span, values: Array) -> tuple[_Span, _Span]:
    share = np.exp(values - values.max())
    share /= share.sum()
    over_m, over_s = share.sum(axis=1), share.sum(axis=0)
    return _grow_span(median, over_m, _WIDEST_MEDIAN), _grow_span(log_spread, over_s, _WIDEST_LOG_S)


def _grow_span(span: _Span, share: Array, widest: _Span) -> _Span:
    half = (span.high - span.low) / 2
    low = max(span.low - half, widest.low) if share[0] > _EDGE_SHARE else span.low
    high = min(span.high + half, widest.high) if share[-1] > _EDGE_SHARE else span.high
    return _Span(low, high)


def _around(axis: Array, profile: Array) -> tuple[_Span, int]:
    """The span of the points near the peak with one cell beside it, and how many they are."""
    near = np.flatnonzero(profile > profile.max() - _DEPTH)
    first, last = max(near[0] - 1, 0), min(near[-1] + 1, axis.size - 1)
    return _Span(float(axis[first]), float(axis[last])), int(near.size)
