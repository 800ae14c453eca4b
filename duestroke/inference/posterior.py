"""A posterior over life laws, and what it says of a new tool and of one that runs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from duestroke.errors import BadField
from duestroke.inference.families import LOG_LOG_2, WEIBULL_SHAPE_TIMES_SPREAD, Family
from duestroke.inference.grid import Grid
from duestroke.inference.nodes import Nodes, log_survival
from duestroke.inference.prior import Prior
from duestroke.inference.remaining import RemainingLife
from duestroke.inference.table import SurvivalTable

Array = NDArray[np.float64]

_LEAST_MASS: Final = 1e-6
_LEFT_OUT: Final = 1e-4
_HALVINGS: Final = 48


@dataclass(frozen=True)
class FamilyPosterior:
    """Posterior of one family on its grid; `weight` is the family's prior weight."""

    family: Family
    weight: float
    grid: Grid

    @property
    def log_mass(self) -> float:
        """Log of prior weight times evidence."""
        return math.log(self.weight) + self.grid.log_evidence

    def nodes(self, mass: float, *, thin: bool) -> Nodes:
        """Points of the grid with weights that sum to `mass`, those without weight left out.

        thin: leave out rows and columns as far as sums over a smooth posterior stay exact, which
        holds while the steps are near its standard deviation or below.
        """
        grid = self.grid
        i, j = grid.fair_steps() if thin else (1, 1)
        part = grid.log_weight[i // 2 :: i, j // 2 :: j]
        weight = np.exp(part - part.max())
        keep = weight > _LEAST_MASS * weight.sum()
        m, s = np.meshgrid(grid.m[i // 2 :: i], grid.s[j // 2 :: j], indexing="ij")
        kept = weight[keep]
        return Nodes(self.family, m[keep], s[keep], kept * (mass / kept.sum()))


@dataclass(frozen=True)
class Interval:
    """A posterior median with the 5 % and 95 % points."""

    median: float
    low: float
    high: float


@dataclass(frozen=True)
class Posterior:
    """What the lives of one kind at one position say about its life law.

    parts: one for each family with prior weight.
    q: share of failures that show only at an inspection.
    lives, failures: how many it rests on; without lives it is the prior alone.
    """

    parts: tuple[FamilyPosterior, ...]
    handbook_life: float
    handbook_spread: float
    prior: Prior
    lives: int
    failures: int
    q: float
    model_version: str

    @property
    def prior_only(self) -> bool:
        """Whether no life at all stands behind it."""
        return self.lives == 0

    @property
    def widened(self) -> bool:
        """Whether the weight lay beyond the usual range of median or spread."""
        return any(part.grid.widened for part in self.parts)

    @cached_property
    def masses(self) -> dict[str, float]:
        """Posterior probability of each family as fitted, by its own name; sums to 1."""
        logs = np.array([part.log_mass for part in self.parts])
        weight = np.exp(logs - logs.max())
        return {
            part.family.name: float(w)
            for part, w in zip(self.parts, weight / weight.sum(), strict=True)
        }

    @property
    def family_weights(self) -> dict[str, float]:
        """Posterior probabilities of `weibull`, `lognormal` and `early-defect`, which sum to 1."""
        told = {"weibull": 0.0, "lognormal": 0.0, "early-defect": 0.0}
        for name, mass in self.masses.items():
            told["early-defect" if name.startswith("early-defect") else name] += mass
        return told

    def remaining_life(
        self, age: float, good_at: float | None = None, *, q: float | None = None
    ) -> RemainingLife:
        """Law of the strokes left to a tool of `age` strokes, last found good at `good_at`.

        q: share of failures that show only at an inspection; None: as the lives say.
        Raises BadField naming the argument.
        """
        return self._remaining(self.nodes, age, good_at, q, self._table)

    def remaining(
        self,
        age: float,
        good_at: float | None = None,
        *,
        q: float | None = None,
        draws: int = 1000,
        rng: np.random.Generator,
    ) -> Array:
        """Draws of the remaining strokes, shape (draws,), >= 0; 0 means that it may be due now."""
        return self._remaining(self._all_nodes, age, good_at, q).draws(draws, rng)

    def remaining_quantiles(
        self, age: float, good_at: float | None, levels: ArrayLike, *, q: float | None = None
    ) -> Array:
        """Remaining strokes at each level in (0, 1), free of random error, rising with it."""
        return self.remaining_life(age, good_at, q=q).quantiles(levels)

    def chance_within(
        self, age: float, good_at: float | None, ahead: ArrayLike, *, q: float | None = None
    ) -> Array:
        """Chance of the end within `ahead` strokes from now, rising with `ahead`."""
        return self.remaining_life(age, good_at, q=q).chance_within(ahead)

    def quantile(self, p: ArrayLike) -> Array:
        """Life of a new tool, strokes, at each chance `p` in (0, 1)."""
        return self.remaining_quantiles(0.0, None, p)

    def survival(self, strokes: ArrayLike) -> Array:
        """Chance that a new tool lasts beyond `strokes` (>= 0); same shape."""
        return 1.0 - self.chance_within(0.0, None, strokes)

    def survival_band(self, strokes: ArrayLike, level: float = 0.9) -> tuple[Array, Array]:
        """Band of the life law's survival at each `strokes`, shape (n,), with chance `level`.

        It is the uncertainty of the law, pointwise, not of a single tool.
        """
        if not 0 < level < 1:
            raise BadField("level", level, "between 0 and 1, both excluded")
        shares = np.atleast_1d(np.asarray(strokes, dtype=np.float64)) / self.handbook_life
        values = np.concatenate([np.exp(log_survival(n, shares)) for n in self.nodes], axis=1)
        mass = np.concatenate([n.weight for n in self.nodes])
        tails = np.array([(1 - level) / 2, (1 + level) / 2])
        band = np.array([weighted_quantiles(row, mass, tails) for row in values])
        return band[:, 0], band[:, 1]

    def parameters(self) -> dict[str, Interval]:
        """Posterior medians with 90 % intervals.

        `b10`, `b50` (the median life) and `weibull_scale` in strokes, `spread` (sd of log life;
        with early defects that of the sound majority) and `weibull_shape`. The Weibull ones are
        given that family, the others are averaged over the families.
        """
        unit, nodes = math.log(self.handbook_life), self._all_nodes
        told = {
            "b10": _interval([unit + _log_life(n, 0.10) for n in nodes], nodes),
            "b50": _interval([unit + _log_life(n, 0.50) for n in nodes], nodes),
            "spread": _interval([np.log(n.s) for n in nodes], nodes),
        }
        weibull = [n for n in nodes if n.family.name == "weibull"]
        if weibull:
            shapes = [WEIBULL_SHAPE_TIMES_SPREAD / n.s for n in weibull]
            scales = [
                unit + n.m - LOG_LOG_2 / shape for n, shape in zip(weibull, shapes, strict=True)
            ]
            told["weibull_shape"] = _interval([np.log(shape) for shape in shapes], weibull)
            told["weibull_scale"] = _interval(scales, weibull)
        return told

    def to_dict(self) -> dict[str, object]:
        """Plain content that stands for the posterior in digests and stored forecasts."""
        return {
            "model_version": self.model_version,
            "handbook_life": self.handbook_life,
            "handbook_spread": self.handbook_spread,
            "prior": self.prior.to_dict(),
            "lives": self.lives,
            "failures": self.failures,
            "q": self.q,
            "families": self.masses,
            "grid": {part.family.name: _describe(part.grid) for part in self.parts},
        }

    @cached_property
    def nodes(self) -> tuple[Nodes, ...]:
        """Few points for predictions without draws; they leave out 1e-4 of the mass."""
        return _lightened(self._points(thin=True), _LEFT_OUT)

    @cached_property
    def _table(self) -> SurvivalTable:
        new = self._remaining(self.nodes, 0.0, None, None)
        return SurvivalTable.build(
            self.nodes, lambda levels: new.quantiles(levels) / self.handbook_life
        )

    @cached_property
    def _all_nodes(self) -> tuple[Nodes, ...]:
        return self._points(thin=False)

    def _points(self, *, thin: bool) -> tuple[Nodes, ...]:
        masses = self.masses
        return tuple(
            part.nodes(masses[part.family.name], thin=thin)
            for part in self.parts
            if masses[part.family.name] > _LEAST_MASS
        )

    def _remaining(
        self,
        nodes: tuple[Nodes, ...],
        age: float,
        good_at: float | None,
        q: float | None,
        table: SurvivalTable | None = None,
    ) -> RemainingLife:
        return RemainingLife(
            nodes,
            handbook_life=self.handbook_life,
            age=age,
            good_at=good_at,
            q=self.q if q is None else q,
            table=table,
        )


def _lightened(nodes: tuple[Nodes, ...], share: float) -> tuple[Nodes, ...]:
    """The nodes without the lightest ones that hold `share` of the mass together."""
    weight = np.sort(np.concatenate([n.weight for n in nodes]))
    least = weight[min(int(np.searchsorted(np.cumsum(weight), share)), weight.size - 1)]
    kept = [(n, n.weight >= least) for n in nodes]
    total = sum(float(n.weight[rows].sum()) for n, rows in kept)
    return tuple(
        Nodes(n.family, n.m[rows], n.s[rows], n.weight[rows] / total)
        for n, rows in kept
        if rows.any()
    )


def weighted_quantiles(values: Array, weight: Array, levels: Array) -> Array:
    """Quantiles of weighted points, shape (n,), at each level, linear between their mid-ranks."""
    # Points of a grid share values; one step for each, not one for each point.
    distinct, place = np.unique(values.round(9), return_inverse=True)
    mass = np.bincount(place, weight, distinct.size)
    rising = np.cumsum(mass)
    return np.interp(levels, (rising - mass / 2) / rising[-1], distinct)


def _interval(logs: list[Array], nodes: Sequence[Nodes]) -> Interval:
    """Interval of a positive quantity from its logs at the nodes."""
    weight = np.concatenate([n.weight for n in nodes])
    points = weighted_quantiles(np.concatenate(logs), weight, np.array([0.05, 0.5, 0.95]))
    low, median, high = np.exp(points).tolist()
    return Interval(median, low, high)


def _log_life(nodes: Nodes, chance: float) -> Array:
    """Log of the life by which the end came with `chance`, at each node, by halving."""
    low, high = nodes.m - 12 * nodes.s - 5, nodes.m + 12 * nodes.s
    target = math.log1p(-chance)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        is_early = nodes.family.log_survival(middle - nodes.m, nodes.s) > target
        low, high = np.where(is_early, middle, low), np.where(is_early, high, middle)
    return np.asarray((low + high) / 2)


def _describe(grid: Grid) -> dict[str, object]:
    return {
        "m": [float(grid.m[0]), float(grid.m[-1]), grid.m.size],
        "s": [float(grid.s[0]), float(grid.s[-1]), grid.s.size],
        "log_evidence": grid.log_evidence,
        "widened": grid.widened,
    }
