"""One life law with known parameters: the closed forms, in strokes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaincc, gammaln, log_ndtr

from duestroke.errors import BadField
from duestroke.inference.families import (
    LOG_LOG_2,
    LOGNORMAL,
    WEIBULL,
    WEIBULL_SHAPE_TIMES_SPREAD,
    Lognormal,
    Weibull,
)

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Law:
    """A life law: `median` in strokes (> 0) and `spread`, the sd of log life (> 0).

    family: Weibull or lognormal; an early-defect mixture has no closed forms here.
    Raises BadField naming the parameter.
    """

    family: Weibull | Lognormal
    median: float
    spread: float

    def __post_init__(self) -> None:
        for name, value in (("median", self.median), ("spread", self.spread)):
            if not (math.isfinite(value) and value > 0):
                raise BadField(name, value, "a number above 0")

    @staticmethod
    def weibull(*, shape: float, scale: float) -> Law:
        """The Weibull law of shape (no unit, > 0) and characteristic life (strokes, > 0)."""
        return Law(WEIBULL, scale * math.exp(LOG_LOG_2 / shape), WEIBULL_SHAPE_TIMES_SPREAD / shape)

    @staticmethod
    def lognormal(*, mu: float, sigma: float) -> Law:
        """The lognormal law whose log life, in log strokes, has mean `mu` and sd `sigma`."""
        return Law(LOGNORMAL, math.exp(mu), sigma)

    @property
    def shape(self) -> float:
        """Weibull shape of this spread."""
        return WEIBULL_SHAPE_TIMES_SPREAD / self.spread

    @property
    def scale(self) -> float:
        """Weibull characteristic life of this median and spread, strokes."""
        return self.median * math.exp(-LOG_LOG_2 / self.shape)

    @property
    def mean(self) -> float:
        """Mean life, strokes."""
        return self._raw_moment(1)

    @property
    def sd(self) -> float:
        """Standard deviation of the life, strokes."""
        return math.sqrt(self._raw_moment(2) - self.mean**2)

    def survival(self, strokes: ArrayLike) -> Array:
        """Chance to last beyond `strokes` (>= 0); same shape."""
        return np.exp(self._log_survival(np.asarray(strokes, dtype=np.float64)))

    def quantile(self, chance: ArrayLike) -> Array:
        """Life by which the end came with `chance` in (0, 1), strokes; same shape."""
        return self.remaining_quantile(0.0, chance)

    def remaining_quantile(self, age: ArrayLike, chance: ArrayLike) -> Array:
        """Strokes beyond `age` (>= 0) by which the end came with `chance`, given survival to `age`.

        Weibull: scale ((age/scale)^shape - log(1 - chance))^(1/shape) - age. Broadcast shape.
        Source: Meeker and Escobar, Statistical Methods for Reliability Data, conditional laws.
        """
        strokes, p = np.broadcast_arrays(
            np.asarray(age, dtype=np.float64), np.asarray(chance, dtype=np.float64)
        )
        u = self._log_age(strokes)
        life = self.family.life_beyond(u, np.asarray(self.spread), p, p)
        return np.asarray(self.median * np.exp(life) - strokes)

    def mean_remaining(self, age: float) -> float:
        """Mean strokes beyond `age` (>= 0), given survival to `age`.

        Closed forms: the upper incomplete gamma function (Weibull), normal tails (lognormal).
        """
        if age == 0:
            return self.mean
        log_tail = self._log_partial_mean(age)
        survived = float(self._log_survival(np.asarray(age)))
        return math.exp(log_tail - survived) - age

    def _log_age(self, strokes: Array) -> Array:
        with np.errstate(divide="ignore"):  # age 0 is -inf on purpose
            return np.log(strokes / self.median)

    def _log_survival(self, strokes: Array) -> Array:
        return self.family.log_survival(self._log_age(strokes), np.asarray(self.spread))

    def _raw_moment(self, power: int) -> float:
        if isinstance(self.family, Weibull):
            return float(self.scale**power * np.exp(gammaln(1 + power / self.shape)))
        return float(self.median**power * math.exp((power * self.spread) ** 2 / 2))

    def _log_partial_mean(self, age: float) -> float:
        """Log of E[T; T > age]."""
        if isinstance(self.family, Weibull):
            hazard = (age / self.scale) ** self.shape
            return math.log(self.mean * float(gammaincc(1 + 1 / self.shape, hazard)))
        z = (math.log(age / self.median) - self.spread**2) / self.spread
        return math.log(self.mean) + float(log_ndtr(-z))
