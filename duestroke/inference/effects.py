"""Exponents of life: what rate, ram ratio and the number of reworks do to it.

Each multiplies life by a power (or an exponential) of a covariate, so that on log life it is a
shift in proportion to the covariate. A few points of its exponent carry its posterior.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from duestroke.inference.posterior import Interval

Array = NDArray[np.float64]

KNOWN_SHARE: Final = 0.8
"""An interval wider than this part of the prior's says nothing new."""
NOT_KNOWN: Final = "not known from these records"
LEAST_SPEED_SPREAD: Final = 0.03
"""Below this sd of log speed between lives, the rate exponent stays at its prior mean."""
LEAST_ROUGHNESS_SPREAD: Final = 0.005
_REACH: Final = 2.8


@dataclass(frozen=True)
class Effect:
    """What the records say of one exponent.

    interval: posterior median with its 5 and 95 % points.  prior: the same before any life.
    known: whether the records narrowed it to 0.8 of the prior's width or less.
    """

    interval: Interval
    prior: Interval
    known: bool

    @property
    def words(self) -> str:
        """The figure with its range, or that it is not known."""
        if not self.known:
            return NOT_KNOWN
        one = self.interval
        return f"{one.median:.2g} ({one.low:.2g} to {one.high:.2g})"


@dataclass(frozen=True)
class Exponents:
    """Even points of an exponent with prior or posterior mass, (k,); one point where it is fixed.

    varies: whether the covariate differs enough between lives for the records to speak of it.
    least: bound below which it can't lie.
    inside: prior chance of the range of the points.
    """

    mean: float
    scale: float
    points: Array
    mass: Array
    varies: bool
    least: float = -math.inf
    inside: float = 1.0

    @property
    def centre(self) -> float:
        """Mean under the masses."""
        return float(self.points @ self.mass)

    @property
    def sd(self) -> float:
        """Standard deviation under the masses."""
        return math.sqrt(float(self.mass @ (self.points - self.centre) ** 2))

    @property
    def open_sd(self) -> float:
        """Standard deviation, not below what even points can tell."""
        return max(self.sd, 0.5 * float(self.points[1] - self.points[0]))

    def weighted(self, log_evidence: Array) -> Exponents:
        """With the evidence of each point taken in."""
        weight = self.mass * np.exp(log_evidence - log_evidence.max())
        return self._with(self.points, weight / weight.sum())

    def about(self, centre: float, reach: float, count: int) -> Exponents:
        """Prior masses on `count` points within `reach` of a centre and within the prior's."""
        low = max(centre - reach, self.mean - _REACH * self.scale, self.least)
        high = min(centre + reach, self.mean + _REACH * self.scale)
        if high <= low:
            low, high = centre - reach, centre + reach
        points = np.linspace(low, high, count)
        mass = np.exp(-0.5 * ((points - self.mean) / self.scale) ** 2)
        inside = (self._below(high) - self._below(low)) / (1 - self._below(self.least))
        return replace(self._with(points, mass / mass.sum()), inside=max(inside, 1e-12))

    def told(self) -> Effect:
        """The effect in a few numbers."""
        prior = self._prior()
        if not self.varies or self.points.size < 2:
            return Effect(prior, prior, known=False)
        found = _quantiles(self.points, self.mass)
        known = found.high - found.low <= KNOWN_SHARE * (prior.high - prior.low)
        return Effect(found, prior, known)

    def _with(self, points: Array, mass: Array) -> Exponents:
        return replace(self, points=points, mass=mass)

    def _below(self, value: float) -> float:
        return float(ndtr((value - self.mean) / self.scale))

    def _prior(self) -> Interval:
        low = max(self.mean - 5 * self.scale, self.least)
        points = np.linspace(low, self.mean + 5 * self.scale, 2001)
        mass = np.exp(-0.5 * ((points - self.mean) / self.scale) ** 2)
        return _quantiles(points, mass / mass.sum())


def exponents(
    mean: float, scale: float, *, count: int, varies: bool, least: float = -math.inf
) -> Exponents:
    """A normal prior on `count` even points; one point at the mean where nothing varies."""
    fixed = Exponents(mean, scale, np.array([mean]), np.ones(1), varies, least)
    return fixed.about(mean, _REACH * scale, count) if varies else fixed


def _quantiles(points: Array, mass: Array) -> Interval:
    """Quantiles of masses on even points, each spread evenly over its cell."""
    step = points[1] - points[0]
    edges = np.concatenate([[points[0]], points[:-1] + step / 2, [points[-1]]])
    reached = np.concatenate([[0.0], np.cumsum(mass)]) / mass.sum()
    low, median, high = np.interp([0.05, 0.5, 0.95], reached, edges).tolist()
    return Interval(median, low, high)
