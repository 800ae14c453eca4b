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
from functools import partial
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
_LEAST_AT_ENTRY: Final = -30.0
"""A tool that is there was no rarer than this log chance.

Without it, a life that ended just after its first sight would favour laws by which it could never
have been there, without bound.
"""


@dataclass(frozen=True)
class LogAges:
    """Observations sorted for the likelihood; log ages relative to the handbook life.

    exact: (n,) ends seen.  survived: (k,) ages survived to.  entered: (e,) sure ages at entry.
    interval, unseen, doubtful: pairs (n, 2) of last good and later log age, the last at entry;
        -inf stands for age 0.
    unseen_share: `q`, the share of failures that show only at an inspection.
    """

    exact: Array
    survived: Array
    entered: Array
    interval: Array
    unseen: Array
    doubtful: Array
    unseen_share: float


def log_ages(shares: Observations, unseen_share: float) -> LogAges:
    """Sort observations (already relative to the handbook life) by their contribution."""
    code, entered = shares.code, shares.entry > 0
    doubtful = entered & (shares.entry_low < shares.entry)
    return LogAges(
        exact=np.log(shares.high[code == EXACT]),
        survived=np.log(shares.high[code == CENSORED]),
        entered=np.log(shares.entry[entered & ~doubtful]),
        interval=_log_pairs(shares.low, shares.high, code == INTERVAL),
        unseen=_log_pairs(shares.low, shares.high, code == UNSEEN),
        doubtful=_log_pairs(shares.entry_low, shares.entry, doubtful),
        unseen_share=unseen_share,
    )


def log_likelihood(family: Family, ages: LogAges, m: Array, s: Array) -> Array:
    """Log likelihood on the grid of log medians `m`, shape (i,), and spreads `s`, shape (j,).

    Returns shape (i, j).
    """
    q = ages.unseen_share
    total = _entry_terms(family, ages, m, s)
    if isinstance(family, Weibull):
        total += _weibull_singles(ages, m, s)
    else:
        total += _exact_terms(family, ages.exact, m, s)
        total += _weighted_sum(family.log_survival, ages.survived, m, s)
    total += _pair_sum(family, ages.interval, m, s, _between)
    total += _pair_sum(family, ages.unseen, m, s, partial(_mixed, share=q))
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
    largest = float(x.max())
    powers = np.exp((x - largest)[:, None] * shape).sum(axis=0)
    exponent = shape * (largest - m[:, None]) + LOG_LOG_2
    return np.asarray(seen - powers * np.exp(np.minimum(exponent, LARGEST_EXPONENT)))


def _exact_terms(family: Family, x: Array, m: Array, s: Array) -> Array:
    if isinstance(family, Lognormal) and x.size:
        square = np.square(x - x.mean()).sum() + x.size * np.square(x.mean() - m[:, None])
        constant = np.log(s) + 0.5 * np.log(2 * np.pi)
        return np.asarray(-0.5 * square / s**2 - x.size * constant)
    return _weighted_sum(family.log_density, x, m, s)


def _entry_terms(family: Family, ages: LogAges, m: Array, s: Array) -> Array:
    """Minus the log chance to be there at entry, which no law gets too much credit for."""

    def survived(u: Array, spread: Array) -> Array:
        return np.maximum(family.log_survival(u, spread), _LEAST_AT_ENTRY)

    def survived_or_unseen(at_low: Array, at_high: Array) -> Array:
        return np.maximum(_mixed(at_low, at_high, ages.unseen_share), _LEAST_AT_ENTRY)

    sure = _weighted_sum(survived, ages.entered, m, s)
    return -sure - _pair_sum(family, ages.doubtful, m, s, survived_or_unseen)


def _weighted_sum(term: Callable[[Array, Array], Array], x: Array, m: Array, s: Array) -> Array:
    if not x.size:
        return np.zeros((m.size, s.size))
    knots, weight = _on_knots(x, s)
    values = np.maximum(term(knots[:, None, None] - m[:, None], s), _IMPOSSIBLE)
    return np.asarray(np.einsum("k,kij->ij", weight, values))


def _on_knots(x: Array, s: Array) -> tuple[Array, Array]:
    """Many ages as weights on fewer evenly spaced ones, by cubic interpolation between them.

    The terms are smooth on the scale of the smallest spread; a quarter of it apart, the error of
    a life's log likelihood is below 1e-4 where it matters.
    """
    step = min(0.05, float(s.min()) / 4)
    spread = np.unique(np.floor(x / step)).size
    if x.size <= max(_MOST_DIRECT, spread):
        return x, np.ones(x.size)
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
    mass = np.bincount(place.ravel(), shares.ravel(), knots.size)
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
