"""Tools without readings given what they survived: as RemainingLife has it, many at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.ahead_curve import hazard_of
from duestroke.inference.ahead_table import Table

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

_LEAST_LOG: Final = -600.0
"""A node under which a tool's age is less likely than e^-600 leaves the range of floats."""
_TINY: Final = 1e-300
_NEAR: Final = np.concatenate([np.geomspace(1e-8, 0.04, 16), np.geomspace(0.06, 1.0, 12)])
_QUICK: Final = -0.3
_STEEP: Final = 0.002
"""Where more weight lies on nodes under which few last to the next age of the table, their end is
looked at more closely."""


@dataclass(frozen=True)
class Survivors:
    """Tools of one mode given their past: chance that the end is past (n,), and what lasts.

    ages, hazard: cumulated hazard of those that last, at rising ages, (n, k).  is_lost: they lie
    beyond the tables.
    """

    due: Array
    ages: Array
    hazard: Array
    is_lost: Flags


def survivors(table: Table, weights: Array, ages: Array, low: Array, q: Array) -> Survivors:
    """As RemainingLife has it, for many tools at once.

    Under each node a tool of age `a` last found good at `l` has come to its end unseen with chance
    `q (S(l) - S(a)) / (q S(l) + (1 - q) S(a))`, else it lasts.
    """
    at_age = table.log_survival_at(ages)
    lasting = np.exp(at_age - table.log_survival_at(low))
    share = q[:, None]
    gone = share * (1 - lasting) / np.maximum(share + (1 - share) * lasting, _TINY)
    due = np.minimum((weights * gone).sum(axis=1), 1.0)
    staying = weights * (1 - gone) / np.maximum(1 - due, _TINY)[:, None]
    # Under a node that all but excludes the tool's age it ends at once: nothing lasts to the next.
    own = np.where(at_age > _LEAST_LOG, staying * np.exp(-np.maximum(at_age, _LEAST_LOG)), 0.0)
    left = np.where(table.ages <= ages[:, None], 1.0, (table.survival @ own.T).T)
    near = np.repeat(ages[:, None], _NEAR.size, axis=1)
    near_left = np.ones(near.shape)
    first = np.minimum(np.searchsorted(table.ages, ages, side="right"), table.ages.size - 2)
    is_quick = table.log_survival[first] - at_age < _QUICK
    for row in np.flatnonzero((staying * is_quick).sum(axis=1) > _STEEP):
        near[row] = ages[row] + (table.ages[first[row] + 1] - ages[row]) * _NEAR
        logs = table.log_survival_at(near[row]) - at_age[row]
        near_left[row] = np.exp(np.minimum(logs, 0.0)) @ staying[row]
    at = np.hstack([np.broadcast_to(table.ages, left.shape), near])
    order = np.argsort(at, axis=1, kind="stable")
    values = np.take_along_axis(np.hstack([left, near_left]), order, axis=1)
    is_lost = ages >= table.ages[-3]
    return Survivors(due, np.take_along_axis(at, order, axis=1), hazard_of(values), is_lost)
