"""How likely readings are, given the life at whose end a wear path reaches its limit.

A tool of wear life T has used the share (x/T)^k of its limit at age x. A reading adds the gauge's
noise and, shared by the readings of one session, a bias. The wear itself is rough: a Wiener process
of variance w^2 a typical life, tied down at age 0 and at T (a bridge, covariance
w^2 (min(x, x') - x x'/T)), and free beyond T; bias is not shared across T.

With S = noise + bias + w^2 min(x, x'), which does not depend on T, the covariance before T is
S - (w^2/T) x x' and beyond it S - w^2 T 1 1': one matrix a tool, and a correction of rank one for
each T. What is left for each T are sums over whitened readings, of which those of the first m and
of the last m readings are running sums.

T is the first time at the limit, so a rough path was below it before: the density of reaching the
limit first at T from the share z at the last reading before is (1 - z) / (T - x) times that of
being there at T (Schroedinger). Its mean over z, relative to that of the path itself, is the last
factor.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from duestroke.inference.wear.batch import Batch
from duestroke.inference.wear.nodes import PathNodes
from duestroke.inference.wear.sums import (
    Sums,
    Terms,
    covariance_of,
    path_of,
    sums_before,
    sums_beyond,
)

Array = NDArray[np.float64]
Index = NDArray[np.intp]

LOG_2_PI: Final = math.log(2 * math.pi)
_CLOSEST: Final = 1.02
"""The factor of first passage grows without bound as T comes to the last reading; its integral does
not. Nearer than 2 % it is left as it is there."""
_FURTHEST_ABOVE: Final = -8.0
_ROOT_2_PI: Final = math.sqrt(2 * math.pi)
_TINY: Final = 1e-30


@dataclass(frozen=True)
class Fit:
    """How readings fit, at every node, tool and life, each (q, n, t).

    square: squared distance in standard deviations.  log_weight: all else of twice the log
    likelihood without its constant: minus the log determinant, and the factor of first passage.
    """

    square: Array
    log_weight: Array

    @property
    def log_density(self) -> Array:
        """Log likelihood without its constant, (q, n, t)."""
        return 0.5 * (self.log_weight - self.square)


def fit_paths(batch: Batch, nodes: PathNodes, log_lives: Array) -> Fit:
    """Fit of each tool's readings to each life at each node.

    log_lives: logs of typical lives: (t,) the same for all tools, (n, t), or (p, n, t), a tool's
        own for each of the p different powers of the nodes, rising.
    """
    shape = (nodes.size, batch.age.shape[0], log_lives.shape[-1])
    square, log_weight = np.zeros(shape), np.zeros(shape)
    for member, blocks, point in _walk(batch, nodes, log_lives):
        square[member], log_weight[member] = blocks.fit(point)
    return Fit(square, log_weight)


def latest_deviations(batch: Batch, nodes: PathNodes, log_lives: Array) -> Array:
    """Deviation of each tool's latest reading from what its earlier ones and a life let expect.

    In standard deviations of its prediction, (q, n, t). log_lives: (t,) or (n, t), as above.
    """
    deviation = np.zeros((nodes.size, batch.age.shape[0], log_lives.shape[-1]))
    for member, blocks, point in _walk(batch, nodes, log_lives):
        deviation[member] = blocks.latest(point)
    return deviation


def _walk(
    batch: Batch, nodes: PathNodes, log_lives: Array
) -> Iterator[tuple[int, _Blocks, _Point]]:
    """Each node with the sums of its errors and the lives at its power."""
    powers = np.unique(nodes.power)
    if log_lives.ndim < 3:
        places = [_Place.of(batch, np.atleast_2d(log_lives))] * powers.size
    else:
        places = [_Place.of(batch, lives) for lives in log_lives]
    for (roughness, noise, shared), members in nodes.errors():
        blocks = _Blocks.of(batch, powers, roughness**2, noise, shared)
        for member in members:
            power = int(np.searchsorted(powers, nodes.power[member]))
            scale = np.exp(-powers[power] * places[power].log_lives)
            yield int(member), blocks, _Point(power, scale, places[power])


@dataclass(frozen=True)
class _Place:
    """Lives at which tools are asked, and which lie before a tool's last reading.

    log_lives, lives: typical lives, (1 or n, t).  tool, life: each pair of a tool and a life before
    its last reading.  within: how many of its readings lie within that life.
    """

    log_lives: Array
    lives: Array
    tool: Index
    life: Index
    within: Index

    @staticmethod
    def of(batch: Batch, log_lives: Array) -> _Place:
        lives = np.exp(log_lives)
        late = (batch.age[:, :, None] > lives[:, None, :]) & batch.there[:, :, None]
        beyond = late.sum(axis=1)
        tool, life = np.nonzero(beyond)
        return _Place(log_lives, lives, tool, life, batch.count[tool] - beyond[tool, life])

    def pick(self, values: Array) -> Array:
        """Values of (1 or n, t) at the pairs."""
        return np.asarray(values[self.tool if values.shape[0] > 1 else 0, self.life])


@dataclass(frozen=True)
class _Point:
    """The lives asked at one power. power: which.  scale: T^-k, (1 or n, t)."""

    power: int
    scale: Array
    place: _Place


@dataclass(frozen=True)
class _Blocks:
    """Sums of all tools for one roughness, noise and shared part, and what gives the age and path
    of the last reading within a life: batch, and path at the powers, (n, r, k)."""

    batch: Batch
    path: Array
    powers: Array
    variance: float
    before: Sums
    beyond: Sums | None

    @staticmethod
    def of(batch: Batch, powers: Array, variance: float, noise: float, shared: float) -> _Blocks:
        path = path_of(batch, powers)
        covariance = covariance_of(batch, variance, noise, shared)
        beyond = sums_beyond(batch, covariance, path) if variance > 0 else None
        before = sums_before(batch, covariance, path)
        return _Blocks(batch, path, powers, variance, before, beyond)

    def fit(self, point: _Point) -> tuple[Array, Array]:
        """Square and log weight, (n, t)."""
        place, terms = point.place, self.before.of_all(point.power)
        square, log_det = terms.corrected(point.scale, self.variance / place.lives)
        if self.beyond is None:
            return square, -log_det
        tools, count = np.arange(self.path.shape[0])[:, None], self.batch.count[:, None]
        first = self._log_first(terms, point.power, tools, count, point.scale, place.lives)
        log_weight = 2 * first - log_det
        if place.tool.size:
            pairs = (place.tool, place.life)
            square[pairs], log_weight[pairs] = self._split(self.beyond, point)
        return square, log_weight

    def _split(self, sums: Sums, point: _Point) -> tuple[Array, Array]:
        """The same for lives before the last reading, (pairs,): readings before and beyond them."""
        place, power = point.place, point.power
        scale, lives = place.pick(point.scale), place.pick(place.lives)
        before = self.before.of_some(power, place.tool, place.within)
        beyond = sums.of_some(power, place.tool, self.path.shape[1] - place.within)
        square_before, det_before = before.corrected(scale, self.variance / lives)
        square_beyond, det_beyond = beyond.corrected(scale, self.variance * lives)
        first = self._log_first(before, power, place.tool, place.within, scale, lives)
        log_weight = 2 * np.where(place.within > 0, first, 0.0) - det_before - det_beyond
        return square_before + square_beyond, log_weight

    def latest(self, point: _Point) -> Array:
        """Deviation of the latest reading, (n, t)."""
        place, terms = point.place, self.before.of_all(point.power)
        deviation = terms.latest(point.scale, self.variance / place.lives)
        if self.beyond is not None and place.tool.size:
            rest = self.path.shape[1] - place.within
            beyond = self.beyond.of_some(point.power, place.tool, rest)
            lives = place.pick(place.lives)
            moved = beyond.latest(place.pick(point.scale), self.variance * lives)
            deviation[place.tool, place.life] = moved
        return deviation

    def _log_first(
        self, terms: Terms, power: int, tool: Index, within: Index, scale: Array, lives: Array
    ) -> Array:
        """Log of the factor of first passage at T after `within` (> 0) readings; broadcast."""
        last = np.maximum(within - 1, 0)
        age = self.batch.age[tool, last]
        mean = np.minimum(self.path[tool, last, power] * scale, _CLOSEST ** -self.powers[power])
        ahead = self.variance * np.maximum(lives - age, 0.0) + _TINY
        known = np.maximum(self.variance * (age - self.variance * terms.dd), _TINY)
        kept = ahead / (known + ahead)
        left = 1 - mean - self.variance * terms.along(scale) * kept
        sd = np.sqrt(known * kept)
        z = np.maximum(left / sd, _FURTHEST_ABOVE)
        bell = np.exp(-0.5 * z * z) / _ROOT_2_PI
        return np.asarray(np.log(sd * (z * ndtr(z) + bell) / (1 - mean)))
