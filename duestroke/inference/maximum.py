"""Maximum likelihood with the engine's own likelihood: for checks of fit, not for forecasts.

Forecasts from a maximum are too narrow with few failures; here it serves as a point of reference
and so that the likelihood can be compared with published fits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.errors import BadField
from duestroke.inference.families import Lognormal, Weibull
from duestroke.inference.law import Law
from duestroke.inference.likelihood import LogAges, log_ages, log_likelihood
from duestroke.inference.observations import NEGLIGIBLE_AGE, Observations

Array = NDArray[np.float64]

_SPREADS_AT_START = np.linspace(math.log(0.05), math.log(3.0), 20)
_SPREADS: Final = (math.log(2e-3), math.log(30.0))
"""Log spreads between which a maximum is one; beyond, the likelihood ran off."""
_STEP: Final = 2e-4
_CLOSE: Final = 1e-7
_NOISE: Final = 1e-9
_MOST_STEPS: Final = 60
_MOST_HALVINGS: Final = 30
_MOST_FINER: Final = 20.0


@dataclass(frozen=True)
class Surface:
    """Log likelihood of one family over log median and log spread, per unit of log life.

    unit: strokes; log medians are relative to it.
    """

    family: Weibull | Lognormal
    ages: LogAges
    unit: float

    def __call__(self, log_median: float, log_spread: float) -> float:
        """The log likelihood at one point."""
        return float(self.around(np.array([log_median, log_spread]), np.zeros(1))[0, 0])

    def around(self, at: Array, steps: Array) -> Array:
        """The log likelihood at all steps (k,) away in either direction, (k, k)."""
        m, log_s = at[0] + steps, at[1] + steps
        return log_likelihood(self.family, self.ages, m, np.exp(log_s))


@dataclass(frozen=True)
class MaximumLikelihood:
    """The law with the highest likelihood, and how sharp that maximum is.

    log_likelihood: with densities per stroke.
    covariance: of (log median, log spread), shape (2, 2), from the observed information.
    surface: the likelihood around it.  best: log median in its unit and log spread, shape (2,).
    """

    law: Law
    log_likelihood: float
    covariance: Array
    surface: Surface = field(repr=False)
    best: Array = field(repr=False)

    @property
    def aic(self) -> float:
        """Akaike's criterion with two parameters."""
        return 4.0 - 2.0 * self.log_likelihood

    @property
    def se_log_spread(self) -> float:
        """Standard error of the log of the spread; that of the log Weibull shape is the same."""
        return math.sqrt(float(self.covariance[1, 1]))

    def se_log_quantile(self, chance: float) -> float:
        """Standard error of the log of the life reached with `chance`, by the delta method."""
        log_life = math.log(float(self.law.quantile(chance)) / self.law.median)
        # log quantile = log median + spread * z, and z does not depend on the parameters.
        slope = np.array([1.0, log_life])
        return math.sqrt(float(slope @ self.covariance @ slope))


def maximum_likelihood(
    observations: Observations, family: Weibull | Lognormal
) -> MaximumLikelihood:
    """The most likely law of a family. Ages in strokes; `q` as the observations say.

    Raises BadField when the lives hold no failure or the likelihood has no maximum, as with all
    failures at one and the same age.
    """
    if observations.failures == 0:
        raise BadField("observations", "no failure", "at least one failure")
    if not np.any(observations.high > observations.entry):
        raise BadField("observations", "lives without a maximum", "lives longer than nothing")
    surface = surface_of(observations, family)

    best, information = _climb(surface)
    law = Law(family, surface.unit * math.exp(best[0]), math.exp(best[1]))
    # The likelihood is per unit of log life; per stroke it loses log t for each end seen.
    exact = surface.ages.exact
    per_stroke = float(exact.sum()) + exact.size * math.log(surface.unit)
    covariance = np.asarray(np.linalg.inv(information), dtype=np.float64)
    return MaximumLikelihood(law, surface(*best) - per_stroke, covariance, surface, best)


def surface_of(observations: Observations, family: Weibull | Lognormal) -> Surface:
    """The likelihood of lives of which at least one was longer than nothing."""
    unit = _unit(observations)
    ages = log_ages(observations.relative_to(unit), observations.unseen_share)
    return Surface(family, ages, unit)


def _unit(observations: Observations) -> float:
    """A typical age, made smaller where lives were so short that they would pass for zero."""
    typical = float(np.median(observations.high[observations.high > 0]))
    in_sight = observations.high - observations.entry
    shortest = 0.9 * float(in_sight[in_sight > 0].min()) / NEGLIGIBLE_AGE
    return min(typical, max(shortest, typical / _MOST_FINER))


def _climb(surface: Surface) -> tuple[Array, Array]:
    """The maximum and the observed information at it, (2,) and (2, 2), by Newton's method.

    Raises BadField when the likelihood has none within the range of spreads.
    """
    at = _start(surface)
    here, slope, information = _parabola(surface, at)
    for _ in range(_MOST_STEPS):
        move = _uphill(slope, information)
        for _ in range(_MOST_HALVINGS):
            there = _parabola(surface, at + move)
            if there[0] >= here - _NOISE:
                break
            move = move / 2
        at, (here, slope, information) = at + move, there
        if not _SPREADS[0] < at[1] < _SPREADS[1]:
            break
        if np.abs(move).max() < _CLOSE and _is_peak(information):
            return at, information
    raise BadField("observations", "lives without a maximum", "failures at different ages")


def _start(surface: Surface) -> Array:
    m = np.linspace(-3.0, 5.0, 81)
    values = log_likelihood(surface.family, surface.ages, m, np.exp(_SPREADS_AT_START))
    i, j = np.unravel_index(int(np.argmax(values)), values.shape)
    return np.array([m[i], _SPREADS_AT_START[j]])


def _parabola(surface: Surface, at: Array) -> tuple[float, Array, Array]:
    """Value, slope and minus the second derivatives at a point, by central differences.

    All nine points are reckoned at once, so that what is approximate in the likelihood is the
    same for each.
    """
    f = surface.around(at, np.array([-_STEP, 0.0, _STEP]))
    slope = np.array([f[2, 1] - f[0, 1], f[1, 2] - f[1, 0]]) / (2 * _STEP)
    mm, ss = f[2, 1] - 2 * f[1, 1] + f[0, 1], f[1, 2] - 2 * f[1, 1] + f[1, 0]
    ms = (f[2, 2] - f[2, 0] - f[0, 2] + f[0, 0]) / 4
    return float(f[1, 1]), slope, -np.array([[mm, ms], [ms, ss]]) / _STEP**2


def _uphill(slope: Array, information: Array) -> Array:
    """Newton's step where the likelihood bends down, else a step up the slope; at most 1."""
    move = np.linalg.solve(information, slope) if _is_peak(information) else slope
    longest = float(np.abs(move).max())
    return np.asarray(move / max(longest, 1.0) if longest > 0 else move)


def _is_peak(information: Array) -> bool:
    return bool(np.all(np.isfinite(information)) and np.linalg.eigvalsh(information)[0] > 1e-9)
