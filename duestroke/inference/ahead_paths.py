"""Wear lives of tools with readings: the place's law times the likelihood of the readings.

`p(T) ~ l(T) sum_nodes w f(T) / P`, `P = sum_T f l`: a tool is among the lives of the fit, so its
own likelihood is divided out of the weights; what is left is each node's own posterior of T. T runs
over points that are laid closer and closer to where the tool's posterior lies; the laws come from
the place's table, linear between its ages, so that sums over T and over nodes part into two matrix
products.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.ahead_curve import Curves, hazard_of
from duestroke.inference.ahead_table import Table
from duestroke.inference.tool import ToolRecord
from duestroke.inference.wear import WearPaths

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_ROUNDS: Final = (64, 48, 72)
_TEMPER: Final = 0.5
_EVEN_SHARE: Final = 0.15
_LEAST: Final = 1e-250
_PAST: Final = 1e-12


@dataclass(frozen=True)
class WearLaw:
    """Law of the wear life of n tools on g rising log ages each.

    log_ages: logs of parts of the handbook life.  density: per unit of log age, up to a factor.
    """

    log_ages: Array
    density: Array

    def beyond(self, ages: Array, unit: Array) -> Curves:
        """Futures of tools of `ages` (n,) now, shares; ahead in `unit` (n,) a handbook life."""
        chance = _from_above(self.log_ages, self.density)
        lasting = np.array(
            [_at(*row) for row in zip(_log(ages), self.log_ages, chance, strict=True)]
        )
        whole = chance[:, 0]
        due = np.where(lasting > _PAST * whole, 1 - lasting / whole, 1.0)
        left = np.clip(chance / np.maximum(lasting, _LEAST)[:, None], 0.0, 1.0)
        ahead = (np.exp(self.log_ages) - ages[:, None]) * unit[:, None]
        return Curves(np.clip(due, 0.0, 1.0), ahead, hazard_of(left))


def wear_law(
    table: Table,
    weights: Array,
    tools: Sequence[ToolRecord],
    paths: WearPaths,
    *,
    unit: Array,
) -> WearLaw:
    """Posterior of the wear lives of tools with readings, which are among the lives of the fit.

    weights: of the table's nodes, (n, N).  unit: strokes for each unit of its ages, (n,).
    """
    points = _Points(table, weights @ table.density.T, tools, paths, np.log(unit))
    log_ages, log_like = points.laid()
    top = log_like.max(axis=1, keepdims=True)
    like = np.exp(log_like - top)
    row, part = _cells(table, log_ages)
    mass = like * _widths(log_ages)
    evidence = _deposit(row, part, mass, table.ages.size) @ table.density
    # The nodes' weights hold the tool's own readings already.
    own = np.where(evidence > _LEAST, weights / np.maximum(evidence, _LEAST), 0.0)
    law = _lerp(own @ table.density.T, row, part)
    density = like * law
    lost = ~(density.sum(axis=1) > 0)
    # Where the place's law has no mass at all that the readings allow, they alone speak.
    density[lost] = like[lost]
    return WearLaw(log_ages, density)


@dataclass(frozen=True)
class _Points:
    table: Table
    law: Array
    tools: Sequence[ToolRecord]
    paths: WearPaths
    log_unit: Array

    def laid(self) -> tuple[Array, Array]:
        """Log ages (n, g), close where the posterior lies, and the log likelihood there."""
        logs = np.log(self.table.ages[1:])
        cut = np.array([_known_good(tool) for tool in self.tools])
        low = np.clip(_log(cut) - self.log_unit, logs[0], logs[-1] - 1e-3)
        start = np.interp(low, logs, np.arange(logs.size))
        steps = np.linspace(0.0, 1.0, _ROUNDS[0])
        index = start[:, None] + steps * (logs.size - 1 - start)[:, None]
        at = np.interp(index, np.arange(logs.size), logs)
        like = self._like(at)
        for count in _ROUNDS[1:]:
            more = self._closer(at, like, count)
            at, like = _merged(at, like, more, self._like(more))
        return at, like

    def _like(self, at: Array) -> Array:
        readings = [tool.readings for tool in self.tools]
        return self.paths.log_likelihood(readings, at + self.log_unit[:, None])

    def _closer(self, at: Array, like: Array, count: int) -> Array:
        law = _lerp(self.law, *_cells(self.table, at))
        told = like + np.log(np.maximum(law, _LEAST))
        told -= told.max(axis=1, keepdims=True)
        middle = np.exp(_TEMPER * np.maximum(told[:, 1:], told[:, :-1]))
        mass = middle * np.diff(at, axis=1)
        mass /= mass.sum(axis=1, keepdims=True)
        near = told > -30
        inside = (near[:, 1:] | near[:, :-1]) * np.diff(at, axis=1)
        mass = (1 - _EVEN_SHARE) * mass + _EVEN_SHARE * inside / inside.sum(axis=1, keepdims=True)
        reached = np.hstack([np.zeros((len(at), 1)), np.cumsum(mass, axis=1)])
        wanted = (np.arange(count) + 0.5) / count
        rows = zip(reached, at, strict=True)
        return np.array([np.interp(wanted * x[-1], x, y) for x, y in rows])


def _known_good(tool: ToolRecord) -> float:
    """Age of a good verdict after the last reading, which the tool is known to outlast; else 0."""
    last = max(one.strokes for one in tool.readings)
    return tool.good_at if tool.good_at is not None and tool.good_at > last else 0.0


def _merged(at: Array, like: Array, more: Array, more_like: Array) -> tuple[Array, Array]:
    both = np.hstack([at, more])
    order = np.argsort(both, axis=1, kind="stable")
    values = np.hstack([like, more_like])
    return np.take_along_axis(both, order, axis=1), np.take_along_axis(values, order, axis=1)


def _log(ages: Array) -> Array:
    return np.log(np.maximum(ages, 1e-300))


def _cells(table: Table, log_ages: Array) -> tuple[Index, Array]:
    logs = np.log(np.maximum(table.ages, 1e-300))
    row = np.clip(np.searchsorted(logs, log_ages, side="right") - 1, 1, logs.size - 2)
    return row, np.clip((log_ages - logs[row]) / (logs[row + 1] - logs[row]), 0.0, 1.0)


def _lerp(values: Array, row: Index, part: Array) -> Array:
    """Values (n, k) on the lattice at cells (n, g)."""
    below = np.take_along_axis(values, row, axis=1)
    above = np.take_along_axis(values, row + 1, axis=1)
    return np.asarray(below + part * (above - below))


def _deposit(row: Index, part: Array, mass: Array, size: int) -> Array:
    """Masses at cells (n, g) shared out to the lattice, (n, size)."""
    first = np.arange(len(row))[:, None] * size
    at = np.concatenate([(first + row).ravel(), (first + row + 1).ravel()])
    put = np.concatenate([(mass * (1 - part)).ravel(), (mass * part).ravel()])
    return np.bincount(at, put, len(row) * size).reshape(len(row), size).astype(np.float64)


def _widths(at: Array) -> Array:
    """Weights of the trapezium rule on uneven points (n, g)."""
    steps = np.diff(at, axis=1) / 2
    widths = np.zeros(at.shape)
    widths[:, 1:] += steps
    widths[:, :-1] += steps
    return widths


def _from_above(at: Array, density: Array) -> Array:
    """Mass beyond each point, (n, g)."""
    pieces = (density[:, 1:] + density[:, :-1]) / 2 * np.diff(at, axis=1)
    summed = np.cumsum(pieces[:, ::-1], axis=1)[:, ::-1]
    return np.hstack([summed, np.zeros((len(at), 1))])


def _at(log_age: float, at: Array, beyond: Array) -> float:
    return float(np.interp(log_age, at, beyond))
