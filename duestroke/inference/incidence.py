"""Cumulative incidence by mode: the share of tools that have ended by each mode by each age."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from duestroke.errors import BadField
from duestroke.inference.curves import in_sight, log_log_bounds
from duestroke.inference.observations import INTERVAL, Observations

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Incidence:
    """Share ended by one mode; arrays of shape (n,), one row for each age with an end of any mode.

    age: strokes.  share: ended by this mode up to it and with it, the others competing.
    standard_error: of the share.  low, high: pointwise bounds on the log(-log) scale.
    ends: by this mode at each age.
    """

    mode: str
    age: Array
    share: Array
    standard_error: Array
    low: Array
    high: Array
    ends: NDArray[np.int64]


def cumulative_incidence(
    observations: Observations, modes: Sequence[str | None], level: float = 0.9
) -> tuple[Incidence, ...]:
    """Aalen-Johansen estimate by mode, with delayed entry; modes in alphabetical order.

    modes: of each life in order, None where no failure ended it. At each age the shares of all
    modes and the product-limit estimate of survival add up to 1; one minus a product-limit
    estimate of each mode alone would add up to more.
    Source: Aalen and Johansen 1978, Scand. J. Statist. 5, 141-150; variance by the delta method
    as in Marubini and Valsecchi 1995 (from memory), which without censoring is binomial.
    Raises BadField when there is not one mode for each failure.
    """
    failed = observations.code <= INTERVAL
    if len(modes) != observations.lives or any(
        (mode is not None) != bool(is_end) for mode, is_end in zip(modes, failed, strict=True)
    ):
        raise BadField("modes", list(modes)[:5], "a mode for each failure and for no other life")
    age, ends, there = in_sight(observations)
    before = np.concatenate([[1.0], np.cumprod(1 - ends / there)])[: age.size]
    told = sorted({mode for mode in modes if mode is not None})
    found = []
    for mode in told:
        mine = np.array([each == mode for each in modes], dtype=bool)
        place = np.searchsorted(age, observations.high[mine])
        own = np.bincount(place, minlength=age.size).astype(np.float64)
        found.append(_incidence(mode, age, own, ends, there, before, level))
    return tuple(found)


def _incidence(
    mode: str,
    age: Array,
    own: Array,
    ends: Array,
    there: Array,
    before: Array,
    level: float,
) -> Incidence:
    share = np.cumsum(before * own / there)
    error = np.sqrt(np.maximum(_variance(share, own, ends, there, before), 0.0))
    relative = error / np.where(share > 0, share, 1.0)
    low, high = log_log_bounds(share, relative, level)
    return Incidence(mode, age, share, error, low, high, own.astype(np.int64))


def _variance(share: Array, own: Array, ends: Array, there: Array, before: Array) -> Array:
    """Delta method; the last life in sight, whose survival is 0, adds no term of the first sum."""
    rest = np.where(there > ends, there - ends, 1.0)
    survived = np.where(there > ends, ends / (there * rest), 0.0)
    jump = before**2 * own * (there - own) / there**3
    both = before * own / there**2
    # (I(t) - I(u))^2 and (I(t) - I(u)) summed over u up to t, from running sums.
    square = share**2 * np.cumsum(survived) - 2 * share * np.cumsum(share * survived)
    square += np.cumsum(share**2 * survived)
    crossed = share * np.cumsum(both) - np.cumsum(share * both)
    return np.asarray(square + np.cumsum(jump) - 2 * crossed)
