"""Families of life laws in one pair of parameters, so that one prior and one grid serve them all.

With `x = log(life / handbook life)`, `m` the log median on that scale and `s` the standard
deviation of log life, every family is a law of `u = x - m`. Densities here are per unit of log
life; per stroke they are divided by the life. For the early-defect family `m` and `s` belong to
the sound majority.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri_exp

Array = NDArray[np.float64]

WEIBULL_SHAPE_TIMES_SPREAD: Final = math.pi / math.sqrt(6.0)
"""Weibull shape times sd of log life: log life is a Gumbel law of sd pi / (sqrt 6 shape)."""

LOG_LOG_2: Final = math.log(math.log(2.0))
_LOG_SQRT_2_PI: Final = 0.5 * math.log(2.0 * math.pi)
LARGEST_EXPONENT: Final = 600.0  # exp stays finite, and sums of thousands of them too
EARLY_LIFE: Final = 0.15
"""Mean life of a tool with an early defect, as a share of the sound median."""


class Family(Protocol):
    """A family of laws of `u = log life - m` with spread `s`; arguments broadcast."""

    @property
    def name(self) -> str:
        """Stable name, in answers and stored forecasts."""
        ...

    def log_survival(self, u: Array, s: Array) -> Array:
        """Log of the chance that log life exceeds `m + u`; <= 0, 0 at u = -inf."""
        ...

    def log_density(self, u: Array, s: Array) -> Array:
        """Log density of log life at `m + u`."""
        ...

    def life_beyond(self, u: Array, s: Array, chance: Array, pick: Array) -> Array:
        """A draw of `u` of the end, given survival to `u`, from two uniforms in (0, 1)."""
        ...


@dataclass(frozen=True)
class Weibull:
    """Weibull law, shape `b = 1.28255 / s`: log S = -log 2 * exp(b u)."""

    name: str = "weibull"

    def log_survival(self, u: Array, s: Array) -> Array:
        """See Family."""
        return -_hazard(u, s)

    def log_density(self, u: Array, s: Array) -> Array:
        """See Family."""
        shape = WEIBULL_SHAPE_TIMES_SPREAD / s
        exponent = np.minimum(shape * u + LOG_LOG_2, LARGEST_EXPONENT)
        return np.log(shape) + exponent - np.exp(exponent)

    def life_beyond(self, u: Array, s: Array, chance: Array, pick: Array) -> Array:
        """See Family. Closed form: the cumulated hazard grows by a unit exponential."""
        grown = _hazard(u, s) - np.log1p(-chance)
        return (np.log(grown) - LOG_LOG_2) * s / WEIBULL_SHAPE_TIMES_SPREAD


@dataclass(frozen=True)
class Lognormal:
    """Lognormal law: log life is normal with mean `m` and standard deviation `s`."""

    name: str = "lognormal"

    def log_survival(self, u: Array, s: Array) -> Array:
        """See Family."""
        return np.asarray(log_ndtr(-u / s), dtype=np.float64)

    def log_density(self, u: Array, s: Array) -> Array:
        """See Family."""
        return -0.5 * (u / s) ** 2 - np.log(s) - _LOG_SQRT_2_PI

    def life_beyond(self, u: Array, s: Array, chance: Array, pick: Array) -> Array:
        """See Family."""
        tail = np.asarray(log_ndtr(-u / s)) + np.log1p(-chance)
        return np.asarray(-s * ndtri_exp(tail), dtype=np.float64)


@dataclass(frozen=True)
class EarlyDefect:
    """A Weibull majority and a share `p` with a defect, exponential with mean 0.15 medians.

    It stands for early failures whose cause nobody recorded.
    """

    share: float

    @property
    def name(self) -> str:
        """See Family."""
        return f"early-defect-{self.share:.2f}"

    def log_survival(self, u: Array, s: Array) -> Array:
        """See Family."""
        sound = math.log1p(-self.share) - _hazard(u, s)
        return _log_of_sum(sound, math.log(self.share) - _defect_hazard(u))

    def log_density(self, u: Array, s: Array) -> Array:
        """See Family."""
        sound = math.log1p(-self.share) + Weibull().log_density(u, s)
        rate = _defect_hazard(u)
        return _log_of_sum(sound, math.log(self.share / EARLY_LIFE) + u - rate)

    def life_beyond(self, u: Array, s: Array, chance: Array, pick: Array) -> Array:
        """See Family. `pick` tells whether the survivor is one with a defect."""
        defect = math.log(self.share) - _defect_hazard(u)
        is_defect = np.log(pick) < defect - self.log_survival(u, s)
        early = np.log(EARLY_LIFE * (_defect_hazard(u) - np.log1p(-chance)))
        return np.where(is_defect, early, Weibull().life_beyond(u, s, chance, pick))


def _log_of_sum(a: Array, b: Array) -> Array:
    """log(e^a + e^b); quicker than numpy's own on large grids. Not both are -inf."""
    return np.maximum(a, b) + np.log1p(np.exp(-np.abs(a - b)))


def _hazard(u: Array, s: Array) -> Array:
    """Cumulated Weibull hazard at `u`, log 2 at the median."""
    exponent = WEIBULL_SHAPE_TIMES_SPREAD / s * u + LOG_LOG_2
    return np.exp(np.minimum(exponent, LARGEST_EXPONENT))


def _defect_hazard(u: Array) -> Array:
    return np.exp(np.minimum(u, LARGEST_EXPONENT)) / EARLY_LIFE


WEIBULL: Final = Weibull()
LOGNORMAL: Final = Lognormal()
EARLY_DEFECTS: Final = (EarlyDefect(0.04), EarlyDefect(0.10), EarlyDefect(0.20))
