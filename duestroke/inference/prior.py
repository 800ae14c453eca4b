"""What is believed of a tool's life before any was seen: visible, and for a plant to change."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from duestroke.errors import BadField
from duestroke.inference.families import EARLY_DEFECTS, LOGNORMAL, WEIBULL, Family
from duestroke.names import DEFAULT_SPREAD

Array = NDArray[np.float64]

FAMILIES: Final[MappingProxyType[str, Family]] = MappingProxyType(
    {family.name: family for family in (WEIBULL, LOGNORMAL, *EARLY_DEFECTS)}
)
"""The families by name."""

_WEIGHTS: Final = MappingProxyType(
    {
        "weibull": 0.45,
        "lognormal": 0.35,
        "early-defect-0.04": 0.08,
        "early-defect-0.10": 0.07,
        "early-defect-0.20": 0.05,
    }
)


@dataclass(frozen=True)
class Prior:
    """Prior of log median and spread about the plant's own handbook figures.

    median_df, median_scale: Student t of `log(median / handbook life)`: 90 % of medians within
        a factor of 2.5, with heavy tails so that a wrong handbook is overruled.
    spread_scale: sd of the log of the spread about the handbook spread; 90 % of Weibull shapes
        between 1.3 and 5.3 at the default spread of 0.48. Common practice for wear-out of
        tooling, no source.
    families: prior weight of each family by name; sums to 1.
    Raises BadField naming the field.
    """

    median_df: float = 5.0
    median_scale: float = 0.45
    spread_scale: float = 0.42
    families: Mapping[str, float] = field(default_factory=lambda: _WEIGHTS)

    def __post_init__(self) -> None:
        for name in ("median_df", "median_scale", "spread_scale"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value > 0):
                raise BadField(f"prior.{name}", value, "a number above 0")
        unknown = set(self.families) - set(FAMILIES)
        weights = self.families.values()
        if unknown or any(w < 0 for w in weights) or abs(sum(weights) - 1.0) > 1e-9:
            raise BadField(
                "prior.families", dict(self.families), "weights of known families that sum to 1"
            )

    def log_density(self, m: Array, s: Array, *, handbook_spread: float = DEFAULT_SPREAD) -> Array:
        """Log prior density per unit of `m` and of `log s`, broadcast."""
        return self._log_median(m) + self._log_spread(s, handbook_spread)

    def _log_median(self, m: Array) -> Array:
        df, scale = self.median_df, self.median_scale
        constant = gammaln((df + 1) / 2) - gammaln(df / 2) - 0.5 * math.log(df * math.pi)
        density = constant - math.log(scale) - (df + 1) / 2 * np.log1p((m / scale) ** 2 / df)
        return np.asarray(density, dtype=np.float64)

    def _log_spread(self, s: Array, handbook_spread: float) -> Array:
        z = np.log(s / handbook_spread) / self.spread_scale
        return -0.5 * z**2 - math.log(self.spread_scale * math.sqrt(2 * math.pi))

    def to_dict(self) -> dict[str, object]:
        """Plain content, for digests and answers."""
        return {
            "median_df": self.median_df,
            "median_scale": self.median_scale,
            "spread_scale": self.spread_scale,
            "families": dict(self.families),
        }
