"""Where the posterior of a mode lies, in log median and spread: found on a coarse lattice."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.families import Family
from duestroke.inference.lattice import Axis
from duestroke.inference.relative import Told
from duestroke.inference.rows import covering, everyone, rows_on

Array = NDArray[np.float64]
LogPrior = Callable[[Array, Array], Array]
"""Log prior density per unit of `m` and of `log s`; arguments broadcast."""

LEAST_SPREAD: Final = 0.06
"""Spreads below this are not told apart: no tool repeats its life more closely."""
_LARGEST_SPREAD: Final = 12.0
_STEP: Final = 0.08
_LOG_STEP: Final = 0.22
_EDGE: Final = 0.002
_DEPTH: Final = 12.0
_HARDLY: Final = 0.005
_MOST_ROUNDS: Final = 10
_FURTHEST: Final = 16.0


@dataclass(frozen=True)
class Place:
    """Ranges of log median and log spread that hold the weight, and the families' evidences.

    least_log_s: log spread with hardly any weight below it.
    """

    m: tuple[float, float]
    log_s: tuple[float, float]
    least_log_s: float
    log_evidence: dict[str, float]


def locate(told: Told, families: Mapping[Family, float], log_prior: LogPrior) -> Place:
    """Look for the weight of all families together; the range grows while it lies on an edge."""
    m, log_s = (-2.2, 2.2), (math.log(0.1), math.log(1.8))
    for _ in range(_MOST_ROUNDS):
        axis = Axis.over(*m, _STEP)
        spreads = np.arange(log_s[0], log_s[1] + _LOG_STEP, _LOG_STEP)
        logs = _log_posteriors(told, families, log_prior, axis, spreads)
        joint = np.logaddexp.reduce(np.array(list(logs.values())))
        share = np.exp(joint - joint.max())
        share /= share.sum()
        grown = _grow(m, share.sum(axis=0), -_FURTHEST, _FURTHEST)
        grown_s = _grow(log_s, share.sum(axis=1), math.log(LEAST_SPREAD), math.log(_LARGEST_SPREAD))
        if (grown, grown_s) == (m, log_s):
            break
        m, log_s = grown, grown_s
    return Place(
        _near(axis.points, joint.max(axis=0)),
        _near(spreads, joint.max(axis=1)),
        float(np.interp(_HARDLY, np.cumsum(share.sum(axis=1)), spreads)),
        {name: float(np.logaddexp.reduce(value.ravel())) for name, value in logs.items()},
    )


def _log_posteriors(
    told: Told, families: Mapping[Family, float], log_prior: LogPrior, m: Axis, log_s: Array
) -> dict[str, Array]:
    rows, s = rows_on(told, covering([told], m)), np.exp(log_s)
    prior = log_prior(m.points, s[:, None])
    return {
        family.name: math.log(weight)
        + prior
        + rows.log_likelihood(family, m, s, everyone(told.lives))[0]
        for family, weight in families.items()
    }


def _grow(
    span: tuple[float, float], share: Array, least: float, most: float
) -> tuple[float, float]:
    half = (span[1] - span[0]) / 2
    low = max(span[0] - half, least) if share[0] > _EDGE else span[0]
    high = min(span[1] + half, most) if share[-1] > _EDGE else span[1]
    return low, high


def _near(points: Array, profile: Array) -> tuple[float, float]:
    """The range of the points near the peak, with one step beside it."""
    near = np.flatnonzero(profile > profile.max() - _DEPTH)
    first, last = max(near[0] - 1, 0), min(near[-1] + 1, points.size - 1)
    return float(points[first]), float(points[last])
