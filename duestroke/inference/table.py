"""Survival at fixed ages under every parameter point, made once and shared by all tools of a fit.

The survivors of a tool of age `a` are then one matrix product away: the table times the points'
weights over their survival to `a`. Just beyond `a` a few more ages are worked out for the tool.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from duestroke.inference.nodes import Nodes, log_survival

Array = NDArray[np.float64]

_LEVELS: Final = expit(np.linspace(-11.5, 13.5, 260))
_EVEN: Final = 120
_NEAR: Final = np.geomspace(0.02, 3.0, 9)
_TOLD: Final = 1e-11
_LEAST_SURVIVAL: Final = 1e-290


@dataclass(frozen=True)
class SurvivalTable:
    """Ages (k,), rising shares of the handbook life, > 0, and survival (k, n) at all nodes."""

    nodes: tuple[Nodes, ...]
    ages: Array
    survival: Array

    @staticmethod
    def build(nodes: Sequence[Nodes], quantiles: Callable[[Array], Array]) -> SurvivalTable:
        """`quantiles` gives the life of a new tool at levels, as a share of the handbook life."""
        lives = np.maximum(quantiles(_LEVELS), 1e-12)
        even = np.geomspace(lives[0], lives[-1], _EVEN)
        ages = np.unique(np.concatenate([lives, even]))
        survival = np.concatenate([np.exp(log_survival(n, ages)) for n in nodes], axis=1)
        return SurvivalTable(tuple(nodes), ages, survival)

    @cached_property
    def weight(self) -> Array:
        """Posterior mass of all nodes in order, (n,)."""
        return np.concatenate([n.weight for n in self.nodes])

    def at(self, ages: Array) -> Array:
        """Survival to each age at all nodes, (ages, n), worked out anew."""
        return np.concatenate([np.exp(log_survival(n, ages)) for n in self.nodes], axis=1)

    def remaining_quantiles(self, age: float, low: float, q: float, levels: Array) -> Array | None:
        """Remaining life at each level in (0, 1), a share of the handbook life, 0 when due now.

        Arguments as in RemainingLife, as shares. None where the table does not reach: far beyond
        all usual lives.
        """
        first = int(np.searchsorted(self.ages, age, side="right"))
        if first + 2 >= self.ages.size:
            return None
        near = age + (self.ages[first + 1] - age) * _NEAR
        at_low, at_age, *beyond = self.at(np.concatenate([[low, age], near]))
        if at_age.min() < _LEAST_SURVIVAL:
            return None
        gone = q * (at_low - at_age) / (q * at_low + (1 - q) * at_age)
        due = float(self.weight @ gone)
        share = self.weight * (1 - gone) / (at_age * (1 - due))
        ahead = np.concatenate([near, self.ages[first:]]) - age
        lasting = np.concatenate([np.array(beyond) @ share, self.survival[first:] @ share])
        later = levels > due
        hazard = -np.log1p(-(levels[later] - due) / (1 - due))
        out = np.zeros(levels.size)
        if not later.any():
            return out
        found = _invert(ahead, lasting, hazard)
        if found is None:
            return None
        out[later] = found
        return out


def _invert(ahead: Array, lasting: Array, hazard: Array) -> Array | None:
    """Where the cumulated hazard of the survivors reaches `hazard`; None where it never does.

    Linear between points on log-log scale, on which a steady hazard is a line.
    """
    order = np.argsort(ahead)
    grown = -np.log(np.clip(lasting[order], 1e-300, 1.0))
    grown = np.maximum.accumulate(grown)
    told = grown > _TOLD
    if not told.any() or grown[-1] < hazard.max():
        return None
    x, y = np.log(grown[told]), np.log(ahead[order][told])
    # Below the first point the hazard is steady: as much less time as chance.
    x, y = np.concatenate([[x[0] - 40], x]), np.concatenate([[y[0] - 40], y])
    return np.exp(np.interp(np.log(hazard), x, y))
