"""Life laws that rule invented tools: the engine's own families, and others that it does not know.

A law here is anything that tells survival to an age and the life at a chance, both in strokes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincc, gammaincinv

from duestroke.inference.law import Law

Array = NDArray[np.float64]


class LifeLaw(Protocol):
    """A law of lives; ages and lives in strokes, arrays of any shape."""

    def survival(self, strokes: Array) -> Array:
        """Chance to last beyond each age, >= 0."""
        ...

    def quantile(self, chance: Array) -> Array:
        """Life by which the end came with each chance in (0, 1)."""
        ...


@dataclass(frozen=True)
class Gamma:
    """Gamma law of a shape (> 0) and a median."""

    shape: float
    median: float

    @property
    def _scale(self) -> float:
        return float(self.median / gammaincinv(self.shape, 0.5))

    def survival(self, strokes: Array) -> Array:
        """See LifeLaw."""
        return np.asarray(gammaincc(self.shape, np.asarray(strokes) / self._scale))

    def quantile(self, chance: Array) -> Array:
        """See LifeLaw."""
        return np.asarray(self._scale * gammaincinv(self.shape, chance))


@dataclass(frozen=True)
class LogLogistic:
    """Log-logistic law of a shape (> 0) and a median: a heavy upper tail."""

    shape: float
    median: float

    def survival(self, strokes: Array) -> Array:
        """See LifeLaw."""
        return 1.0 / (1.0 + (np.asarray(strokes) / self.median) ** self.shape)

    def quantile(self, chance: Array) -> Array:
        """See LifeLaw."""
        p = np.asarray(chance)
        return self.median * (p / (1 - p)) ** (1 / self.shape)


@dataclass(frozen=True)
class Threshold:
    """No tool ends before `start` strokes; beyond that the rest follows a law."""

    start: float
    rest: LifeLaw

    def survival(self, strokes: Array) -> Array:
        """See LifeLaw."""
        return self.rest.survival(np.maximum(np.asarray(strokes) - self.start, 0.0))

    def quantile(self, chance: Array) -> Array:
        """See LifeLaw."""
        return self.start + self.rest.quantile(chance)


@dataclass(frozen=True)
class Scaled:
    """A law whose lives are all `factor` times as long."""

    law: LifeLaw
    factor: float

    def survival(self, strokes: Array) -> Array:
        """See LifeLaw."""
        return self.law.survival(np.asarray(strokes) / self.factor)

    def quantile(self, chance: Array) -> Array:
        """See LifeLaw."""
        return self.factor * self.law.quantile(chance)


@dataclass(frozen=True)
class Mixture:
    """Laws told apart by nobody, with the share of each; shares sum to 1."""

    parts: tuple[tuple[float, LifeLaw], ...]

    def survival(self, strokes: Array) -> Array:
        """See LifeLaw."""
        return np.asarray(sum(share * law.survival(strokes) for share, law in self.parts))

    def quantile(self, chance: Array) -> Array:
        """See LifeLaw. By halving, since it has no closed form."""
        p = np.asarray(chance, dtype=np.float64)
        ends = [law.quantile(p) for _, law in self.parts]
        low, high = np.minimum.reduce(ends), np.maximum.reduce(ends)
        for _ in range(60):
            middle = (low + high) / 2
            is_early = 1 - self.survival(middle) < p
            low, high = np.where(is_early, middle, low), np.where(is_early, high, middle)
        return np.asarray((low + high) / 2)


def draw(law: LifeLaw, rng: np.random.Generator) -> float:
    """One life, strokes."""
    if isinstance(law, Mixture):
        shares = [share for share, _ in law.parts]
        law = law.parts[int(rng.choice(len(shares), p=shares))][1]
    return float(law.quantile(np.asarray(rng.uniform(1e-12, 1.0))))


def weibull(shape: float, median: float) -> Law:
    """The Weibull law of a shape and a median in strokes."""
    return Law.weibull(shape=shape, scale=median / math.log(2) ** (1 / shape))


def lognormal(spread: float, median: float) -> Law:
    """The lognormal law of a spread and a median in strokes."""
    return Law.lognormal(mu=math.log(median), sigma=spread)
