"""When a Wiener process with drift first reaches a limit: the inverse Gaussian law.

Source: closed form; Chhikara and Folks, The Inverse Gaussian Distribution. The second term of the
distribution function grows without bound while its normal tail vanishes: it is taken in logs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import log_ndtr, ndtr

from duestroke.errors import BadField

Array = NDArray[np.float64]

_HALVINGS: Final = 80
_REACH: Final = 60.0
"""Quantiles are looked for within e^60 of the scale of the passage."""


@dataclass(frozen=True)
class FirstPassage:
    """First passage of a Wiener process that starts `distance` under its limit.

    drift: towards the limit a stroke; below 0 it may never come there.  sigma: roughness a square
    root of a stroke, > 0.  distance: part of the limit that is left; at or below 0 it is there.
    Raises BadField naming the figure that is out of range.
    """

    drift: float
    sigma: float
    distance: float

    def __post_init__(self) -> None:
        for name in ("drift", "distance"):
            if not math.isfinite(getattr(self, name)):
                raise BadField(name, getattr(self, name), "a finite number")
        if not (math.isfinite(self.sigma) and self.sigma > 0):
            raise BadField("sigma", self.sigma, "a number above 0")

    @property
    def chance(self) -> float:
        """Chance that the limit is reached at all: 1 unless the drift leads away from it."""
        if self.drift >= 0 or self.distance <= 0:
            return 1.0
        return math.exp(2 * self.drift * self.distance / self.sigma**2)

    @property
    def mean(self) -> float:
        """Mean strokes to the limit; infinite unless the drift leads there."""
        if self.distance <= 0:
            return 0.0
        return self.distance / self.drift if self.drift > 0 else math.inf

    @property
    def variance(self) -> float:
        """Variance of the strokes to the limit; infinite unless the drift leads there."""
        if self.distance <= 0:
            return 0.0
        return self.distance * self.sigma**2 / self.drift**3 if self.drift > 0 else math.inf

    def cdf(self, strokes: ArrayLike) -> Array:
        """Chance to have reached the limit within `strokes` (>= 0); same shape."""
        t = np.asarray(strokes, dtype=np.float64)
        if self.distance <= 0:
            return np.ones_like(t)
        return passage_chance(t, self.drift, self.sigma, self.distance)

    def quantile(self, chance: ArrayLike) -> Array:
        """Strokes within which the limit is reached with `chance` in (0, 1); same shape.

        Infinite at chances with which it is never reached.
        """
        p = np.asarray(chance, dtype=np.float64)
        if self.distance <= 0:
            return np.zeros_like(p)
        low, high = np.full_like(p, -_REACH), np.full_like(p, _REACH)
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            is_early = self.cdf(self._unit * np.exp(middle)) < p
            low, high = np.where(is_early, middle, low), np.where(is_early, high, middle)
        return np.where(p < self.chance, self._unit * np.exp((low + high) / 2), np.inf)

    @property
    def _unit(self) -> float:
        """Strokes in which roughness or drift alone may come to the limit."""
        by_roughness = (self.distance / self.sigma) ** 2
        return min(by_roughness, self.distance / self.drift) if self.drift > 0 else by_roughness


def passage_chance(
    strokes: Array, drift: ArrayLike, sigma: ArrayLike, distance: ArrayLike
) -> Array:
    """Chance that a Wiener process passes `distance` (> 0) within `strokes` (>= 0); broadcast.

    Phi((drift t - distance) / (sigma sqrt t))
    + exp(2 drift distance / sigma^2) Phi(-(drift t + distance) / (sigma sqrt t)).
    """
    v, sd, d = (np.asarray(value, dtype=np.float64) for value in (drift, sigma, distance))
    root = sd * np.sqrt(np.maximum(strokes, np.finfo(np.float64).tiny))
    direct = ndtr((v * strokes - d) / root)
    mirrored = 2 * v * d / sd**2 + log_ndtr(-(v * strokes + d) / root)
    # Rounding of two large figures may leave the sum a shade above 0.
    return np.asarray(np.minimum(direct + np.exp(np.minimum(mirrored, 0.0)), 1.0))
