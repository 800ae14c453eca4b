"""Probability transforms: where in its forecast an outcome lay, known or half known."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


def probability_transform(draws: ArrayLike, outcome: float, rng: np.random.Generator) -> float:
    """Rank of an outcome among draws, shape (k,), as a number in [0, 1].

    Uniform when the forecast is right. Ties, such as draws that are due now, are broken at
    random. Source: Czado, Gneiting and Held 2009, Biometrics 65, 1254-1261 (randomised form).
    """
    values = np.asarray(draws, dtype=np.float64)
    below = np.count_nonzero(values < outcome)
    level = np.count_nonzero(values == outcome)
    return float((below + rng.random() * (level + 1)) / (values.size + 1))


def chances_at(levels: ArrayLike, quantiles: ArrayLike, at: ArrayLike) -> tuple[Array, Array]:
    """Chance of the end before `at`, and by it, of forecasts kept as quantiles; both (n,).

    levels: (k,), rising.  quantiles: (n, k), rising with the level, NaN or infinite where they lie
    beyond all time; linear between.  at: (n,), finite.  The two chances differ where the forecast
    does not say more: at a mass on one point (due now), below its first level, beyond its last.
    """
    p = np.asarray(levels, dtype=np.float64)
    x = np.asarray(quantiles, dtype=np.float64)
    x = np.where(np.isnan(x), np.inf, x)
    y = np.asarray(at, dtype=np.float64)[:, None]
    below = np.count_nonzero(x < y, axis=1)
    upto = np.count_nonzero(x <= y, axis=1)
    edges = np.concatenate(([0.0], p, [1.0]))
    before, by = edges[below], edges[np.where(upto > below, upto, below + 1)]
    rows = np.flatnonzero((upto == below) & (below > 0) & (below < p.size))
    left, right = x[rows, below[rows] - 1], x[rows, np.minimum(below[rows], p.size - 1)]
    known = np.isfinite(right)
    rows, left, right = rows[known], left[known], right[known]
    share = (y[rows, 0] - left) / (right - left)
    before[rows] += share * (by[rows] - before[rows])
    by[rows] = before[rows]
    return before, by
