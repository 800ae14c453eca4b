"""How forecasts came out: coverage with bounds, ranked probability score, probability transform."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gamma, gammainc, ndtr, ndtri
from scipy.stats import beta, binom

from duestroke.errors import BadField

Array = NDArray[np.float64]


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
    z = float(ndtri((1 + level) / 2))
    share = hits / n
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


def crps_from_draws(draws: ArrayLike, outcome: ArrayLike) -> Array:
    """Ranked probability score of equal-weight draws, in the unit of the outcome; low is good.

    draws: shape (k,) or (n, k).  outcome: scalar or shape (n,).  Returns the outcome's shape.
    E|X - y| - E|X - X'| / 2 over the draws; the second mean comes from the sorted draws in
    k log k. Source: Gneiting and Raftery 2007, J. Am. Stat. Assoc. 102, 359-378, equation 21.
    """
    rising = np.sort(np.asarray(draws, dtype=np.float64), axis=-1)
    seen = np.asarray(outcome, dtype=np.float64)
    k = rising.shape[-1]
    if k == 0:
        raise BadField("draws", "none", "at least one draw")
    ranks = (2 * np.arange(k) - (k - 1)) / k**2
    half_spread = np.sum(rising * ranks, axis=-1)
    return np.asarray(np.mean(np.abs(rising - seen[..., None]), axis=-1) - half_spread)


def crps_normal(outcome: ArrayLike, mean: ArrayLike, sd: ArrayLike) -> Array:
    """Score of a normal forecast, broadcast. Source: Gneiting and Raftery 2007, section 4.2."""
    y, centre, width = _floats(outcome, mean, sd)
    z = (y - centre) / width
    density = np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)
    return np.asarray(width * (z * (2 * ndtr(z) - 1) + 2 * density - 1 / math.sqrt(math.pi)))


def crps_lognormal(outcome: ArrayLike, mu: ArrayLike, sigma: ArrayLike) -> Array:
    """Score of a lognormal forecast whose log has mean `mu` and sd `sigma`, broadcast.

    outcome: > 0.  Source: Baran and Lerch 2015, Q. J. R. Meteorol. Soc. 141, 2289-2299.
    """
    y, centre, width = _floats(outcome, mu, sigma)
    z = (np.log(y) - centre) / width
    tails = ndtr(z - width) + ndtr(width / math.sqrt(2)) - 1
    return np.asarray(y * (2 * ndtr(z) - 1) - 2 * np.exp(centre + width**2 / 2) * tails)


def crps_weibull(outcome: ArrayLike, shape: ArrayLike, scale: ArrayLike) -> Array:
    """Score of a Weibull forecast, broadcast; outcome >= 0, shape and scale > 0.

    From E|X - y| - E|X - X'| / 2 with the incomplete gamma function for the mean below `y`.
    """
    y, power, width = _floats(outcome, shape, scale)
    hazard = (y / width) ** power
    mean = width * gamma(1 + 1 / power)
    below = gammainc(1 + 1 / power, hazard)
    reached = -np.expm1(-hazard)
    return np.asarray(y * (2 * reached - 1) - 2 * mean * below + mean * 2 ** (-1 / power))


def probability_transform(draws: ArrayLike, outcome: float, rng: np.random.Generator) -> float:
    """Rank of an outcome among draws, shape (k,), as a number in [0, 1].

    Uniform when the forecast is right. Ties, such as draws that are due now, are broken at
    random. Source: Czado, Gneiting and Held 2009, Biometrics 65, 1254-1261 (randomised form).
    """
    values = np.asarray(draws, dtype=np.float64)
    below = np.count_nonzero(values < outcome)
    level = np.count_nonzero(values == outcome)
    return float((below + rng.random() * (level + 1)) / (values.size + 1))


def _floats(*arrays: ArrayLike) -> tuple[Array, ...]:
    return tuple(np.asarray(a, dtype=np.float64) for a in arrays)


def _check_counts(hits: int, n: int, level: float) -> None:
    if n < 1:
        raise BadField("n", n, "1 or more")
    if not 0 <= hits <= n:
        raise BadField("hits", hits, f"0 to {n}")
    if not 0 < level < 1:
        raise BadField("level", level, "between 0 and 1, both excluded")
