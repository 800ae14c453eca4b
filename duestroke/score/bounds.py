"""Shares with bounds: how many outcomes lay inside their range, and how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri
from scipy.stats import beta, binom

from duestroke.errors import BadField


@dataclass(frozen=True)
class Coverage:
    """How many of `n` outcomes lay inside their range, below it and above it."""

    n: int
    inside: int
    below: int
    above: int

    @property
    def share(self) -> float:
        """Share inside; NaN without outcomes."""
        return self.inside / self.n if self.n else math.nan


def coverage(outcomes: ArrayLike, low: ArrayLike, high: ArrayLike) -> Coverage:
    """Count outcomes inside their ranges, both ends included; all of shape (n,), one unit."""
    seen, least, most = (np.asarray(a, dtype=np.float64).ravel() for a in (outcomes, low, high))
    below, above = int(np.count_nonzero(seen < least)), int(np.count_nonzero(seen > most))
    return Coverage(seen.size, seen.size - below - above, below, above)


def wilson_bounds(hits: int, n: int, level: float = 0.95) -> tuple[float, float]:
    """Score interval of a binomial share. Source: Wilson 1927, J. Am. Stat. Assoc. 22, 209-212.

    hits: 0 to n.  n: >= 1.  level: in (0, 1).  Raises BadField naming the argument.
    """
    _check_counts(hits, n, level)
    return share_bounds(hits / n, n, level)


def share_bounds(share: float, n: float, level: float = 0.95) -> tuple[float, float]:
    """Wilson's interval of a share (0 to 1) that rests on `n` (> 0) independent outcomes.

    n: need not be whole, where it is what outcomes that depend on each other are worth.
    """
    z = float(ndtri((1 + level) / 2))
    middle = (share + z**2 / (2 * n)) / (1 + z**2 / n)
    half = z / (1 + z**2 / n) * math.sqrt(share * (1 - share) / n + z**2 / (4 * n**2))
    return max(middle - half, 0.0), min(middle + half, 1.0)


def exact_bounds(hits: int, n: int, level: float = 0.95) -> tuple[float, float]:
    """Exact interval of a binomial share. Source: Clopper and Pearson 1934, Biometrika 26, 404.

    Arguments and errors as in wilson_bounds.
    """
    _check_counts(hits, n, level)
    tail = (1 - level) / 2
    low = float(beta.ppf(tail, hits, n - hits + 1)) if hits > 0 else 0.0
    high = float(beta.ppf(1 - tail, hits + 1, n - hits)) if hits < n else 1.0
    return low, high


def acceptance_band(share: float, n: int, level: float = 0.95) -> tuple[int, int]:
    """Counts between which `n` outcomes of chance `share` lie with at least chance `level`.

    The central binomial quantiles. share: 0 to 1.  n: >= 1.  Raises BadField naming the argument.
    """
    if not 0 <= share <= 1:
        raise BadField("share", share, "0 to 1")
    _check_counts(0, n, level)
    tail = (1 - level) / 2
    return int(binom.ppf(tail, n, share)), int(binom.ppf(1 - tail, n, share))


def _check_counts(hits: int, n: int, level: float) -> None:
    if n < 1:
        raise BadField("n", n, "1 or more")
    if not 0 <= hits <= n:
        raise BadField("hits", hits, f"0 to {n}")
    if not 0 < level < 1:
        raise BadField("level", level, "between 0 and 1, both excluded")
