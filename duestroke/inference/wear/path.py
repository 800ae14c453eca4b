"""How likely readings are, given the life at whose end a wear path reaches its limit.

A tool of wear life T has used the share (x/T)^k of its limit at age x. A reading adds the gauge's
noise and, shared by the readings of one session, a bias. The wear itself is rough: a Wiener process
of variance w^2 a typical life, tied down at age 0 and at T (a bridge, covariance
w^2 (min(x, x') - x x'/T)), and free beyond T.

With S = noise + bias + w^2 min(x, x'), which does not depend on T, the covariance before T is
S - (w^2/T) x x' and beyond it S - w^2 T 1 1': one matrix a tool, and a correction of rank one for
each T (Sherman and Morrison). What is left for each T are sums over whitened readings, of which
those of the first m and of the last m readings are running sums.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from duestroke.inference.wear.batch import Batch
from duestroke.inference.wear.nodes import PathNodes

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_LEAST_PIVOT: Final = 1e-12
LOG_2_PI: Final = float(np.log(2 * np.pi))


@dataclass(frozen=True)
class Fit:
    """How readings fit, at every node, tool and life, each (q, n, t).

    square: squared distance in standard deviations.  log_det: log determinant of the covariance.
    """

    square: Array
    log_det: Array

    @property
    def log_density(self) -> Array:
        """Log likelihood without its constant, (q, n, t)."""
        return -0.5 * (self.square + self.log_det)


@dataclass(frozen=True)
class _Sums:
    """Running sums over whitened readings, none to all, (n, r + 1, 4) and (n, r + 1, 3, k).

    common: y'y, y'd, d'd and the log determinant; own, by power: y'p, p'p, d'p, where d is the
    direction of the correction and p the path x^k.
    """

    common: Array
    own: Array


def fit_paths(batch: Batch, nodes: PathNodes, log_lives: Array) -> Fit:
    """Fit of each tool's readings to each life at each node.

    log_lives: logs of typical lives, (t,) the same for all tools or (n, t).
    """
    log_t = np.atleast_2d(log_lives)
    shape = (nodes.size, batch.age.shape[0], log_t.shape[1])
    square, log_det = np.zeros(shape), np.zeros(shape)
    past = _Past.of(batch, np.exp(log_t))
    for (roughness, noise, shared), members in nodes.errors():
        powers = nodes.power[members]
        blocks = _Blocks.of(batch, powers, roughness, noise, shared)
        for at, member in enumerate(members):
            scale = np.exp(-powers[at] * log_t)
            square[member], log_det[member] = blocks.at(at, scale, past)
    return Fit(square, log_det)


@dataclass(frozen=True)
class _Past:
    """Which lives lie before a tool's last reading: tool and life of each pair, and how many of its
    readings lie within that life. lives: typical lives, (1 or n, t)."""

    lives: Array
    tool: Index
    life: Index
    within: Index

    @staticmethod
    def of(batch: Batch, lives: Array) -> _Past:
        late = (batch.age[:, :, None] > lives[:, None, :]) & batch.there[:, :, None]
        beyond = late.sum(axis=1)
        tool, life = np.nonzero(beyond)
        return _Past(lives, tool, life, batch.count[tool] - beyond[tool, life])

    def pick(self, values: Array) -> Array:
        """Values of (1 or n, t) at the pairs."""
        return np.asarray(values[self.tool if values.shape[0] > 1 else 0, self.life])


@dataclass(frozen=True)
class _Blocks:
    before: _Sums
    beyond: _Sums | None
    variance: float

    @staticmethod
    def of(batch: Batch, powers: Array, roughness: float, noise: float, shared: float) -> _Blocks:
        variance = roughness**2
        covariance = _covariance(batch, variance, noise, shared)
        path = _path(batch, powers)
        before = _sums(covariance, batch.share, batch.age, path)
        if variance == 0:
            return _Blocks(before, None, variance)
        turned = slice(None, None, -1)
        beyond = _sums(
            covariance[:, turned, turned],
            batch.share[:, turned],
            batch.there[:, turned].astype(np.float64),
            path[:, turned],
        )
        return _Blocks(before, beyond, variance)

    def at(self, power: int, scale: Array, past: _Past) -> tuple[Array, Array]:
        """Square and log determinant at one power, (n, t). scale: T^-k, (1 or n, t)."""
        common = self.before.common[:, -1].T[:, :, None]
        own = self.before.own[:, -1, :, power].T[:, :, None]
        square, log_det = _corrected(common, own, scale, self.variance / past.lives)
        if self.beyond is None or past.tool.size == 0:
            return square, log_det
        picked, lives = past.pick(scale), past.pick(past.lives)
        rest = self.beyond.common.shape[1] - 1 - past.within
        before = self._part(self.before, past.tool, past.within, power, picked, 1 / lives)
        beyond = self._part(self.beyond, past.tool, rest, power, picked, lives)
        square[past.tool, past.life] = before[0] + beyond[0]
        log_det[past.tool, past.life] = before[1] + beyond[1]
        return square, log_det

    def _part(
        self, sums: _Sums, tool: Index, readings: Index, power: int, scale: Array, length: Array
    ) -> tuple[Array, Array]:
        common = sums.common[tool, readings].T
        own = sums.own[tool, readings, :, power].T
        return _corrected(common, own, scale, self.variance * length)


def _covariance(batch: Batch, variance: float, noise: float, shared: float) -> Array:
    """Of gauge, bias and free wear, (n, r, r); the unit where there is no reading."""
    sd = np.maximum(noise * batch.sd, batch.least_sd)
    together = sd[:, :, None] * sd[:, None, :] * batch.alike
    lone = np.eye(batch.age.shape[1])
    met = np.minimum(batch.age[:, :, None], batch.age[:, None, :])
    gauge = together * (shared + (1 - shared) * lone)
    return np.asarray(gauge + variance * met + lone * ~batch.there[:, :, None])


def _path(batch: Batch, powers: Array) -> Array:
    """Ages to each power, (n, r, k); 0 at age 0 and where there is no reading."""
    return np.asarray(batch.age[:, :, None] ** powers)


def _sums(covariance: Array, share: Array, direction: Array, path: Array) -> _Sums:
    columns = np.concatenate([share[:, :, None], direction[:, :, None], path], axis=2)
    lower = np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)
    white = _forward(lower, columns)
    y, d, p = white[:, :, :1], white[:, :, 1:2], white[:, :, 2:]
    pivots = 2 * np.log(np.diagonal(lower, axis1=1, axis2=2))[:, :, None]
    common = np.concatenate([y * y, y * d, d * d, pivots], axis=2)
    own = np.stack([y * p, p * p, d * p], axis=2)
    return _Sums(_running(common), _running(own))


def _forward(lower: Array, columns: Array) -> Array:
    """Solves lower x = columns for each tool, row by row over all tools at once."""
    solved = np.empty_like(columns)
    for row in range(columns.shape[1]):
        known = (lower[:, row, None, :row] @ solved[:, :row])[:, 0]
        solved[:, row] = (columns[:, row] - known) / lower[:, row, row, None]
    return solved


def _running(values: Array) -> Array:
    """Sums over the first none to all readings."""
    start = np.zeros_like(values[:, :1])
    return np.concatenate([start, np.cumsum(values, axis=1)], axis=1)


def _corrected(common: Array, own: Array, scale: Array, length: Array) -> tuple[Array, Array]:
    """Square and log determinant of the bridge from the sums of free wear."""
    yy, yd, dd, log_det = common
    yp, pp, dp = own
    square = yy + scale * (pp * scale - 2 * yp)
    pivot = np.maximum(1 - dd * length, _LEAST_PIVOT)
    square = square + length * (yd - dp * scale) ** 2 / pivot
    return square, log_det + np.log(pivot)
