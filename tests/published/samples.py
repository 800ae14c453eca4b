"""Random lives from stated laws, censored in every way a record can be, each made by its seed.

Both the script that asks other libraries for the most likely law and the test that compares with
them draw here. Only plain uniforms are drawn, whose stream numpy keeps from version to version.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

SCHEMES = ("right", "truncated", "interval", "interval-truncated")
FAMILIES = ("weibull", "lognormal")
SEEDS = range(26_000, 26_240)


@dataclass(frozen=True)
class Sample:
    """Lives: first seen at `entry`; ended between `low` and `high` (equal: seen; inf: not)."""

    family: str
    scheme: str
    entry: np.ndarray
    low: np.ndarray
    high: np.ndarray

    @property
    def ended(self) -> np.ndarray:
        """Which lives ended."""
        return np.isfinite(self.high)

    @property
    def check_sum(self) -> float:
        """Tells whether the sample is the one that the stored figures were made from."""
        return float(np.round(self.entry.sum() + self.low.sum() + self.high[self.ended].sum(), 6))


def sample(seed: int) -> Sample:
    """The sample of a seed: family and scheme follow from it, size and law are drawn."""
    rng = np.random.default_rng(seed)
    family, scheme = FAMILIES[seed % 2], SCHEMES[seed // 2 % 4]
    count = 12 + int(rng.random() * 60)
    spread, scale = 0.2 + 0.8 * rng.random(), 20 + 60 * rng.random()
    entry = np.zeros(count)
    if scheme.endswith("truncated"):
        entry = np.where(rng.random(count) < 0.6, 0.6 * scale * rng.random(count), 0.0)
    life = _life_beyond(family, entry, scale, spread, rng.random(count))
    last = entry + scale * (0.3 + 1.5 * rng.random(count))
    if not scheme.startswith("interval"):
        ended = life <= last
        return Sample(family, scheme, entry, np.where(ended, life, last), _or_never(ended, life))
    every = scale * (0.15 + 0.35 * rng.random(count))
    looks = np.floor((life - entry) / every)
    low, high = entry + looks * every, entry + (looks + 1) * every
    ended = high <= last
    seen = ended & (rng.random(count) < 0.3)
    sound = entry + np.floor((last - entry) / every) * every
    low = np.where(seen, life, np.where(ended, low, np.maximum(sound, entry + 0.05 * scale)))
    return Sample(family, scheme, entry, low, np.where(seen, life, _or_never(ended, high)))


def _or_never(ended: np.ndarray, age: np.ndarray) -> np.ndarray:
    return np.where(ended, age, np.inf)


def _life_beyond(
    family: str, entry: np.ndarray, scale: float, spread: float, chance: np.ndarray
) -> np.ndarray:
    if family == "weibull":
        shape = 1 / spread
        return scale * ((entry / scale) ** shape - np.log1p(-chance)) ** (1 / shape)
    with np.errstate(divide="ignore"):
        z = (np.log(entry) - math.log(scale)) / spread
    survived = np.array([0.5 * math.erfc(x / math.sqrt(2)) for x in z])
    return scale * np.exp(-spread * ndtri(survived * (1 - chance)))
