"""Accelerated-life regression by maximum likelihood, with the engine's own likelihood.

Log life is `log median + x . effects + spread * Z`: a covariate stretches or shrinks every life by
the same factor. It tells an engineer what the end codes alone say of an effect, beside the
posterior, which also has priors, readings and groups.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from duestroke.errors import BadField
from duestroke.inference.families import Lognormal, Weibull
from duestroke.inference.law import Law
from duestroke.inference.likelihood import LogAges, log_ages, log_likelihood
from duestroke.inference.maximum import maximum_likelihood
from duestroke.inference.observations import NEGLIGIBLE_AGE, Observations

Array = NDArray[np.float64]

_STEP: Final = 1e-4
_MOST_STEPS: Final = 60


@dataclass(frozen=True)
class Effect:
    """Change of log life for each unit of a covariate, with its standard error."""

    value: float
    standard_error: float

    def bounds(self, level: float) -> tuple[float, float]:
        """Wald bounds of confidence `level` in (0, 1)."""
        half = float(ndtri((1 + level) / 2)) * self.standard_error
        return self.value - half, self.value + half


@dataclass(frozen=True)
class Regression:
    """The most likely law where every covariate is 0, and the effects of the covariates.

    log_likelihood: with densities per stroke.
    covariance: of the effects in order, then log median and log spread (of the scaled effects).
    """

    law: Law
    effects: Mapping[str, Effect]
    log_likelihood: float


def accelerated_life(
    observations: Observations,
    covariates: Mapping[str, Sequence[float]],
    family: Weibull | Lognormal,
) -> Regression:
    """The most likely effects of covariates on log life.

    covariates: by name, a finite number for each life in order.
    Source: Meeker and Escobar 1998, Statistical Methods for Reliability Data, chapter 17.
    Raises BadField when a covariate does not vary or repeats others, has not one number for each
    life, or when the likelihood has no maximum.
    """
    design = _design(observations, covariates)
    problem = _Problem.of(observations, design, family)
    best = _climb(problem)
    covariance = np.linalg.inv(-problem.curvature(best))
    effects = {
        name: Effect(float(best[k] / scale), math.sqrt(covariance[k, k]) / float(scale))
        for k, (name, scale) in enumerate(zip(covariates, problem.scale, strict=True))
    }
    log_median = math.log(problem.unit) + best[-2] - float(best[:-2] @ problem.centre)
    law = Law(family, math.exp(log_median), math.exp(best[-1]))
    return Regression(law, effects, problem.per_stroke(best))


def _design(observations: Observations, covariates: Mapping[str, Sequence[float]]) -> Array:
    for name, values in covariates.items():
        column = np.asarray(values, dtype=np.float64)
        if column.shape != (observations.lives,) or not np.all(np.isfinite(column)):
            raise BadField(name, "a column", f"{observations.lives} finite numbers")
        if observations.lives and np.ptp(column) == 0:
            raise BadField(name, float(column[0]), "a covariate that varies")
    if not covariates:
        raise BadField("covariates", "none", "at least one")
    table = np.stack([np.asarray(values, dtype=np.float64) for values in covariates.values()], 1)
    if np.linalg.matrix_rank(table - table.mean(axis=0)) < table.shape[1]:
        raise BadField("covariates", list(covariates), "none that follows from the others")
    return table


@dataclass(frozen=True)
class _Problem:
    """Lives next to which no age is zero, with covariates of mean 0 and sd 1."""

    observations: Observations
    family: Weibull | Lognormal
    table: Array
    centre: Array
    scale: Array
    unit: float
    start: Array

    @staticmethod
    def of(observations: Observations, design: Array, family: Weibull | Lognormal) -> _Problem:
        without = maximum_likelihood(observations, family)
        unit = without.surface.unit
        seen = observations.high - observations.entry > NEGLIGIBLE_AGE * unit
        kept, table = observations.select(seen), design[seen]
        centre, scale = table.mean(axis=0), table.std(axis=0)
        if np.any(scale == 0):
            raise BadField("covariates", "one", "covariates that vary")
        start = np.concatenate([np.zeros(table.shape[1]), without.best])
        return _Problem(kept, family, (table - centre) / scale, centre / scale, scale, unit, start)

    def __call__(self, at: Array) -> float:
        """Log likelihood per unit of log life at effects, log median and log spread."""
        ages = self._ages(at[:-2])
        value = log_likelihood(self.family, ages, at[-2:-1], np.exp(at[-1:]))
        return float(value[0, 0])

    def per_stroke(self, at: Array) -> float:
        exact = self._ages(at[:-2]).exact
        shift = float((self.table @ at[:-2])[self.observations.code == 0].sum())
        return self(at) - float(exact.sum()) - shift - exact.size * math.log(self.unit)

    def _ages(self, effects: Array) -> LogAges:
        """Ages as each life would have reached them with covariates of 0."""
        factor = self.unit * np.exp(self.table @ effects)
        seen = self.observations
        scaled = Observations(
            seen.code,
            *(each / factor for each in (seen.low, seen.high, seen.entry_low, seen.entry)),
        )
        return log_ages(scaled, seen.unseen_share)

    def slope(self, at: Array) -> Array:
        """First derivatives by central differences."""
        steps = _STEP * np.eye(at.size)
        return np.array([(self(at + step) - self(at - step)) / (2 * _STEP) for step in steps])

    def curvature(self, at: Array) -> Array:
        """Second derivatives by central differences of the likelihood, (p, p)."""
        size, h = at.size, 10 * _STEP
        steps, here = h * np.eye(size), self(at)
        ahead = np.array([self(at + step) for step in steps])
        behind = np.array([self(at - step) for step in steps])
        out = np.diag((ahead - 2 * here + behind) / h**2)
        for i in range(size):
            for j in range(i):
                both = self(at + steps[i] + steps[j]) + self(at - steps[i] - steps[j])
                mixed = both - ahead[i] - ahead[j] - behind[i] - behind[j] + 2 * here
                out[i, j] = out[j, i] = mixed / (2 * h**2)
        return out


def _climb(problem: _Problem) -> Array:
    """Newton's method with halved steps, from the fit without covariates."""
    at, here = problem.start, problem(problem.start)
    for _ in range(_MOST_STEPS):
        slope, bend = problem.slope(at), problem.curvature(at)
        move = _uphill(slope, bend)
        there = problem(at + move)
        while there < here and np.abs(move).max() > 1e-9:
            move = move / 2
            there = problem(at + move)
        if there >= here:
            at, here = at + move, there
        if np.abs(move).max() < 1e-6:
            break
    if np.linalg.eigvalsh(-problem.curvature(at))[0] <= 1e-9 or not np.all(np.isfinite(at)):
        raise BadField("covariates", "effects without a maximum", "failures at different values")
    return at


def _uphill(slope: Array, bend: Array) -> Array:
    """The step to the top of the parabola, or up the slope where there is none."""
    values, vectors = np.linalg.eigh(-bend)
    curved = np.maximum(np.abs(values), 1e-3)
    move = vectors @ ((vectors.T @ slope) / curved)
    longest = float(np.abs(move).max())
    return np.asarray(move if longest <= 1 else move / longest)
