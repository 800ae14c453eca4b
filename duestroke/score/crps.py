"""Ranked probability scores: of draws, of closed forms, of kept quantiles with open outcomes."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gamma, gammainc, ndtr

from duestroke.errors import BadField

Array = NDArray[np.float64]


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


def _floats(*arrays: ArrayLike) -> tuple[Array, ...]:
    return tuple(np.asarray(a, dtype=np.float64) for a in arrays)


PARTS: Final = 5
"""An outcome known to lie in a range is taken at so many points, evenly over it."""


def crps_of_quantiles(
    levels: ArrayLike, quantiles: ArrayLike, low: ArrayLike, high: ArrayLike
) -> Array:
    """Score of forecasts kept as quantiles, against outcomes known to lie in `low` to `high`; (n,).

    levels: (k,), rising in (0, 1).  quantiles: (n, k), each >= 0, rising with the level; linear
    between, from 0 below the first, a step at the last.  low, high: (n,), finite and equal for an
    outcome known exactly; an outcome in a range counts as lying anywhere in it.  `high` infinite:
    still to come, and the score is the part of it that is certain, up to `low`. Such parts must
    not be averaged with whole scores: that would favour early forecasts.
    The integral of `(F - 1{y <= x})^2`; Gneiting and Raftery 2007, equation 20.
    """
    p = np.concatenate(([0.0], np.asarray(levels, dtype=np.float64)))
    x = np.asarray(quantiles, dtype=np.float64)
    x = np.concatenate((np.zeros((len(x), 1)), x), axis=1)
    least, most = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    is_open = np.isinf(most)
    width = np.where(is_open, 0.0, most - np.where(is_open, 0.0, least))
    parts = [_score_at(x, p, least + (k + 0.5) / PARTS * width, is_open) for k in range(PARTS)]
    return np.asarray(np.mean(parts, axis=0))


def _score_at(x: Array, p: Array, outcome: Array, is_open: NDArray[np.bool_]) -> Array:
    at = outcome[:, None]
    below = _squares(x, p, at)
    above = np.where(is_open, 0.0, _squares(-x[:, ::-1], 1 - p[::-1], -at))
    return np.asarray(below + above + np.maximum(outcome - x[:, -1], 0.0))


def _squares(x: Array, p: Array, upto: Array) -> Array:
    """Integral up to `upto` of the square of the line through (x, p).

    x: (n, k) rising.  p: (k,).  upto: (n, 1).
    """
    width = np.diff(x, axis=1)
    part = np.clip(upto - x[:, :-1], 0.0, width)
    share = np.divide(part, width, out=np.zeros_like(part), where=width > 0)
    end = p[:-1] + share * np.diff(p)
    return np.asarray(np.sum(part * (p[:-1] ** 2 + p[:-1] * end + end**2) / 3, axis=1))
