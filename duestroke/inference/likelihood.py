"""Log likelihood of life observations under a family, at many parameter points at once.

Contributions (Meeker and Escobar, Statistical Methods for Reliability Data, chapters 7 and 11):
a failure seen at `t` gives `log f(t)`, one between `l` and `u` gives `log(S(l) - S(u))`, a life
that survived to `c` gives `log S(c)`, a first sight at age `e` takes `log S(e)` away. A tool still
in at `a` and last found good at `l` survived with chance `q S(l) + (1-q) S(a)`, where `q` is the
share of failures that show only at an inspection; the same holds at entry.

Ages come as `x = log(age / handbook life)`; densities are per unit of log life.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.families import (
    LARGEST_EXPONENT,
    LOG_LOG_2,
    WEIBULL_SHAPE_TIMES_SPREAD,
    Family,
    Lognormal,
    Weibull,
)
from duestroke.inference.observations import CENSORED, EXACT, INTERVAL, UNSEEN, Observations

Array = NDArray[np.float64]

_MOST_DIRECT: Final = 96
"""Up to this many ages are taken one by one; more are put on knots."""
_CHUNK: Final = 200_000
_IMPOSSIBLE: Final = -1e6


@dataclass(frozen=True)
class LogAges:
    """Observations sorted for the likelihood; log ages relative to the handbook life.

    exact: (n,) ends seen.  survived, weight: (k,) ages survived to, +1 each, and entries, -1 each.
    interval, unseen, entries: pairs (n, 2) of last good and later log age; -inf stands for age 0.
    unseen_share: `q` of Observations.
    """

    exact: Array
    survived: Array
    weight: Array
    interval: Array
    unseen: Array
    entries: Array
    unseen_share: float


def log_ages(shares: Observations) -> LogAges:
    """Sort observations (already relative to the handbook life) by their contribution."""
    code, entered = shares.code, shares.entry > 0
    doubtful = entered & (shares.entry_low < shares.entry)
    surely = entered & ~doubtful
    censored = code == CENSORED
    survived = np.concatenate([shares.high[censored], shares.entry[surely]])
    weight = np.concatenate([np.ones(int(censored.sum())), -np.ones(int(surely.sum()))])
    return LogAges(
        exact=np.log(shares.high[code == EXACT]),
        survived=np.log(survived),
        weight=weight,
        interval=_log_pairs(shares.low, shares.high, code == INTERVAL),
        unseen=_log_pairs(shares.low, shares.high, code == UNSEEN),
        entries=_log_pairs(shares.entry_low, shares.entry, doubtful),
        unseen_share=shares.unseen_share,
    )


def log_likelihood(family: Family, ages: LogAges, m: Array, s: Array) -> Array:
    """Log likelihood on the grid of log medians `m`, shape (i,), and spreads `s`, shape (j,).

    Returns shape (i, j).
    """
    if isinstance(family, Weibull):
        total = _weibull_singles(ages, m, s)
    else:
        total = _exact_terms(family, ages.exact, m, s)
        total += _survival_terms(family, ages, m, s)
    q = ages.unseen_share
    total += _pair_sum(family, ages.interval, m, s, _between)
    total += _pair_sum(
        family, ages.unseen, m, s, lambda at_low, at_high: _mixed(at_low, at_high, q)
    )
    total -= _pair_sum(
        family, ages.entries, m, s, lambda at_low, at_high: _mixed(at_low, at_high, q)
    )
    return total


def _log_pairs(low: Array, high: Array, rows: NDArray[np.bool_]) -> Array:
    with np.errstate(divide="ignore"):  # age 0 is -inf on purpose
        return np.log(np.stack([low[rows], high[rows]], axis=1))


def _weibull_singles(ages: LogAges, m: Array, s: Array) -> Array:
    """Seen ends and survived ages at once: the sum of `age ** shape` depends on the shape only."""
    shape = WEIBULL_SHAPE_TIMES_SPREAD / s
    n, exact = ages.exact.size, ages.exact
    seen: Array = n * np.log(shape) + n * LOG_LOG_2 + shape * (exact.sum() - n * m[:, None])
    x = np.concatenate([exact, ages.survived])
    if not x.size:
        return seen
    weight = np.concatenate([np.ones(n), ages.weight])
    largest = float(x.max())
    powers = np.einsum("k,kj->j", weight, np.exp((x - largest)[:, None] * shape))
    exponent = shape * (largest - m[:, None]) + LOG_LOG_2
    return np.asarray(seen - powers * np.exp(np.minimum(exponent, LARGEST_EXPONENT)))


def _exact_terms(family: Family, x: Array, m: Array, s: Array) -> Array:
    if isinstance(family, Lognormal) and x.size:
        square = np.square(x - x.mean()).sum() + x.size * np.square(x.mean() - m[:, None])
        constant = np.log(s) + 0.5 * np.log(2 * np.pi)
        return np.asarray(-0.5 * square / s**2 - x.size * constant)
    return _weighted_sum(family.log_density, *_on_knots(x, np.ones(x.size), s), m, s)


def _survival_terms(family: Family, ages: LogAges, m: Array, s: Array) -> Array:
    x, weight = _on_knots(ages.survived, ages.weight, s)
    return _weighted_sum(family.log_survival, x, weight, m, s)


def _weighted_sum(
    term: Callable[[Array, Array], Array], x: Array, weight: Array, m: Array, s: Array
) -> Array:
    if not x.size:
        return np.zeros((m.size, s.size))
    values = np.maximum(term(x[:, None, None] - m[:, None], s), _IMPOSSIBLE)
    return np.asarray(np.einsum("k,kij->ij", weight, values))


def _on_knots(x: Array, weight: Array, s: Array) -> tuple[Array, Array]:
    """Many ages as weights on fewer evenly spaced ones, by cubic interpolation between them.

    The terms are smooth on the scale of the smallest spread; a quarter of it apart, the error of
    a life's log likelihood is below 1e-4 where it matters.
    """
    step = min(0.05, float(s.min()) / 4)
    spread = np.unique(np.floor(x / step)).size
    if x.size <= max(_MOST_DIRECT, spread):
        return x, weight
    below = np.floor(x / step)
    part = x / step - below
    shares = np.stack(
        [
            -part * (part - 1) * (part - 2) / 6,
            (part + 1) * (part - 1) * (part - 2) / 2,
            -(part + 1) * part * (part - 2) / 2,
            (part + 1) * part * (part - 1) / 6,
        ]
    )
    knots, place = np.unique(below + np.arange(-1, 3)[:, None], return_inverse=True)
    mass = np.bincount(place.ravel(), (shares * weight).ravel(), knots.size)
    return np.asarray(knots * step), mass.astype(np.float64)


def _pair_sum(
    family: Family,
    pairs: Array,
    m: Array,
    s: Array,
    term: Callable[[Array, Array], Array],
) -> Array:
    total = np.zeros((m.size, s.size))
    rows = max(1, _CHUNK // total.size)
    for start in range(0, len(pairs), rows):
        low, high = (part[:, None, None] - m[:, None] for part in pairs[start : start + rows].T)
        values = term(family.log_survival(low, s), family.log_survival(high, s))
        total += np.maximum(values, _IMPOSSIBLE).sum(axis=0)
    return total


def _between(at_low: Array, at_high: Array) -> Array:
    """log(S(low) - S(high)) from the two logs."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return at_low + np.log(-np.expm1(at_high - at_low))


def _mixed(at_low: Array, at_high: Array, share: float) -> Array:
    """log(share S(low) + (1 - share) S(high)) from the two logs."""
    return at_low + np.log(share + (1 - share) * np.exp(at_high - at_low))
