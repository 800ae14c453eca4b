"""Figures of a place's laws with their ranges, for the engineer: lives of both modes together."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.families import LOG_LOG_2, WEIBULL_SHAPE_TIMES_SPREAD
from duestroke.inference.nodes import Nodes, log_survival
from duestroke.inference.posterior import Interval, weighted_quantiles

Array = NDArray[np.float64]
Law = tuple[Nodes, ...]

_PICKS: Final = 3000
_GOLDEN: Final = (math.sqrt(5) - 1) / 2
_HALVINGS: Final = 44
_POINTS: Final = 600
_ENDS: Final = np.array([0.05, 0.5, 0.95])


@dataclass(frozen=True)
class Seen:
    """One way to see the place: laws of the middle of all groups at reference conditions."""

    weight: float
    life: Law
    sudden: Law | None


def parameters(seen: Sequence[Seen], handbook_life: float) -> dict[str, Interval]:
    """Posterior medians with 90 % intervals, lives in strokes.

    `b10`, `b50`: life by which 10 and 50 % ended, by any mode, averaged over the ways to see the
    place.  `spread`, `weibull_shape`, `weibull_scale`: of the law of all ends, or of wear where the
    modes are told apart.  `wear_b10`, `wear_b50`, `sudden_b50`, `sudden_shape`, `sudden_scale`: by
    mode, given two modes; absent where there is one law only.
    """
    unit = math.log(handbook_life)
    life = [_scaled(nodes, way.weight) for way in seen for nodes in way.life]
    told = {
        "b10": _joint(seen, unit, 0.10),
        "b50": _joint(seen, unit, 0.50),
        "spread": _of(life, lambda n: np.log(n.s)),
        **_weibull(life, unit, "weibull_shape", "weibull_scale"),
    }
    for way in seen:
        if way.sudden is not None:
            told["wear_b10"] = _joint([Seen(1.0, way.life, None)], unit, 0.10)
            told["wear_b50"] = _joint([Seen(1.0, way.life, None)], unit, 0.50)
            told["sudden_b50"] = _of(way.sudden, lambda n: unit + n.m)
            told |= _weibull(way.sudden, unit, "sudden_shape", "sudden_scale")
    return told


def sudden_share(life: Law, sudden: Law) -> float:
    """Share of the ends of new tools that are sudden: the integral of S_wear over sudden ends."""
    every = [*life, *sudden]
    low = min(float((n.m - 9 * n.s).min()) for n in every)
    high = max(float((n.m + 5 * n.s).max()) for n in every)
    ages = np.exp(np.linspace(max(low, -30.0), min(high, 30.0), _POINTS))
    worn, broken = (_mean_survival(law, ages) for law in (life, sudden))
    steps = -np.diff(broken)
    return float(((worn[1:] + worn[:-1]) / 2 * steps).sum() + (1 - broken[0]))


def _mean_survival(law: Law, ages: Array) -> Array:
    return np.asarray(sum(np.exp(log_survival(n, ages)) @ n.weight for n in law))


def _scaled(nodes: Nodes, weight: float) -> Nodes:
    return Nodes(nodes.family, nodes.m, nodes.s, nodes.weight * weight)


def _of(law: Sequence[Nodes], log_value: Callable[[Nodes], Array]) -> Interval:
    values = np.concatenate([log_value(n) for n in law])
    weight = np.concatenate([n.weight for n in law])
    low, median, high = np.exp(weighted_quantiles(values, weight, _ENDS)).tolist()
    return Interval(median, low, high)


def _weibull(
    law: Sequence[Nodes], unit: float, shape_name: str, scale_name: str
) -> dict[str, Interval]:
    """Shape and characteristic life given that family."""
    some = [n for n in law if n.family.name == "weibull"]
    if not some:
        return {}
    return {
        shape_name: _of(some, lambda n: np.log(WEIBULL_SHAPE_TIMES_SPREAD / n.s)),
        scale_name: _of(some, lambda n: unit + n.m - LOG_LOG_2 * n.s / WEIBULL_SHAPE_TIMES_SPREAD),
    }


def _joint(seen: Sequence[Seen], unit: float, chance: float) -> Interval:
    """Life by which the end came with `chance`, at points picked evenly from the posterior."""
    logs, weights = [], []
    for way in seen:
        picked = [_Picked.of(way.life, (np.arange(_PICKS) + 0.5) / _PICKS)]
        if way.sudden is not None:
            # Multiples of the golden ratio fill the interval evenly in any order of the others.
            turns = np.arange(1.0, _PICKS + 1.0) * _GOLDEN
            picked.append(_Picked.of(way.sudden, turns - np.floor(turns)))
        logs.append(unit + _log_life(picked, math.log1p(-chance)))
        weights.append(np.full(_PICKS, way.weight))
    points = weighted_quantiles(np.concatenate(logs), np.concatenate(weights), _ENDS)
    low, median, high = np.exp(points).tolist()
    return Interval(median, low, high)


@dataclass(frozen=True)
class _Picked:
    """Points of a law, in groups of one family: rows, medians, spreads."""

    parts: tuple[tuple[NDArray[np.intp], Nodes], ...]
    size: int

    @staticmethod
    def of(law: Law, chances: Array) -> _Picked:
        weight = np.concatenate([n.weight for n in law])
        reached = np.cumsum(weight) / weight.sum()
        place = np.minimum(np.searchsorted(reached, chances), weight.size - 1)
        parts, start = [], 0
        for n in law:
            rows = np.flatnonzero((place >= start) & (place < start + n.weight.size))
            at = place[rows] - start
            parts.append((rows, Nodes(n.family, n.m[at], n.s[at], n.weight[at])))
            start += n.weight.size
        return _Picked(tuple(parts), chances.size)

    def log_survival(self, x: Array) -> Array:
        out = np.empty(self.size)
        for rows, n in self.parts:
            out[rows] = n.family.log_survival(x[rows] - n.m, n.s)
        return out

    def bounds(self) -> tuple[float, float]:
        every = [n for _, n in self.parts if n.m.size]
        low = min(float((n.m - 12 * n.s - 5).min()) for n in every)
        return low, max(float((n.m + 12 * n.s).max()) for n in every)


def _log_life(laws: Sequence[_Picked], log_lasting: float) -> Array:
    """Log life at which the laws together last with that log chance, by halving."""
    low = np.full(laws[0].size, min(law.bounds()[0] for law in laws))
    high = np.full(laws[0].size, max(law.bounds()[1] for law in laws))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        is_early = np.sum([law.log_survival(middle) for law in laws], axis=0) > log_lasting
        low, high = np.where(is_early, middle, low), np.where(is_early, high, middle)
    return np.asarray((low + high) / 2)
