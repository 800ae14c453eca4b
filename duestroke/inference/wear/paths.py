"""What the readings of a place say: of the shape of its wear, and of the life of each tool."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from duestroke.errors import BadField
from duestroke.inference.wear.batch import Batch, Readings, batch_of
from duestroke.inference.wear.learn import LEAST_LIVES, learn_nodes
from duestroke.inference.wear.nodes import USUAL_SD, PathNodes, prior_nodes
from duestroke.inference.wear.path import LOG_2_PI, fit_paths, latest_deviations
from duestroke.inference.wear.resolution import least_sd
from duestroke.inference.wear.trend import LEAST_READINGS, OwnTrend, own_trend
from duestroke.lives import Life, WearReading

Array = NDArray[np.float64]

LEAST_SD: Final = 1e-3
"""No gauge reads better than a thousandth of the limit."""
LEAST_ROUGHNESS: Final = 0.01
"""No wear is smoother than this, part of the limit a square root of a typical life."""
MISFIT: Final = 0.01
"""A tail chance below this is told: the trend does not fit."""
_BLOCK: Final = 32_768
_FURTHEST: Final = 30.0


@dataclass(frozen=True)
class WearPaths:
    """The shape of wear at a place, and the likelihood of a tool's wear life.

    typical_life: unit of age, strokes.  usual_sd: of a reading that states none, part of the
    limit.  least_sd: floor of the noise.  nodes: shapes with weights.  lives: how many lives with
    at least three readings the place has.  learned: whether the weights come from them; the wide
    prior otherwise.
    """

    typical_life: float
    usual_sd: float
    least_sd: float
    nodes: PathNodes
    lives: int
    learned: bool

    @staticmethod
    def learn(lives: Sequence[Life], *, typical_life: float, typical_spread: float) -> WearPaths:
        """Learn from the readings of past and running lives, at least five with three or more.

        typical_life: strokes, > 0.  typical_spread: sd of log life, > 0.  The same lives give the
        same answer, in whatever order they come. Raises BadField.
        """
        for name, value in (("typical_life", typical_life), ("typical_spread", typical_spread)):
            if not (math.isfinite(value) and value > 0):
                raise BadField(name, value, "a number above 0")
        readings = [one.readings for one in lives if one.readings]
        usual, is_stated = _usual_sd(readings)
        floor = max(LEAST_SD, least_sd(r.share for tool in readings for r in tool))
        told = sorted((tool for tool in readings if _tells(tool)), key=_order)
        learned = len(told) >= LEAST_LIVES
        if learned:
            batch = batch_of(told, typical_life=typical_life, usual_sd=usual, least_sd=floor)
            nodes = learn_nodes(batch, spread=typical_spread, is_stated=is_stated)
        else:
            nodes = prior_nodes(is_stated=is_stated)
        return WearPaths(typical_life, usual, floor, nodes, len(told), learned)

    def log_likelihood(
        self, readings: Sequence[Readings], log_lives: Array, *, within: int = 1
    ) -> Array:
        """log p(readings | wear life), (n, t); zeros for a tool without readings.

        readings: of each of n tools.  log_lives: logs of strokes, rising, (t,) for all tools or
        (n, t) of each.  within: points over which the likelihood is averaged in the cell about each
        life, for a lattice whose steps may be wider than what a tool's readings leave open; 1 is
        the likelihood at the lives.
        """
        lives = self._log_typical(_refined(np.asarray(log_lives, dtype=np.float64), within))
        found = np.zeros((len(readings), np.shape(log_lives)[-1]))
        for rows, batch in self._blocks(readings, lives.shape[-1] * self.nodes.size):
            own = lives if lives.ndim == 1 else lives[rows]
            density = fit_paths(batch, self.nodes, own).log_density
            mixed = _log_sum(density + np.log(self.nodes.weight)[:, None, None])
            found[rows] = _mean_of_cells(mixed, within) - 0.5 * LOG_2_PI * batch.count[:, None]
        return found

    def misfits(self, readings: Sequence[Readings], log_lives: Array, log_law: Array) -> Array:
        """Two-sided chance of a latest reading as odd as each tool's, (n,); 1 without readings.

        log_lives: as above.  log_law: log mass of the wear life of a tool at each of them, up to a
        constant, (t,) for all tools or (n, t). The reading is held against what the tool's earlier
        readings and that law let expect (posterior predictive), over all nodes. Below MISFIT: it
        does not fit.
        """
        lives = self._log_typical(np.asarray(log_lives, dtype=np.float64))
        law = np.broadcast_to(log_law, (len(readings), lives.shape[-1]))
        found = np.ones(len(readings))
        for rows, batch in self._blocks(readings, lives.shape[-1] * self.nodes.size):
            own = lives if lives.ndim == 1 else lives[rows]
            found[rows] = _tails(batch, self.nodes, own, law[rows])
        return found

    def misfit(self, readings: Readings, log_lives: Array, log_law: Array) -> float:
        """`misfits` of one tool."""
        return float(self.misfits([readings], log_lives, log_law)[0])

    def own_trend(self, readings: Readings) -> OwnTrend | None:
        """The straight line through one tool's readings; None where they make none."""
        return own_trend(readings)

    @property
    def roughness(self) -> float:
        """Root mean square of the roughness, part of the limit a square root of a stroke, > 0."""
        square = float((self.nodes.weight * self.nodes.roughness**2).sum())
        return math.sqrt(max(square, LEAST_ROUGHNESS**2) / self.typical_life)

    def to_dict(self) -> dict[str, object]:
        """Plain content, for digests and answers."""
        nodes = self.nodes
        return {
            "typical_life": self.typical_life,
            "usual_sd": self.usual_sd,
            "least_sd": self.least_sd,
            "lives": self.lives,
            "learned": self.learned,
            "power": nodes.power.tolist(),
            "roughness": nodes.roughness.tolist(),
            "noise": nodes.noise.tolist(),
            "shared": nodes.shared.tolist(),
            "weight": nodes.weight.tolist(),
        }

    def _log_typical(self, log_lives: Array) -> Array:
        return np.clip(log_lives - math.log(self.typical_life), -_FURTHEST, _FURTHEST)

    def _blocks(
        self, readings: Sequence[Readings], cost: int
    ) -> Iterator[tuple[NDArray[np.intp], Batch]]:
        """Tools with readings, those of like numbers together, in blocks that stay in cache."""
        count = np.fromiter(map(len, readings), dtype=np.int64, count=len(readings))
        order = np.argsort(count, kind="stable")
        order = order[count[order] > 0]
        size = max(1, _BLOCK * 16 // max(cost, 1))
        for first in range(0, order.size, size):
            rows = order[first : first + size]
            batch = batch_of(
                [readings[row] for row in rows],
                typical_life=self.typical_life,
                usual_sd=self.usual_sd,
                least_sd=self.least_sd,
            )
            yield rows, batch


def _usual_sd(tools: Sequence[Readings]) -> tuple[float, bool]:
    """Median of the stated sds, and whether most readings state one."""
    stated = [one.sd for tool in tools for one in tool if one.sd is not None]
    if not stated:
        return USUAL_SD, False
    return float(np.median(stated)), 2 * len(stated) > sum(map(len, tools))


def _tells(tool: Readings) -> bool:
    return len(tool) >= LEAST_READINGS and len({one.strokes for one in tool}) > 1


def _order(tool: Sequence[WearReading]) -> tuple[float, ...]:
    return tuple(value for one in tool for value in (one.strokes, one.share, one.sd or 0.0))


def _refined(lives: Array, within: int) -> Array:
    """`within` points in the cell about each life; a cell ends half way to the next life."""
    if within <= 1 or lives.shape[-1] < 2:
        return lives
    half = np.diff(lives) / 2
    left = np.concatenate([half[..., :1], half], axis=-1)[..., None]
    right = np.concatenate([half, half[..., -1:]], axis=-1)[..., None]
    part = (np.arange(within) + 0.5) / within
    fine = lives[..., None] - left + (left + right) * part
    return np.asarray(fine.reshape(*lives.shape[:-1], -1))


def _mean_of_cells(log_values: Array, within: int) -> Array:
    """Log of the mean of each `within` neighbours, (n, t * within) to (n, t)."""
    if within <= 1 or log_values.shape[1] == 1:
        return log_values
    cells = log_values.reshape(log_values.shape[0], -1, within)
    return _log_sum(np.moveaxis(cells, 2, 0)) - math.log(within)


def _log_sum(log_values: Array) -> Array:
    """Log of the sum over the first axis."""
    top = log_values.max(axis=0)
    return np.asarray(top + np.log(np.exp(log_values - top).sum(axis=0)))


def _tails(batch: Batch, nodes: PathNodes, log_lives: Array, log_law: Array) -> Array:
    """Two-sided tail chance of the latest reading of each tool, (n,)."""
    earlier = fit_paths(batch.without_last(), nodes, log_lives).log_density
    deviation = latest_deviations(batch, nodes, log_lives)
    joint = earlier + np.log(nodes.weight)[:, None, None] + log_law
    weight = np.exp(joint - joint.max(axis=(0, 2), keepdims=True))
    mass = weight.sum(axis=(0, 2))
    # Each side by its own small tail: 1 minus a chance near 1 would be rounding.
    above = (weight * ndtr(-deviation)).sum(axis=(0, 2)) / mass
    below = (weight * ndtr(deviation)).sum(axis=(0, 2)) / mass
    return np.asarray(np.minimum(2 * np.minimum(above, below), 1.0))
