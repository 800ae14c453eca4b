"""What is believed of a tool's life before any was seen: visible, and recorded with every fit."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

from duestroke.errors import BadField
from duestroke.inference.families import (
    EARLY_DEFECTS,
    LOGNORMAL,
    WEIBULL,
    WEIBULL_SHAPE_TIMES_SPREAD,
    Family,
)
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


_POSITIVE: Final = (
    "median_df",
    "median_scale",
    "spread_scale",
    "sudden_ratio",
    "sudden_ratio_scale",
    "sudden_shape",
    "sudden_shape_scale",
    "rate_exponent_scale",
    "number_scale",
    "roughness_exponent_scale",
    "group_scale",
)
_CHANCES: Final = ("two_modes", "batch", "press")


@dataclass(frozen=True)
class Prior:
    """What is believed before any life was seen, about the plant's own handbook figures.

    Common practice, no source, where none is given.

    median_df, median_scale: Student t of `log(median / handbook life)`: 90 % of medians within
        a factor of 2.5, with heavy tails so that a wrong handbook is overruled. Of wear alone
        where the two modes are told apart.
    spread_scale: sd of the log of the spread about the handbook spread; 90 % of Weibull shapes
        between 1.3 and 5.3 at the default spread of 0.48.
    families: prior weight of each family by name; sums to 1.
    two_modes: chance that wear and sudden failure are two laws where the labels alone must say.
    sudden_ratio, sudden_ratio_scale: median of the sudden law over the handbook life, and the sd
        of its log.
    sudden_shape, sudden_shape_scale: Weibull shape of the sudden law, and the sd of its log.
    rate_exponent, rate_exponent_scale: mean and sd of `g`: life goes as speed to the power of -g.
    roughness_exponent, roughness_exponent_scale: the same for the sudden mode and the ram ratio K
        over the press's own baseline; 0 or more.
    number_scale: sd of `c` about 0: life goes as exp(-c * reworks before it).
    batch, press: chance that batches, or presses, have medians of their own.
    group_scale: scale of the half-normal law of the sd of those log medians.
    Raises BadField naming the field.
    """

    median_df: float = 5.0
    median_scale: float = 0.45
    spread_scale: float = 0.42
    families: Mapping[str, float] = field(default_factory=lambda: _WEIGHTS)
    two_modes: float = 0.5
    sudden_ratio: float = 4.0
    sudden_ratio_scale: float = 0.9
    sudden_shape: float = 1.2
    sudden_shape_scale: float = 0.3
    rate_exponent: float = 2.0
    rate_exponent_scale: float = 1.2
    roughness_exponent: float = 8.0
    roughness_exponent_scale: float = 7.0
    number_scale: float = 0.1
    batch: float = 0.33
    press: float = 0.33
    group_scale: float = 0.2

    def __post_init__(self) -> None:
        for name in _POSITIVE:
            self._check(name, "a number above 0", lambda value: value > 0)
        for name in _CHANCES:
            self._check(name, "0 to 1", lambda value: 0 <= value <= 1)
        for name in ("rate_exponent", "roughness_exponent"):
            self._check(name, "a finite number", lambda value: True)
        if self.batch + self.press > 1:
            raise BadField("prior.press", self.press, "together with prior.batch at most 1")
        unknown = set(self.families) - set(FAMILIES)
        weights = self.families.values()
        if unknown or any(w < 0 for w in weights) or abs(sum(weights) - 1.0) > 1e-9:
            raise BadField(
                "prior.families", dict(self.families), "weights of known families that sum to 1"
            )

    def _check(self, name: str, allowed: str, is_allowed: Callable[[float], bool]) -> None:
        value = getattr(self, name)
        if not (math.isfinite(value) and is_allowed(value)):
            raise BadField(f"prior.{name}", value, allowed)

    def log_density(self, m: Array, s: Array, *, handbook_spread: float = DEFAULT_SPREAD) -> Array:
        """Log prior density per unit of `m` and of `log s`, broadcast."""
        return self._log_median(m) + self._log_spread(s, handbook_spread)

    def _log_median(self, m: Array) -> Array:
        df, scale = self.median_df, self.median_scale
        constant = gammaln((df + 1) / 2) - gammaln(df / 2) - 0.5 * math.log(df * math.pi)
        density = constant - math.log(scale) - (df + 1) / 2 * np.log1p((m / scale) ** 2 / df)
        return np.asarray(density, dtype=np.float64)

    def _log_spread(self, s: Array, handbook_spread: float) -> Array:
        return _log_normal(np.log(s), math.log(handbook_spread), self.spread_scale)

    def sudden_log_density(self, m: Array, s: Array) -> Array:
        """Log prior density of the sudden law, a Weibull, per unit of `m` and `log s`."""
        shape = WEIBULL_SHAPE_TIMES_SPREAD / s
        return np.asarray(
            _log_normal(m, math.log(self.sudden_ratio), self.sudden_ratio_scale)
            + _log_normal(np.log(shape), math.log(self.sudden_shape), self.sudden_shape_scale)
        )

    def to_dict(self) -> dict[str, object]:
        """Plain content, for digests and answers."""
        plain = {one.name: getattr(self, one.name) for one in fields(self)}
        return {**plain, "families": dict(self.families)}


def _log_normal(x: Array, mean: float, scale: float) -> Array:
    return -0.5 * ((x - mean) / scale) ** 2 - math.log(scale * math.sqrt(2 * math.pi))
