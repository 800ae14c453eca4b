"""Confidence bounds about the most likely law: Wald's on the log scale, and likelihood-ratio ones.

Beside the posterior's intervals they are what a textbook gives for the same lives.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtri, ndtri

from duestroke.errors import BadField
from duestroke.inference.families import WEIBULL_SHAPE_TIMES_SPREAD
from duestroke.inference.maximum import MaximumLikelihood

Parameter = Literal["b10", "b50", "spread", "weibull_shape", "weibull_scale"]
"""Names as in the posterior's parameters."""

_CHANCES: Final = {"b10": 0.10, "b50": 0.50, "weibull_scale": -math.expm1(-1.0)}
_STEP: Final = 1e-3
_MOST_STEPS: Final = 30
_FARTHEST: Final = 25.0
"""Standard errors beyond which a likelihood ratio is taken to give no bound."""
_LAST_LOG: Final = 600.0
"""Logs beyond this are no bound at all: data that say next to nothing lead there."""


@dataclass(frozen=True)
class Bounds:
    """An estimate with its bounds; None where the likelihood gives none on that side."""

    estimate: float
    low: float | None
    high: float | None


def wald_bounds(found: MaximumLikelihood, parameter: Parameter, level: float) -> Bounds:
    """Bounds of confidence `level` from the curvature at the maximum, on the log scale."""
    _check(level)
    path = _Path.of(found, parameter)
    half = float(ndtri((1 + level) / 2)) * path.standard_error(found)
    return path.told(path.best - half, path.best + half)


def likelihood_ratio_bounds(found: MaximumLikelihood, parameter: Parameter, level: float) -> Bounds:
    """Bounds at which twice the loss of log likelihood reaches the chi-square point of `level`.

    At each value of the parameter the other one is made most likely again (the profile).
    Source: Meeker and Escobar 1998, Statistical Methods for Reliability Data, section 8.3.
    """
    _check(level)
    path = _Path.of(found, parameter)
    step = path.standard_error(found)
    drop = float(chdtri(1, 1 - level)) / 2
    low, high = (_crossing(path, found, sign * step, drop) for sign in (-1.0, 1.0))
    return path.told(low, high)


def error_of_log_life(spread: float, failures: int) -> float:
    """Standard error of log life from so many failures (> 0) with the spread (> 0) known.

    For a Weibull law 1 / (shape sqrt(failures)); with the shape unknown it is more.
    """
    return spread / WEIBULL_SHAPE_TIMES_SPREAD / math.sqrt(failures)


def _check(level: float) -> None:
    if not 0 < level < 1:
        raise BadField("level", level, "between 0 and 1, both excluded")


@dataclass(frozen=True)
class _Path:
    """A parameter as log spread, or as log quantile `m + slope * s`; the other is free.

    best: its value at the maximum.  slope: None for the spread.  inverted: told as shape.
    scale: what the exponential of a value is multiplied by.
    """

    best: float
    slope: float | None
    inverted: bool
    scale: float

    @staticmethod
    def of(found: MaximumLikelihood, parameter: Parameter) -> _Path:
        log_median, log_spread = (float(x) for x in found.best)
        if parameter in ("spread", "weibull_shape"):
            inverted = parameter == "weibull_shape"
            return _Path(log_spread, None, inverted, WEIBULL_SHAPE_TIMES_SPREAD if inverted else 1)
        log_life = math.log(float(found.law.quantile(_CHANCES[parameter])) / found.law.median)
        slope = log_life / found.law.spread
        return _Path(log_median + log_life, slope, False, found.surface.unit)

    def standard_error(self, found: MaximumLikelihood) -> float:
        if self.slope is None:
            return found.se_log_spread
        gradient = np.array([1.0, self.slope * found.law.spread])
        return math.sqrt(float(gradient @ found.covariance @ gradient))

    def point(self, value: float, free: float) -> tuple[float, float]:
        """Log median and log spread where the parameter is `value` and the other one `free`."""
        if self.slope is None:
            return free, value
        return value - self.slope * math.exp(free), free

    def free_at_best(self, found: MaximumLikelihood) -> float:
        return float(found.best[0 if self.slope is None else 1])

    def told(self, low: float | None, high: float | None) -> Bounds:
        ends = [
            None if end is None or abs(end) > _LAST_LOG else self._tell(end) for end in (low, high)
        ]
        first, last = reversed(ends) if self.inverted else ends
        return Bounds(self._tell(self.best), first, last)

    def _tell(self, value: float) -> float:
        return self.scale * math.exp(-value if self.inverted else value)


def _crossing(path: _Path, found: MaximumLikelihood, step: float, drop: float) -> float | None:
    """Where the profile has lost `drop`, going from the maximum in steps of `step`."""
    top = found.surface(*found.best)
    free = path.free_at_best(found)

    def excess(steps: float) -> float:
        nonlocal free
        value, free = _profile(path, found, path.best + steps * step, free)
        # The square root of the loss is nearly a straight line, which a root finder likes.
        return math.sqrt(max(top - value, 0.0)) - math.sqrt(drop)

    far = 1.0
    while excess(far) < 0:
        far *= 1.6
        if far > _FARTHEST:
            return None
    free = path.free_at_best(found)
    return path.best + step * float(brentq(excess, 0.0, far, xtol=1e-7, rtol=1e-10))


def _profile(
    path: _Path, found: MaximumLikelihood, value: float, free: float
) -> tuple[float, float]:
    """The highest likelihood where the parameter is `value`, by Newton steps in the other one."""

    def at(x: float) -> float:
        return found.surface(*path.point(value, x))

    here = at(free)
    for _ in range(_MOST_STEPS):
        below, above = at(free - _STEP), at(free + _STEP)
        slope, bend = (above - below) / (2 * _STEP), (above - 2 * here + below) / _STEP**2
        move = -slope / bend if bend < 0 else math.copysign(0.25, slope)
        move = min(max(move, -0.5), 0.5)
        there = at(free + move)
        while there < here and abs(move) > _STEP / 100:
            move /= 2
            there = at(free + move)
        if there < here:
            break
        free, gained, here = free + move, there - here, there
        if abs(move) < _STEP / 10 or gained < 1e-12:
            break
    return here, free
