"""Curves beside the model: product-limit and cumulated-hazard estimates, and a law's distance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri, xlog1py, xlogy

from duestroke.errors import BadField
from duestroke.inference.law import Law
from duestroke.inference.observations import INTERVAL, Observations

Array = NDArray[np.float64]

_WIDEST = 50.0
"""Half a width on the log(-log) scale beyond which bounds are 0 and 1."""


@dataclass(frozen=True)
class StepCurve:
    """Product-limit estimate of survival; arrays of shape (n,), one row for each age with an end.

    age: strokes.  survival: just after it.  standard_error: Greenwood's.
    at_risk: lives in sight just before it.  ends: failures at it.
    low, high: pointwise bounds on the log(-log) scale, within 0 to 1.
    """

    age: Array
    survival: Array
    standard_error: Array
    at_risk: NDArray[np.int64]
    ends: NDArray[np.int64]
    low: Array
    high: Array


@dataclass(frozen=True)
class HazardCurve:
    """Nelson-Aalen estimate of the cumulated hazard; arrays of shape (n,), one row for each age.

    age: strokes.  hazard: cumulated up to it and with it.  standard_error: from the sum of
    ends / at risk^2.
    """

    age: Array
    hazard: Array
    standard_error: Array


def step_curve(observations: Observations, level: float = 0.9) -> StepCurve:
    """Kaplan-Meier with delayed entry: a life counts as in sight after its entry.

    An end found at an inspection stands at the age where it was found, so the curve tells when
    ends are found. A life censored at the age of an end was still in sight for it.
    Source: Kaplan and Meier 1958, J. Am. Stat. Assoc. 53, 457-481; Greenwood 1926.
    """
    age, ends, there = in_sight(observations)
    survival: Array = np.asarray(np.cumprod(1 - ends / there), dtype=np.float64)
    open_ended = there > ends
    rest = np.where(open_ended, there - ends, 1.0)
    relative = np.sqrt(np.cumsum(np.where(open_ended, ends / (there * rest), 0.0)))
    error: Array = np.asarray(survival * relative, dtype=np.float64)
    low, high = log_log_bounds(survival, np.asarray(relative, dtype=np.float64), level)
    return StepCurve(age, survival, error, there.astype(np.int64), ends.astype(np.int64), low, high)


def hazard_curve(observations: Observations) -> HazardCurve:
    """Nelson-Aalen with delayed entry; ends at one age are one step of ends / at risk.

    Source: Nelson 1972, Technometrics 14, 945-966; Aalen 1978, Ann. Stat. 6, 701-726.
    """
    age, ends, there = in_sight(observations)
    error = np.sqrt(np.cumsum(ends / there**2))
    return HazardCurve(age, np.cumsum(ends / there), error)


def in_sight(observations: Observations) -> tuple[Array, Array, Array]:
    """Ages with an end, how many ended there, and how many were in sight just before, each (n,)."""
    failed = observations.code <= INTERVAL
    age, ends = np.unique(observations.high[failed], return_counts=True)
    return age, ends.astype(np.float64), at_risk(observations, age, ends)


def at_risk(observations: Observations, age: Array, ends: NDArray[np.int64]) -> Array:
    """Lives in sight just before each age, at least as many as ended there; shape of `age`."""
    entered = np.searchsorted(np.sort(observations.entry), age, side="left")
    gone = np.searchsorted(np.sort(observations.high), age, side="left")
    # An end at the very age of entry can't have been in sight before; it counts for itself.
    return np.asarray(np.maximum(entered - gone, ends), dtype=np.float64)


def log_log_bounds(share: Array, relative_error: Array, level: float) -> tuple[Array, Array]:
    """Pointwise bounds of confidence `level` on the log(-log) scale; a share of 0 or 1 is its own.

    relative_error: standard error of each share over the share.
    """
    inside = (share > 0) & (share < 1)
    safe = np.where(inside, share, 0.5)
    width = np.minimum(float(ndtri((1 + level) / 2)) * relative_error / -np.log(safe), _WIDEST)
    low = np.where(inside, safe ** np.exp(width), share)
    high = np.where(inside, safe ** np.exp(-width), share)
    return low, high


def anderson_darling(law: Law, observations: Observations) -> float:
    """Anderson-Darling distance between the product-limit estimate and a law.

    n times the integral of (Fn - F)^2 / (F (1 - F)) dF up to the last age with an end. With all
    lives seen to their end it is the classical statistic. Small is close: for a law fitted to
    complete data about 0.76 (Weibull) and 0.75 (lognormal) are exceeded in 5 of 100 samples
    (Stephens, in D'Agostino and Stephens 1986, tables 4.17 and 4.7; from memory).
    Raises BadField when no life ended.
    """
    curve = step_curve(observations)
    if not curve.age.size:
        raise BadField("observations", "no failure", "at least one failure")
    reached = np.clip(1 - law.survival(curve.age), 1e-300, 1 - 1e-16)
    return observations.lives * squared_distance(1 - curve.survival, reached)


def squared_distance(estimate: Array, reached: Array) -> float:
    """Integral of (Fn - F)^2 / (F (1 - F)) dF up to the last step, or to 1 where Fn got there.

    estimate, reached: Fn just after each step and F at it, (n,), rising, the latter within (0, 1).
    """
    level = np.concatenate([[0.0], estimate])
    edge = np.concatenate([[0.0], reached])
    total = float(_piece(level[:-1], edge[:-1], edge[1:]).sum())
    if level[-1] >= 1:
        total += float(_piece(level[-1:], edge[-1:], np.ones(1))[0])
    return total


def _piece(estimate: Array, low: Array, high: Array) -> Array:
    """Integral of (c - F)^2 / (F (1 - F)) dF for a constant c between two values of F."""
    return _primitive(estimate, high) - _primitive(estimate, low)


def _primitive(c: Array, reached: Array) -> Array:
    return np.asarray(xlogy(c**2, reached) - xlog1py((1 - c) ** 2, -reached) - reached)
