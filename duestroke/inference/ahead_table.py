"""Life laws at fixed ages under every parameter point, shared by all tools of a place.

Ages are shares of the handbook life. What differs from tool to tool, the weights of the points and
its own past, enters by matrix products with these tables.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit

from duestroke.inference.nodes import Nodes, log_survival
from duestroke.inference.tool import Alternative

Array = NDArray[np.float64]

_LEVELS: Final = expit(np.linspace(-11.5, 13.5, 200))
"""Chances at which a new tool's life law is resolved: its whole range and both tails."""
_SEARCHED: Final = np.linspace(-30.0, 30.0, 61)
_POINTS: Final = (41, 161)
_EDGE: Final = 1e-8
_BEYOND: Final = np.linspace(0.05, 2.0, 30)
"""Log ages beyond the last level, for tools that outlast all that is expected."""
_EVEN: Final = 60
_LEAST_AGE: Final = 1e-9


def lattice(seen: Sequence[Alternative]) -> Array:
    """Rising ages (k,) at which the laws of a place are tabled; the first is 0."""
    at = _SEARCHED
    for count in _POINTS:
        gone = _gone(seen, at)
        inside = np.flatnonzero((gone > _EDGE) & (gone < 1 - _EDGE))
        first, last = (inside[0], inside[-1]) if inside.size else (at.size // 2,) * 2
        at = np.linspace(at[max(first - 1, 0)], at[min(last + 1, at.size - 1)], count)
    gone = _gone(seen, at)
    rising, first_of = np.unique(np.clip(gone, 1e-15, 1 - 1e-15).round(14), return_index=True)
    levels = np.interp(logit(_LEVELS), logit(rising), at[first_of])
    even = np.linspace(levels[0], levels[-1], _EVEN)
    logs = np.concatenate([[levels[0] - 4], levels, even, levels[-1] + _BEYOND])
    return np.concatenate([[0.0], np.exp(np.unique(logs.round(9)))])


def _gone(seen: Sequence[Alternative], log_ages: Array) -> Array:
    """Chance that a new tool's life ends before each log age."""
    total = np.zeros(log_ages.size)
    for each in seen:
        for n in each.life:
            lasting = np.exp(n.family.log_survival(log_ages[:, None] - n.m, n.s))
            total += each.weight * ((1 - lasting) @ n.weight)
    return np.maximum.accumulate(total)


@dataclass(frozen=True)
class Table:
    """The law of each parameter point (n,) at lattice ages (k,), the first of which is 0."""

    ages: Array
    nodes: tuple[Nodes, ...]

    @cached_property
    def log_survival(self) -> Array:
        """(k, n)."""
        return np.concatenate([log_survival(n, self.ages) for n in self.nodes], axis=1)

    @cached_property
    def survival(self) -> Array:
        """(k, n)."""
        return np.exp(self.log_survival)

    @cached_property
    def density(self) -> Array:
        """Density per unit of log age, (k, n); 0 at age 0."""
        x = np.log(np.maximum(self.ages, _LEAST_AGE))[:, None]
        logs = [n.family.log_density(x - n.m, n.s) for n in self.nodes]
        found: Array = np.exp(np.concatenate(logs, axis=1))
        found[0] = 0.0
        return found

    def log_survival_at(self, ages: Array) -> Array:
        """Log survival to any ages (t,), (t, n), worked out anew: between the table's ages the law
        of a narrow node bends too much for a line."""
        return np.concatenate([log_survival(n, ages) for n in self.nodes], axis=1)


@dataclass(frozen=True)
class Frame:
    """Nodes told apart into a table's key and where they lie.

    key: equal for nodes of the same families, spreads and distances from each other.
    shift: log median of the first node; nodes of one key differ by it alone, and ages with them.
    weight: posterior mass of all nodes in order, (n,).
    """

    key: tuple[object, ...]
    shift: float
    weight: Array

    @staticmethod
    def of(nodes: Sequence[Nodes]) -> Frame:
        """Shifts are told to 1e-9."""
        shift = float(nodes[0].m[0])
        key = tuple(
            (n.family.name, (n.m - shift).round(9).tobytes(), n.s.round(12).tobytes())
            for n in nodes
        )
        return Frame(key, shift, np.concatenate([n.weight for n in nodes]))
